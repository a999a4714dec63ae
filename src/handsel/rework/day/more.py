"""What one more helper, or some more spares, would bring before closing."""

from __future__ import annotations

from dataclasses import replace

from handsel.rework.day.model import INSPECTOR, Day, DayPlan, OneMore, Person
from handsel.rework.day.plan import plan_day

SECONDS = 2.0  # for each question
TEN = 10
LITTLE = 0.05  # of a release: less is called nothing
SPARES_ASKED = 4


def what_more_brings(day: Day, plan: DayPlan, *, seconds: float = SECONDS) -> tuple[OneMore, ...]:
    """For each skill one more helper, and for each spare that some hand uses ten more, from now to closing.

    Parameters: day; plan made for it; seconds for the solver, for each question [s].
    Returns: OneMore, what brings most first. Never less than nothing, since the present plan stays possible.
    Raises: nothing of its own.
    Valid for: a helper who is as quick as the minutes of the ways say.
    Source: the plan made again with the addition.
    Checked by: unit/test_day_plan.py, properties/test_day_plan.py
    """
    found = [_more(day, plan, f"one more {s}", "person", with_helper(day, s), seconds) for s in _skills(day)]
    for name in _spares(day, plan):
        more = with_spares(day, name, TEN)
        found.append(_more(day, plan, f"{TEN} more of “{name}”", "spare", more, seconds))
    return tuple(sorted(found, key=lambda m: -m.more_value))


def with_helper(day: Day, skill: str) -> Day:
    """The day with one more person who has one skill."""
    taken = {p.id for p in day.people}
    number = next(n for n in range(1, len(taken) + 2) if f"{skill} {n} more" not in taken)
    return replace(day, people=(*day.people, Person(id=f"{skill} {number} more", skills=frozenset((skill,)))))


def with_spares(day: Day, name: str, count: int) -> Day:
    """The day with some more of one spare."""
    return replace(day, spares={**day.spares, name: day.spares.get(name, 0) + count})


def _skills(day: Day) -> list[str]:
    asked = {w.skill for h in day.hands for w in h.ways if w.minutes > 0 and w.skill}
    return [*sorted(asked), INSPECTOR]


def _spares(day: Day, plan: DayPlan) -> list[str]:
    """Spares that might run short: hands left out could use them, or they have a price; scarcest first."""
    priced = [s.what for s in plan.scarce if s.kind == "spare"]
    wanted = [n for left in plan.left_out for w in left.hand.ways for n, c in w.spares.items() if c > 0]
    wanted += [n for c in plan.chosen for w in c.hand.ways for n, k in w.spares.items() if k > 0]
    short = [n for n in dict.fromkeys([*priced, *wanted]) if _could_run_short(day, n)]
    return short[:SPARES_ASKED]


def _could_run_short(day: Day, name: str) -> bool:
    most = sum(
        max((w.spares.get(name, 0) for w in h.ways), default=0) for h in day.hands if h.in_work is None
    )
    return most > day.spares.get(name, 0)


def _more(day: Day, plan: DayPlan, what: str, kind: str, more: Day, seconds: float) -> OneMore:
    new = plan_day(more, plan, seconds=seconds)
    value = max(0.0, new.value - plan.value)
    releases = new.expected_releases - plan.expected_releases if value > 1e-9 else 0.0
    at_most = max(value, new.bound - plan.value)
    if value < LITTLE:
        sentence = f"{what[:1].upper()}{what[1:]} would release no more hands before closing."
    else:
        first = {c.hand.serial for c in plan.chosen}
        extra = [c.hand.called for c in new.chosen if c.hand.serial not in first]
        names = f" (such as {extra[0]})" if extra else ""
        sentence = f"{what[:1].upper()}{what[1:]} would bring about {releases:.1f} more{names}."
    return OneMore(
        what=what, kind=kind, more_releases=releases, more_value=value, at_most=at_most, sentence=sentence
    )
