"""The Millbrook library's build day, as tests need it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from django.test import Client
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.hands.services import begin_hand, keep_design, keep_protocol
from handsel.bench.people.models import Person
from handsel.bench.people.services import add_person
from handsel.inspection.deciding import due
from handsel.inspection.rules import NumberRule

# Numbers of a hand in good order; what is not listed here gets the middle of its limits.
GOOD = {
    "worked-rest-angle": 36.0,
    "lowered-rest-angle": 36.4,
    "thumb-tip-bend": 1.0,
    "whippletree-level": 0.0,
    "whippletree-flush": 0.1,
    "tension-screw-thumb-side": 0.0,
    "tension-screw-little-side": 0.0,
    "thumb-pin-in-line": 0.2,
    "thumb-starts-with-fingers": 0.0,
}


@dataclass(kw_only=True)
class Hall:
    """A day and its people."""

    day: Day
    lead: Person
    inspector: Person
    builder: Person
    fitter: Person

    def client(self, person: Person | None = None, **kwargs: Any) -> Client:
        """A browser, signed in as this person."""
        client = Client(**kwargs)
        if person is not None:
            client.force_login(person)
        return client

    def hand(
        self, *, code: str = "R-014", side: str = "right", scale_ratio: float = 1.1, at: str = "parts"
    ) -> Hand:
        """A hand that has passed everything before this hold point."""
        hand = begin_hand(
            day=self.day, recipient_code=code, side=side, scale_ratio=scale_ratio, person=self.builder
        )
        for stage in protocol_kept(hand.protocol_id).hold_points:
            if stage.id == at:
                break
            self.answer_all(hand, stage.id)
            append(hand, [New(kind="decided", what=passed(hand, stage.id))], person=self.inspector)
        return hand

    def answer_all(self, hand: Hand, hold_point: str, **different: Any) -> None:
        """Every characteristic of a hold point, as on a hand in good order but for what is given otherwise."""
        append(hand, good_entries(hand, hold_point, **different), person=self.inspector)


def good_entries(hand: Hand, hold_point: str, **different: Any) -> list[New]:
    """The entries that say everything at a hold point is as it should be; keys with "-" written as "_"."""
    protocol = protocol_kept(hand.protocol_id)
    changed = {k.replace("_", "-"): v for k, v in different.items()}
    case = case_of(hand, told_of(hand), hold_point=hold_point)
    found = []
    for c in due(case, protocol):
        if c.hold_point != hold_point:
            continue
        for place in protocol.places(c.per):
            what: dict[str, Any] = {"of": c.id, "place": place, "protocol": hand.protocol_id}
            value = changed.get(c.id)
            if isinstance(c.rule, NumberRule):
                what |= {
                    "value": GOOD.get(c.id, middle(c.rule)) if value is None else value,
                    "unit": c.rule.unit,
                }
            else:
                what["answer"] = c.rule.accepted[0] if value is None else value
            found.append(New(kind="observed", what=what))
    return found


def middle(rule: NumberRule) -> float:
    """A number that is surely within the limits."""
    low, high = (rule.limits.low, rule.limits.high) if rule.limits is not None else (None, None)
    low = rule.plausible_min if low is None else low
    high = rule.plausible_max if high is None else high
    return (low + high) / 2


def passed(hand: Hand, hold_point: str) -> dict[str, Any]:
    """A decision that the hold point is passed."""
    stages = [h.id for h in protocol_kept(hand.protocol_id).hold_points]
    following = stages[stages.index(hold_point) + 1] if hold_point != stages[-1] else ""
    return {
        "hold_point": hold_point,
        "whole": "release",
        "sentence": "Good.",
        "blocked_by": "",
        "open": [],
        "next_hold_point": following,
        "next_is_fitting": following == "fitting",
        "protocol": hand.protocol_id,
        "design": hand.design_id,
        "program": "test",
        "case_key": "",
    }


def linden_kept() -> KeptText:
    """The text of linden as the bench keeps it; written out once, which takes longer than all else of a hall."""
    row = _linden_row()
    return KeptText.objects.get_or_create(pk=row["sha256"], defaults=row)[0]


@cache
def _linden_row() -> dict[str, str]:
    kept = keep_design("linden")
    return {name: getattr(kept, name) for name in ("sha256", "kind", "name", "version", "text")}


def open_hall() -> Hall:
    """A day that has begun."""
    lead = add_person(name="", is_lead=True)
    day = Day.objects.create(
        title="Millbrook library build day",
        opened_at=timezone.now(),
        protocol=keep_protocol("wrist-hand-1"),
        design=linden_kept(),
    )
    return Hall(
        day=day,
        lead=lead,
        inspector=add_person(may_inspect=True),
        builder=add_person(may_build=True),
        fitter=add_person(may_fit=True),
    )
