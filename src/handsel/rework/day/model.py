"""A build day as it stands: open hands, ways to put each right, people, spares, minutes to closing.

Minutes count from now. A hand is out of the door when its rework is done by one person and it has then
been looked at again by an inspector, both before closing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType

from handsel.errors import OutOfRange
from handsel.inspection.protocol import SEVERITIES

INSPECTOR = "inspector"
# Who may also do what asks for less.
COVERS: Mapping[str, tuple[str, ...]] = MappingProxyType({"experienced builder": ("builder",)})
# How much a release counts. Own choices, written down in the decisions; a day's file may set others.
SEVERITY_WEIGHT: Mapping[str, float] = MappingProxyType({"critical": 1.2, "major": 1.0, "minor": 0.6})
WAITING_WEIGHT: Mapping[str, float] = MappingProxyType({"here": 3.0, "appointed": 2.0, "no": 1.0})
FAR_MIN = 100_000.0
HOUR_MIN = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to put a hand right: all of its rework, by one person, and the look afterwards."""

    id: str  # unique for the hand
    title: str  # as an order
    minutes: float  # of rework; 0: only to be looked at again
    skill: str  # who can do it; "" with 0 minutes
    recheck_minutes: float  # of an inspector, afterwards
    p_success: float  # probability that the hand then conforms
    spares: Mapping[str, int] = field(default_factory=dict)
    wait_minutes: float = 0.0  # glue that sets, between the rework and the look
    cuts: bool = False  # something is cut that cannot be put back

    def __post_init__(self) -> None:
        for name in ("minutes", "recheck_minutes", "wait_minutes"):
            value = getattr(self, name)
            if not (isfinite(value) and 0.0 <= value <= FAR_MIN):
                raise OutOfRange(
                    f"{name} is {value:g}; expected 0 or more", where=self.title, do="Write it in minutes."
                )
        if not 0.0 <= self.p_success <= 1.0:
            raise OutOfRange(
                f"p_success is {self.p_success:g}; expected 0 to 1",
                where=self.title,
                do="Write a share: 0.9 for nine in ten.",
            )
        bad = [name for name, count in self.spares.items() if count < 0]
        if bad:
            raise OutOfRange(
                f"it takes fewer than none of {bad[0]}", where=self.title, do="Count what it uses up."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class InWork:
    """What somebody is doing to a hand right now."""

    way: str
    by: str  # person
    minutes_left: float
    looking: bool = False  # True: the rework is done, it is being looked at again


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenHand:
    """One hand that is not released yet."""

    code: str  # the recipient's code
    serial: str
    ways: tuple[Way, ...]  # the usual one first
    severity: str = "major"  # of the gravest thing that is open
    waiting: str = "no"  # "here": the recipient is in the hall; "appointed": a date is agreed; "no"
    in_work: InWork | None = None

    @property
    def called(self) -> str:
        """Code and serial, for a sentence."""
        return f"{self.code} ({self.serial})"

    def way(self, id: str) -> Way:
        """The way with this id; raises KeyError."""
        return next(w for w in self.ways if w.id == id) if id in {w.id for w in self.ways} else _no(id)


def _no(id: str) -> Way:
    raise KeyError(id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One person of the day, by role."""

    id: str
    skills: frozenset[str]
    from_min: float = 0.0
    until_min: float = FAR_MIN

    def can(self, skill: str) -> bool:
        """Whether this person may do what asks for a skill."""
        return skill in self.skills or any(skill in COVERS.get(s, ()) for s in self.skills)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Everything the plan is made from."""

    closing_min: float
    hands: tuple[OpenHand, ...]  # in the order in which they came
    people: tuple[Person, ...]
    spares: Mapping[str, int]
    other_eyes: bool = True  # nobody looks at their own rework
    severity_weight: Mapping[str, float] = field(default_factory=lambda: SEVERITY_WEIGHT)
    waiting_weight: Mapping[str, float] = field(default_factory=lambda: WAITING_WEIGHT)

    def __post_init__(self) -> None:
        if not (isfinite(self.closing_min) and 0.0 <= self.closing_min <= FAR_MIN):
            raise OutOfRange(
                f"closing is in {self.closing_min:g} minutes",
                where="day",
                do="Count the minutes from now: 0 or more.",
            )
        _twice([h.serial for h in self.hands], "hand")
        _twice([p.id for p in self.people], "person")
        for hand in self.hands:
            _check_hand(hand, self)
        busy = [h.in_work.by for h in self.hands if h.in_work is not None]
        _twice(busy, "person at work on a hand")

    def weight(self, hand: OpenHand) -> float:
        """How much this hand's release counts."""
        return self.severity_weight[hand.severity] * self.waiting_weight[hand.waiting]

    def person(self, id: str) -> Person | None:
        """The person of this id, or None."""
        return next((p for p in self.people if p.id == id), None)

    def until(self, person: Person) -> float:
        """The minute at which a person's time ends."""
        return min(person.until_min, self.closing_min)


def _twice(names: list[str], what: str) -> None:
    again = [n for k, n in enumerate(names) if n in names[:k]]
    if again:
        raise OutOfRange(f"the same {what} stands twice", where=again[0], do="Keep one of them.")


def _check_hand(hand: OpenHand, day: Day) -> None:
    _twice([w.id for w in hand.ways], f"way of {hand.called}")
    if not hand.ways:
        raise OutOfRange("it has no way to be put right", where=hand.called, do="Give it at least one.")
    if hand.severity not in SEVERITIES:
        raise OutOfRange(
            f"severity is {hand.severity!r}", where=hand.called, do=f"Use one of: {', '.join(SEVERITIES)}."
        )
    if hand.waiting not in day.waiting_weight:
        known = ", ".join(day.waiting_weight)
        raise OutOfRange(f"waiting is {hand.waiting!r}", where=hand.called, do=f"Use one of: {known}.")
    work = hand.in_work
    if work is None:
        return
    if day.person(work.by) is None:
        raise OutOfRange(
            f"{work.by!r} works on it, and is not among the people",
            where=hand.called,
            do="Add the person, or take the hand out of work.",
        )
    if work.way not in {w.id for w in hand.ways}:
        raise OutOfRange(
            f"it is in work by the way {work.way!r}, which it does not have",
            where=hand.called,
            do="Name one of its ways.",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stint:
    """One piece of work of one person."""

    person: str
    serial: str
    kind: str  # "rework" or "recheck"
    start_min: float
    end_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A hand that is worked on: how, by whom, when, and why."""

    hand: OpenHand
    way: Way
    rework: Stint | None
    recheck: Stint | None
    reason: str = ""

    @property
    def end_min(self) -> float:
        """The minute at which it can be released."""
        return max((s.end_min for s in (self.rework, self.recheck) if s is not None), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A hand that is not worked on before closing, and why."""

    hand: OpenHand
    cause: str  # "skill", "spares", "time", "inspector", "others first"
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scarce:
    """Something there is not enough of, and what a little more of it is worth."""

    what: str  # "inspector minutes", a spare
    kind: str  # "person" or "spare"
    worth: float  # weighed releases for one more hour, or one more piece


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """Who works on what, in which order, and what that is expected to bring."""

    sentence: str
    chosen: tuple[Chosen, ...]  # by the minute at which work on them begins
    left_out: tuple[LeftOut, ...]  # in the day's order
    expected_releases: float  # hands that are expected to conform at the first try
    value: float  # the same, weighed
    bound: float  # no plan can bring more than this, weighed
    scarce: tuple[Scarce, ...]  # scarcest first

    @property
    def gap_ratio(self) -> float:
        """How far the plan may be from the best one, as a share of the bound [-]."""
        return max(0.0, (self.bound - self.value) / self.bound) if self.bound > 0 else 0.0

    def work_of(self, person: str) -> tuple[Stint, ...]:
        """One person's work in order."""
        all_ = (s for c in self.chosen for s in (c.rework, c.recheck) if s is not None and s.person == person)
        return tuple(sorted(all_, key=lambda s: s.start_min))


@dataclass(frozen=True, slots=True, kw_only=True)
class OneMore:
    """What one more helper, or some more spares, would bring."""

    what: str  # "one more builder", "10 more: cord for one loop"
    kind: str  # "person" or "spare"
    more_releases: float  # hands more, expected
    more_value: float  # the same, weighed
    at_most: float  # weighed; no plan with it can bring more than this above the present one
    sentence: str
