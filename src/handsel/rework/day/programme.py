"""The choice of hands, ways and people as a mixed-integer programme: its columns, and the rows that must hold.

The programme asks for less than a day does: that everybody's minutes, the spares and the eyes suffice, with
the minutes that must pass before a look can begin, but not for a clock. So no plan can bring more than it
says, and a plan that keeps the clock and brings the same is the best there is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from handsel.rework.day.model import INSPECTOR, Day, OpenHand, Person, Way

KEEP = 1e-3  # of a hand's worth: what it is worth to leave a told plan as it is


@dataclass(slots=True, kw_only=True)
class Column:
    """A person does this to that hand, or does not."""

    hand: int
    way: Way
    person: Person
    kind: str  # "rework" or "recheck"
    minutes: float
    worth: float
    given: bool = False


@dataclass(slots=True)
class Rows:
    """Sparse rows low <= A x <= high as they are written down, and what each is about."""

    at: list[int] = field(default_factory=list)
    column: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    about: list[tuple[str, str]] = field(default_factory=list)

    def add(
        self,
        entries: Iterable[tuple[int, float]],
        high: float,
        low: float = -np.inf,
        about: tuple[str, str] = ("", ""),
    ) -> None:
        """Write a row down; none where it has no entries.

        Parameters: entries, column and value; high and low, between what the sum has to be; about, kind and name of
            what is shared out in this row.
        """
        listed = list(entries)
        if not listed:
            return
        row = len(self.low)
        for column, value in listed:
            self.at.append(row)
            self.column.append(column)
            self.value.append(value)
        self.low.append(low)
        self.high.append(high)
        self.about.append(about)


class Programme:
    """The day as columns (a person does this to that hand) and rows (what must hold)."""

    def __init__(
        self,
        day: Day,
        kept: Mapping[str, tuple[str, str | None]] = MappingProxyType({}),
        *,
        unfinished: Iterable[str] = (),
    ) -> None:
        """Write the programme down.

        Parameters: day; kept, of a plan told before: serial to way and person; unfinished, serials of
            hands in work that may not be finished by closing: they are not asked for, only allowed.
        """
        self.day, self.kept = day, kept
        self.unfinished = frozenset(unfinished)
        self.columns: list[Column] = []
        self.rows = Rows()
        for k, hand in enumerate(day.hands):
            self._hand(k, hand)
        self._people()
        self._spares()

    def forced(self, c: Column) -> bool:
        """Whether a column is no choice any more: work that was begun and will be finished.

        Parameters: c, of this programme.    Returns: whether it is.
        """
        return c.given and self.day.hands[c.hand].serial not in self.unfinished

    def _hand(self, k: int, hand: OpenHand) -> None:
        """Columns of one hand, and the rows that tie its rework to its look."""
        day, work = self.day, hand.in_work
        first: list[int] = []
        for way in hand.ways:
            if work is not None and way.id != work.way:
                continue
            begun = len(self.columns)
            reworks = self._reworks(k, hand, way)
            looks = self._looks(k, hand, way, alone=not reworks)
            if work is None and way.minutes > 0 and not reworks:
                del self.columns[begun:]
                continue
            if way.recheck_minutes > 0 and not looks and not (work is not None and work.looking):
                del self.columns[begun:]
                continue
            if reworks and looks:
                self.rows.add([*((c, 1.0) for c in reworks), *((c, -1.0) for c in looks)], 0.0, 0.0)
                if day.other_eyes:
                    for c in reworks:
                        same = [(e, 1.0) for e in looks if self.columns[e].person is self.columns[c].person]
                        if same:
                            self.rows.add([(c, 1.0), *same], 1.0)
            first += reworks or looks
        self.rows.add([(c, 1.0) for c in first], 1.0)

    def _worth(self, hand: OpenHand, way: Way, person: Person) -> float:
        worth = self.day.weight(hand) * way.p_success
        told = self.kept.get(hand.serial)
        return worth * (1.0 + KEEP) if told is not None and told == (way.id, person.id) else worth

    def _reworks(self, k: int, hand: OpenHand, way: Way) -> list[int]:
        day, work = self.day, hand.in_work
        if way.minutes <= 0 or (work is not None and work.looking):
            return []
        found = []
        for person in day.people:
            minutes, given = way.minutes, False
            if work is not None:
                if person.id != work.by:
                    continue
                minutes, given = work.minutes_left, True
            elif not person.can(way.skill):
                continue
            begins = 0.0 if given else person.from_min
            if begins + minutes > day.until(person) or (
                begins + minutes + way.wait_minutes + way.recheck_minutes > day.closing_min
            ):
                continue
            found.append(len(self.columns))
            self.columns.append(
                Column(
                    hand=k,
                    way=way,
                    person=person,
                    kind="rework",
                    minutes=minutes,
                    worth=self._worth(hand, way, person),
                    given=given,
                )
            )
        return found

    def _looks(self, k: int, hand: OpenHand, way: Way, *, alone: bool) -> list[int]:
        day, work = self.day, hand.in_work
        if way.recheck_minutes <= 0 and not (work is not None and work.looking):
            return []
        looking = work is not None and work.looking
        ready = 0.0 if alone else self._ready(k, way)
        found = []
        for person in day.people:
            minutes = way.recheck_minutes
            if looking and work is not None:
                if person.id != work.by:
                    continue
                minutes = work.minutes_left
            elif not person.can(INSPECTOR):
                continue
            if max(0.0 if looking else person.from_min, ready) + minutes > day.until(person):
                continue
            worth = self._worth(hand, way, person) if alone else 0.0
            found.append(len(self.columns))
            self.columns.append(
                Column(
                    hand=k,
                    way=way,
                    person=person,
                    kind="recheck",
                    minutes=minutes,
                    worth=worth,
                    given=looking,
                )
            )
        return found

    def _ready(self, k: int, way: Way) -> float:
        """The first minute at which a look can begin; 0 where there is nothing to wait for."""
        begin = [
            c.minutes + (0.0 if c.given else c.person.from_min)
            for c in self.columns
            if c.hand == k and c.way is way and c.kind == "rework"
        ]
        return min(begin) + way.wait_minutes if begin else 0.0

    def _people(self) -> None:
        """Everybody's minutes; and that a look waits for its rework, and a rework leaves time for its look."""
        day = self.day
        ready = [self._ready(c.hand, c.way) if c.kind == "recheck" else 0.0 for c in self.columns]
        tail = [
            c.way.wait_minutes + c.way.recheck_minutes if c.kind == "rework" else 0.0 for c in self.columns
        ]
        for person in day.people:
            own = [k for k, c in enumerate(self.columns) if c.person is person]
            begin = 0.0 if any(self.columns[k].given for k in own) else person.from_min
            until = day.until(person)
            entries = [(k, self.columns[k].minutes) for k in own]
            self.rows.add(entries, until - begin, about=("person", person.id))
            looks = [k for k in own if self.columns[k].kind == "recheck"]
            for at in sorted({ready[k] for k in looks if ready[k] > begin}):
                late = [(k, self.columns[k].minutes) for k in looks if ready[k] >= at]
                self.rows.add(late, until - at, about=("person", person.id))
            reworks = [k for k in own if self.columns[k].kind == "rework"]
            for rest in sorted({tail[k] for k in reworks if day.closing_min - tail[k] < until}):
                early = [(k, self.columns[k].minutes) for k in reworks if tail[k] >= rest]
                self.rows.add(early, day.closing_min - rest - begin, about=("person", person.id))

    def _spares(self) -> None:
        for name in sorted({n for h in self.day.hands for w in h.ways for n, c in w.spares.items() if c > 0}):
            entries = [
                (k, float(c.way.spares[name]))
                for k, c in enumerate(self.columns)
                if c.way.spares.get(name, 0) > 0
                and (c.kind == "rework" or c.way.minutes <= 0)
                and self.day.hands[c.hand].in_work is None
            ]
            self.rows.add(entries, float(self.day.spares.get(name, 0)), about=("spare", name))
