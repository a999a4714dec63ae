"""All screens of a hand's hold point as data, so that one open page can do a whole hand without the network.

A check is one characteristic at the places where it is due. Ordinary yes/no questions of a group share one
screen; what could hurt someone, numbers, questions with several right answers and substitute checks have a
screen of their own. Where a rework undid something of an earlier hold point, its group comes first.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.conf import settings

from handsel.bench.hands.models import Hand
from handsel.bench.looking.answering import FITTING, Known
from handsel.bench.looking.standing_answers import Said, said_by_now
from handsel.bench.looking.unit_words import unit_sign, unit_words
from handsel.bench.measuring.kinds import kind_for
from handsel.bench.measuring.telling import last_of, lines_by_hand
from handsel.bench.people.models import Person
from handsel.data.load_figures import figures_of
from handsel.documents.hand_views import held_for
from handsel.documents.short_codes import short_codes
from handsel.inspection.case import GroupAcceptance
from handsel.inspection.deciding import due
from handsel.inspection.protocol import CANNOT_TELL, HAND, Characteristic, Group, HoldPoint, Protocol
from handsel.inspection.result import Inspection, Item
from handsel.inspection.rules import AnswerRule, NumberRule
from handsel.inspection.seeing import covers
from handsel.inspection.standing import Timeline

PHOTO_ONE_IN = 10  # groups of which one asks for a photo
ALWAYS_OFFERED = ("only a little", "different from the drawing")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    """What the screens are made from, worked out once."""

    known: Known
    person: Person
    inspection: Inspection
    timeline: Timeline
    said: dict[str, list[Said]]  # by characteristic
    items: dict[tuple[str, str], Item]  # by characteristic and place
    codes: dict[str, str]
    measured: dict[str, dict[str, Any]]  # by characteristic: what its last photo said

    @property
    def protocol(self) -> Protocol:
        return self.known.protocol

    @property
    def hand(self) -> Hand:
        return self.known.hand


def looking_page(k: Known, person: Person) -> dict[str, Any]:
    """Everything that the phone's page needs, as JSON."""
    inspection = k.inspection()
    said: dict[str, list[Said]] = {}
    for s in said_by_now(k.told, k.case, k.protocol):
        said.setdefault(s.of, []).append(s)
    page = _Page(
        known=k,
        person=person,
        inspection=inspection,
        timeline=Timeline(k.case, k.protocol),
        said=said,
        items={(i.id, i.place): i for i in inspection.items},
        codes=short_codes(k.protocol),
        measured=last_of(k.hand, since=_last_done(k)),
    )
    hand, here = k.hand, k.protocol.stage(k.hand.hold_point)
    stages = k.protocol.hold_points
    groups = [g for n, h in enumerate(stages[: here + 1]) for g in _groups(page, h, again=n < here)]
    shown = {g["at"] for g in groups}
    return {
        "hand": {
            "code": hand.code,
            "shown": hand.shown_code,
            "called": hand.called,
            "side": hand.side,
            "standing": hand.standing,
        },
        "at": {"id": stages[here].id, "title": stages[here].title, "before": stages[here].before},
        "protocol": hand.protocol_id,
        "me": {"number": person.number, "called": person.called},
        "seen_count": hand.entry_count,
        "groups": groups,
        "lines": lines_by_hand(),
        "digits": [{"id": d.id, "thumb": d.is_thumb} for d in k.protocol.digits],
        "figures": [
            f"/figures/{hand.protocol_id}/{hand.design_id}.json?side={hand.side}&at={h.id}"
            for h in stages
            if h.id in shown
        ],
        "stopped": [
            {"title": o.title, "reason": o.reason, "hidden": list(o.hidden), "ways": list(o.ways_on)}
            for o in page.inspection.out_of_order
        ],
    }


def _last_done(k: Known) -> str:
    """When the hand was last changed: what a photo said before that is of another state of it."""
    return max((t.at for t in k.told if t.kind == "did"), default="")


def asks_photo(code: str, group: str) -> bool:
    """Whether this group of this hand asks for a photo: one in ten, the same on every phone, and not to be foreseen."""
    secret = settings.SECRET_KEY.encode()
    said = hmac.new(secret, f"photo/{code}/{group}".encode(), sha256).digest()
    return int.from_bytes(said[:4], "big") % PHOTO_ONE_IN == 0


def _groups(page: _Page, stage: HoldPoint, *, again: bool) -> list[dict[str, Any]]:
    """The groups of a hold point. Of an earlier one, only what has to be looked at again."""
    found = []
    known = figures_of(page.protocol.id)
    asked = {c.id for c in due(page.known.case, page.protocol)}
    for g in stage.groups:
        members = [c for c in page.protocol.characteristics if c.held == g.id and c.id in asked]
        checks = [check for c in members for check in _checks(page, c)]
        if again:
            checks = [c for c in checks if c["due"]]
        if not checks:
            continue
        cards = [c for c in checks if not c["alone"]]
        held = held_for(g.id, page.protocol, known)
        found.append(
            {
                "id": g.id,
                "at": stage.id,
                "title": g.title,
                "how": g.how,
                "turn": held.turn,
                "view": held.view,
                # At the fitting the picture would show a person.
                "photo": bool(cards) and stage.id != FITTING and asks_photo(page.hand.code, g.id),
                "again": stage.title if again else "",
                "checks": checks,
                "coverable": _coverable(page, g),
            }
        )
    return found


def _coverable(page: _Page, group: Group) -> int:
    """How many answers the whole group taken as shown stands for: fewer on the screen are named one by one."""
    whole = GroupAcceptance(group=group.id)
    return sum(
        covers(whole, c, place)
        for c in page.protocol.members(group.id)
        for place in page.protocol.places(c.per)
    )


def _checks(page: _Page, c: Characteristic) -> list[dict[str, Any]]:
    """One check, or two where some places can only be seen by the substitute check any more."""
    hidden: list[str] = []
    open_: list[str] = []
    for place in page.protocol.places(c.per):
        certain = _hidden_for_good(page, c, place)
        (hidden if certain and c.substitute is not None else open_).append(place)
    found = []
    if open_:
        found.append(_check(page, c, open_, substitute=False))
    if hidden:
        found.append(_check(page, c, hidden, substitute=True))
    return found


def _hidden_for_good(page: _Page, c: Characteristic, place: str) -> bool:
    """A step is on record that hides it; one that is only taken to have been done does not count."""
    return any(h.recorded for h in page.timeline.hiding(c, place))


def _check(page: _Page, c: Characteristic, places: list[str], *, substitute: bool) -> dict[str, Any]:
    items = {place: page.items[c.id, place] for place in places}
    # What is hidden for good and has no other check waits for the lead; the page says so at its end.
    lost = c.substitute is None and not substitute
    due_places = [
        p for p in places if _is_due(page, c, items[p]) and not (lost and _hidden_for_good(page, c, p))
    ]
    whole = GroupAcceptance(group=c.held)
    rule = c.rule
    reasons = {items[p].reason for p in due_places if items[p].reason not in ("", "not looked at yet")}
    check: dict[str, Any] = {
        "key": c.id + ("!" if substitute else ""),
        "of": c.id,
        "code": page.codes[c.id],
        "title": c.title,
        "how": c.substitute.how if substitute and c.substitute is not None else c.how,
        "why": c.why,
        "caution": c.caution,
        "severity": c.severity,
        "per": c.per,
        "places": places,
        "due": due_places,
        "alone": substitute or not covers(whole, c, places[0]),
        "substitute": substitute,
        "otherwise": "" if substitute else _otherwise(page, c, places),
        "reason": " ".join(sorted(reasons)),
        "state": {p: _state(page, c, items[p]) for p in places},
        "phrases": [page.protocol.fault_words[f] for f in c.faults] + list(ALWAYS_OFFERED),
    }
    measure = "" if substitute else kind_for(c)
    if measure and due_places:
        check["measure"] = {"kind": measure, "last": page.measured.get(c.id)}
    if isinstance(rule, NumberRule) and not substitute:
        return check | {"kind": "number", "answers": [], "number": _number(page, c, rule)}
    answers = rule.answers if isinstance(rule, AnswerRule) and not substitute else ("yes", "no")
    accepted = rule.accepted if isinstance(rule, AnswerRule) and not substitute else ("yes",)
    return check | {
        "kind": "answer",
        "answers": [{"value": a, "good": a in accepted} for a in answers if a != CANNOT_TELL],
    }


def _otherwise(page: _Page, c: Characteristic, places: list[str]) -> str:
    """The substitute check, where the thing may be hidden by now though nobody wrote down the step."""
    if c.substitute is None or not any(page.timeline.hiding(c, p) for p in places):
        return ""
    return c.substitute.how


def _is_due(page: _Page, c: Characteristic, item: Item) -> bool:
    """Whether this person should look: not seen yet, or not settled and worth another look by these eyes."""
    if item.status == "not seen":
        return True
    if item.status != "undecided":
        return False
    if item.settling is not None:
        return True
    own = [s for s in _said(page, c, item.place) if s.number == page.person.number]
    if not own:
        # Nothing to do for these eyes when it only waits for a condition.
        return not any(s.value is not None for s in _said(page, c, item.place))
    return own[-1].shown == CANNOT_TELL


def _said(page: _Page, c: Characteristic, place: str) -> list[Said]:
    return [s for s in page.said.get(c.id, ()) if s.place in (place, HAND)]


def _state(page: _Page, c: Characteristic, item: Item) -> dict[str, Any]:
    """What is on record at one place, for the overview and for reading again."""
    said = _said(page, c, item.place)
    own = [s for s in said if s.number == page.person.number and not s.in_group]
    state: dict[str, Any] = {"status": item.status, "shown": item.shown, "reason": item.reason}
    if said:
        state["by"] = said[-1].called
    if own and isinstance(c.rule, NumberRule):
        entry = next(t for t in page.known.told if t.seq == own[-1].seq)
        state["readings"] = entry.what.get("readings") or [
            v for v in (entry.what.get("value"),) if v is not None
        ]
        state["method"] = own[-1].method
    return state


def _number(page: _Page, c: Characteristic, rule: NumberRule) -> dict[str, Any]:
    return {
        "unit": rule.unit,
        "sign": unit_sign(rule.unit),
        "words": unit_words(rule.unit),
        "min": rule.plausible_min,
        "max": rule.plausible_max,
        "negative": rule.plausible_min <= -1,  # a little below zero is only room for a slip
        "methods": [m.name for m in rule.methods],
    }
