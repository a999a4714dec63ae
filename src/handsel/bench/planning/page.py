"""The plan as the lead reads it: by person, by the clock, each choice with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.people.models import Person
from handsel.bench.planning.forms import WAITING
from handsel.bench.planning.gathering import OPEN, goes_by, spares_of
from handsel.bench.planning.models import Plan
from handsel.bench.planning.services import is_planning, newest

LITTLE = 0.05  # of a hand: less is called nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class StintRow:
    """One piece of work of one person."""

    code: str
    url: str
    recipient: str
    words: str
    kind: str  # "do" or "look"
    start: str
    end: str
    minutes: str
    reason: str
    is_now: bool
    is_over: bool  # the hand has moved on since the plan was made


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """One person's work in order."""

    called: str
    name: str
    stints: tuple[StintRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftRow:
    """A hand that is not in the plan."""

    code: str
    url: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPage:
    """All that the page shows."""

    sentence: str
    made: str
    to_close: str
    gap: str
    people: tuple[PersonRow, ...]
    free: tuple[str, ...]  # people without work in it
    left: tuple[LeftRow, ...]
    more: tuple[str, ...] | None  # None: being worked out
    assumed: tuple[str, ...]
    is_stale: bool


def plan_page(day: Day, current_key: str) -> PlanPage | None:
    """The newest plan; None before the first."""
    plan = newest(day)
    if plan is None:
        return None
    told = plan.told
    standing = dict(Hand.objects.filter(day=day).values_list("code", "standing"))
    names = {p.called: p for p in Person.objects.filter(is_active=True)}
    rows = tuple(
        PersonRow(
            called=called,
            name=names[called].shown if called in names else called,
            stints=tuple(stints_of(plan, called, standing)),
        )
        for called in told["people"]
    )
    more = None
    if plan.more is not None:
        # What brings nothing is not worth a line each.
        more = tuple(m["sentence"] for m in plan.more if m["more_value"] >= LITTLE) or (
            "One more helper or more spares would release no more hands before closing.",
        )
    return PlanPage(
        sentence=told["sentence"],
        made=f"{timezone.localtime(plan.made_at):%H:%M}",
        to_close=_to_close(day),
        gap="" if told["gap_ratio"] < 0.005 else f"No plan can bring more than {100 * told['gap_ratio']:.0f} % more.",
        people=tuple(r for r in rows if r.stints),
        free=tuple(r.name for r in rows if not r.stints and not r.called.startswith("lead")),
        left=tuple(
            LeftRow(code=f"{x['hand'][:3]}-{x['hand'][3:]}", url=f"/h/{x['hand']}/", reason=x["reason"])
            for x in (*told["left_out"], *told["aside"])
        ),
        more=more,
        assumed=tuple(told["assumed"]),
        is_stale=plan.state_key != current_key or is_planning(day),
    )  # fmt: skip


def _to_close(day: Day) -> str:
    if day.closes_at is None:
        return "nobody said when the hall closes"
    minutes = (day.closes_at - timezone.now()).total_seconds() / 60
    if minutes <= 0:
        return "the hall has closed"
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} to closing" if hours else f"{rest} min to closing"


def stints_of(plan: Plan, called: str, standing: dict[str, str]) -> list[StintRow]:
    """One person's work in the order of its begin."""
    found = []
    for c in plan.told["chosen"]:
        for kind, stint in (("do", c["rework"]), ("look", c["recheck"])):
            if stint is not None and stint["person"] == called:
                found.append((stint["start_min"], _stint(plan, c, kind, stint, standing)))
    return [row for _, row in sorted(found, key=lambda f: f[0])]


def _stint(
    plan: Plan, c: dict[str, Any], kind: str, stint: dict[str, Any], standing: dict[str, str]
) -> StintRow:
    code = c["hand"]
    start, end = (plan.made_at + timedelta(minutes=stint[k]) for k in ("start_min", "end_min"))
    words = c["way"]["title"] if kind == "do" or c["way"]["minutes"] <= 0 else "Look at it afterwards"
    now = standing.get(code, "")
    doing: tuple[Any, ...] = (Standing.TO_PUT_RIGHT, Standing.BUILDING)
    return StintRow(
        code=f"{code[:3]}-{code[3:]}",
        url=f"/l/{code}/",
        recipient=c["recipient"],
        words=words,
        kind=kind,
        start=_clock(start),
        end=_clock(end),
        minutes=f"{stint['end_min'] - stint['start_min']:.0f} min",
        reason=c["reason"],
        is_now=c["in_work"] and (kind == "do" or c["rework"] is None),
        is_over=now not in OPEN or (kind == "do" and now not in doing),
    )


def _clock(at: datetime) -> str:
    return f"{timezone.localtime(at):%H:%M}"


def next_for(person: Person, day: Day | None) -> StintRow | None:
    """What the plan suggests to a builder next: the first hand that is still to be worked on and in nobody's hands."""
    if day is None or not person.may_build or day.closed_at is not None:
        return None
    plan = newest(day)
    if plan is None:
        return None
    codes = [c["hand"] for c in plan.told["chosen"]]
    hands = {
        code: (standing, held_by)
        for code, standing, held_by in Hand.objects.filter(code__in=codes).values_list(
            "code", "standing", "held_by"
        )
    }
    for row in stints_of(plan, person.called, {code: s for code, (s, _) in hands.items()}):
        held_by = hands.get(row.code.replace("-", ""), ("", None))[1]
        if row.kind == "do" and not row.is_over and held_by is None:
            return row
    return None  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class GoesByPage:
    """What the plan goes by, for the form."""

    people: tuple[dict[str, Any], ...]
    hands: tuple[dict[str, Any], ...]
    spares: tuple[dict[str, Any], ...]
    waiting: tuple[tuple[str, str], ...] = WAITING


def goes_by_page(day: Day, protocol_spares: tuple[str, ...]) -> GoesByPage:
    """The form's fields as they stand."""
    by = goes_by(day)
    hands = Hand.objects.filter(day=day, practice="", standing__in=OPEN).order_by("pk")
    counted, guessed = spares_of(day, by, protocol_spares)
    return GoesByPage(
        people=tuple(
            {
                "number": p.number,
                "words": p.shown if p.shown == p.called else f"{p.shown}, {p.called}",
                "here": p.number not in by.away,
                "experienced": p.number in by.experienced,
                "builds": p.may_build and not p.is_lead,
            }
            for p in Person.objects.filter(is_active=True, is_lead=False).order_by("number")
        ),
        hands=tuple(
            {
                "code": h.code,
                "shown": h.shown_code,
                "recipient": h.recipient_code,
                "waiting": by.waiting.get(h.code, "no"),
            }
            for h in hands
        ),
        spares=tuple(
            {
                "place": place,
                "name": name,
                "count": by.spares.get(name, ""),
                "known": "" if name in guessed else counted[name],
            }
            for place, name in enumerate(protocol_spares)
        ),
    )
