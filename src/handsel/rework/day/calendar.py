"""People's time as it fills: each hand gets its earliest rework, then its earliest look."""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from handsel.rework.day.model import INSPECTOR, Chosen, Day, OpenHand, Person, Stint, Way

CLOSE_MIN = 1e-6  # two times nearer than this are one
NEAREST = 3  # people who could begin soonest, among whom the one is chosen after whom the look ends soonest


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A hand to be placed by a way, and who would best do it; None: whoever is free first."""

    hand: OpenHand
    way: Way
    by: str | None = None
    looked_at_by: str | None = None


class Calendar:
    """Who is busy when, and which spares are left."""

    def __init__(self, day: Day) -> None:
        self.day = day
        self.busy: dict[str, list[tuple[float, float]]] = {p.id: [] for p in day.people}
        self.left = dict(day.spares)
        self._able: dict[str, list[Person]] = {}

    def earliest(self, person: Person, minutes: float, ready_min: float) -> float | None:
        """The first minute at which a person has so many minutes free, or None before closing."""
        at = max(person.from_min, ready_min)
        for start, end in self.busy[person.id]:
            if at + minutes <= start + CLOSE_MIN:
                break
            at = max(at, end)
        return at if at + minutes <= self.day.until(person) + CLOSE_MIN else None

    def take(self, stint: Stint) -> Stint:
        """Write a stint into its person's time."""
        insort(self.busy[stint.person], (stint.start_min, stint.end_min))
        return stint

    def has(self, way: Way) -> bool:
        """Whether the spares for a way are left."""
        return all(self.left.get(name, 0) >= count for name, count in way.spares.items())

    def spend(self, way: Way) -> None:
        """Take a way's spares."""
        for name, count in way.spares.items():
            self.left[name] = self.left.get(name, 0) - count

    def able(self, skill: str) -> list[Person]:
        """Everybody with a skill, those with the fewest other skills first."""
        if skill not in self._able:
            people = [p for p in self.day.people if p.can(skill)]
            self._able[skill] = sorted(people, key=lambda p: len(p.skills))
        return self._able[skill]

    def soonest(
        self, skill: str, wanted: str | None, minutes: float, ready_min: float, but: str = ""
    ) -> list[tuple[float, Person]]:
        """When each person with a skill could begin, whoever is wanted first, then the soonest."""
        found = []
        for person in self.able(skill):
            if person.id != but:
                at = self.earliest(person, minutes, ready_min)
                if at is not None:
                    found.append((at, person))
        found.sort(key=lambda f: f[0])
        if wanted is not None:
            found.sort(key=lambda f: f[1].id != wanted)
        return found

    def place(self, wish: Wish) -> Chosen | None:
        """Put a hand into people's time as early as it will go; None when it cannot be done by closing."""
        hand, way = wish.hand, wish.way
        if not self.has(way):
            return None
        if way.minutes <= 0:
            look = self._look(wish, "", 0.0)
            if look is None and way.recheck_minutes > 0:
                return None
            return self._taken(Chosen(hand=hand, way=way, rework=None, recheck=look))
        best: Chosen | None = None
        for at, person in self.soonest(way.skill, wish.by, way.minutes, 0.0)[:NEAREST]:
            rework = Stint(
                person=person.id, serial=hand.serial, kind="rework", start_min=at, end_min=at + way.minutes
            )
            # Their own new stint cannot stand in the way of the look: that begins after it.
            look = self._look(wish, person.id, rework.end_min + way.wait_minutes)
            if look is None and way.recheck_minutes > 0:
                continue
            tried = Chosen(hand=hand, way=way, rework=rework, recheck=look)
            if best is None or tried.end_min < best.end_min - CLOSE_MIN:
                best = tried
            if person.id == wish.by:
                break
        return self._taken(best) if best is not None else None

    def _taken(self, chosen: Chosen) -> Chosen:
        for stint in (chosen.rework, chosen.recheck):
            if stint is not None:
                self.take(stint)
        self.spend(chosen.way)
        return chosen

    def _look(self, wish: Wish, own: str, ready_min: float) -> Stint | None:
        """The earliest look at a hand by somebody with other eyes; not yet written into anybody's time."""
        minutes = wish.way.recheck_minutes
        if minutes <= 0:
            return None
        but = own if self.day.other_eyes else ""
        found = self.soonest(INSPECTOR, wish.looked_at_by, minutes, ready_min, but)
        if not found:
            return None
        at, person = found[0]
        soonest = min(found, key=lambda f: f[0])
        if at >= soonest[0] + minutes:  # whoever was meant, unless another is through before they begin
            at, person = soonest
        return Stint(
            person=person.id,
            serial=wish.hand.serial,
            kind="recheck",
            start_min=at,
            end_min=at + minutes,
        )

    def in_work(self) -> tuple[tuple[Chosen, ...], tuple[OpenHand, ...]]:
        """Place what is in work first: it stays with whoever has it.

        Returns: what was placed; and hands whose work cannot be finished and looked at before closing.
        """
        placed, failed = [], []
        going = [h for h in self.day.hands if h.in_work is not None]
        for hand in going:  # everybody's hands are full first, then come the looks
            work = hand.in_work
            if work is not None:
                insort(self.busy[work.by], (0.0, work.minutes_left))
        for hand in going:
            chosen = self._finish(hand)
            if chosen is None:
                failed.append(hand)
                if hand.in_work is not None:  # put aside: its person is free for what can still go out
                    self.busy[hand.in_work.by].remove((0.0, hand.in_work.minutes_left))
            else:
                placed.append(chosen)
        return tuple(placed), tuple(failed)

    def _finish(self, hand: OpenHand) -> Chosen | None:
        work = hand.in_work
        person = self.day.person(work.by) if work is not None else None
        if work is None or person is None or work.minutes_left > self.day.until(person) + CLOSE_MIN:
            return None
        way = hand.way(work.way)
        stint = Stint(
            person=work.by,
            serial=hand.serial,
            kind="recheck" if work.looking else "rework",
            start_min=0.0,
            end_min=work.minutes_left,
        )
        if work.looking:
            return Chosen(hand=hand, way=way, rework=None, recheck=stint)
        look = self._look(Wish(hand=hand, way=way), work.by, work.minutes_left + way.wait_minutes)
        if look is None and way.recheck_minutes > 0:
            return None
        if look is not None:
            self.take(look)
        return Chosen(hand=hand, way=way, rework=stint, recheck=look)


def placed_in_order(day: Day, wishes: Sequence[Sequence[Wish]]) -> tuple[Chosen, ...]:
    """Place hands one after the other, each by the first of its wishes that fits.

    Parameters: day; wishes, for each hand in turn, the ways to try in turn. Hands in work come first
        by themselves.
    Returns: what was placed.
    Raises: nothing of its own.
    Valid for: any day.
    Source: serial schedule generation with insertion: no hand is moved once it is placed.
    Checked by: unit/test_day_plan.py, properties/test_day_plan.py
    """
    calendar = Calendar(day)
    done, failed = calendar.in_work()
    chosen = list(done)
    taken = {c.hand.serial for c in done} | {h.serial for h in failed}
    for options in wishes:
        if not options or options[0].hand.serial in taken:
            continue
        for wish in options:
            placed = calendar.place(wish)
            if placed is not None:
                chosen.append(placed)
                taken.add(placed.hand.serial)
                break
    return tuple(chosen)


def value_of(day: Day, chosen: Iterable[Chosen]) -> float:
    """Weighed releases that are expected of what was chosen."""
    return sum(day.weight(c.hand) * c.way.p_success for c in chosen)


def broken_rules(day: Day, chosen: Sequence[Chosen]) -> tuple[str, ...]:
    """What a plan asks for that cannot be done; empty for a plan that can.

    Parameters: day; chosen, the hands of a plan.
    Returns: sentences, each naming one thing that is asked for twice, too late, or of the wrong person.
    Raises: nothing of its own.
    Valid for: any plan for this day, whoever made it.
    Source: the rules of the day read again from its data, apart from how plans are made.
    Checked by: unit/test_day_plan.py
    """
    said: list[str] = []
    serials = [c.hand.serial for c in chosen]
    said += [f"{s} is worked on twice" for s in sorted(set(serials)) if serials.count(s) > 1]
    spent: dict[str, int] = {}
    by_person: dict[str, list[Stint]] = {}
    for c in chosen:
        if c.hand.in_work is None:
            for name, count in c.way.spares.items():
                spent[name] = spent.get(name, 0) + count
        for stint in (c.rework, c.recheck):
            if stint is not None:
                by_person.setdefault(stint.person, []).append(stint)
        said += _broken_hand(day, c)
    said += [
        f"{count} of {name} are used, {day.spares.get(name, 0)} are on hand"
        for name, count in spent.items()
        if count > day.spares.get(name, 0)
    ]
    for person, stints in by_person.items():
        ordered = sorted(stints, key=lambda s: (s.start_min, s.end_min))
        for a, b in zip(ordered, ordered[1:], strict=False):
            if b.start_min < a.end_min - CLOSE_MIN:
                said.append(f"{person} works on {a.serial} and {b.serial} at once")
    return tuple(said)


def _broken_hand(day: Day, c: Chosen) -> Iterator[str]:
    work, people = c.hand.in_work, {p.id: p for p in day.people}
    for stint in (c.rework, c.recheck):
        if stint is None:
            continue
        person = people.get(stint.person)
        if person is None:
            yield f"{stint.person} is not there"
            continue
        given = work is not None and stint.person == work.by and stint.start_min == 0.0
        skill = c.way.skill if stint.kind == "rework" else INSPECTOR
        if not given and not person.can(skill):
            yield f"{person.id} has not the skill for {c.hand.serial}: {skill}"
        if not given and stint.start_min < person.from_min - CLOSE_MIN:
            yield f"{person.id} is not there yet for {c.hand.serial}"
        if stint.end_min > day.until(person) + CLOSE_MIN:
            yield f"{c.hand.serial} would be finished after closing"
        needed = c.way.minutes if stint.kind == "rework" else c.way.recheck_minutes
        if not given and stint.end_min - stint.start_min < needed - CLOSE_MIN:
            yield f"{c.hand.serial} gets less time than it needs"
    if c.way.minutes > 0 and c.rework is None and not (work is not None and work.looking):
        yield f"nobody works on {c.hand.serial}"
    if c.way.recheck_minutes > 0 and c.recheck is None:
        yield f"nobody looks at {c.hand.serial} again"
    if c.rework is not None and c.recheck is not None:
        if c.recheck.start_min < c.rework.end_min + c.way.wait_minutes - CLOSE_MIN:
            yield f"{c.hand.serial} is looked at before it is done"
        if day.other_eyes and c.rework.person == c.recheck.person:
            yield f"{c.rework.person} looks at their own rework of {c.hand.serial}"
    if work is not None:
        kept = c.recheck if work.looking else c.rework
        if kept is None or kept.person != work.by or c.way.id != work.way:
            yield f"{c.hand.serial} is taken out of the hands of {work.by}"


def kept_people(chosen: Iterable[Chosen]) -> Mapping[str, tuple[str, str | None]]:
    """Serial of each hand: its way and who was to do the rework, for keeping to a plan told before."""
    return {c.hand.serial: (c.way.id, c.rework.person if c.rework is not None else None) for c in chosen}
