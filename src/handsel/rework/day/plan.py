"""The plan for the day: which hands to work on, by whom and in which order, to release the most by closing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from random import Random

from handsel.rework.day.calendar import Wish, broken_rules, kept_people, placed_in_order, value_of
from handsel.rework.day.model import HOUR_MIN, Chosen, Day, DayPlan, OpenHand, Scarce, Way
from handsel.rework.day.programme import Programme
from handsel.rework.day.solving import GAP_RATIO, Pick, Picked, Prices, priced, solved
from handsel.rework.day.words import day_sentence, left_reason, with_reasons

SECONDS = 5.0  # for the solver; what is found by then is taken, and the gap says what that may cost
TRIES = 30  # hands left out that are tried first in line, to see whether they fit after all
SHAKES, SEED = 150, 5  # small changes of the order that are tried when the clock costs something


def plan_day(day: Day, before: DayPlan | None = None, *, seconds: float = SECONDS) -> DayPlan:
    """The plan that is expected to release the most, weighed, before closing.

    Parameters: day; before, a plan told earlier: it is kept to where nothing is lost by it; seconds for
        the solver [s].
    Returns: DayPlan. What is in work stays with whoever has it, unless it cannot be finished and looked at
        by closing. The plan is never worse than serving by worth for the minutes, than first come first
        served, or than what is left of `before`.
    Raises: nothing of its own; Day checks itself when it is made.
    Valid for: days of some hundred hands; minutes and chances as sure as they were given.
    Source: assignment as a mixed-integer programme (scipy.optimize.milp, HiGHS) without the clock, whose
        bound holds for every plan; then serial schedule generation, which keeps the clock, in several orders.
    Checked by: unit/test_day_plan.py, properties/test_day_plan.py
    """
    told = kept_people(before.chosen) if before is not None else {}
    unfinished = _unfinished(day)
    programme = Programme(day, told, unfinished=unfinished)
    picked = solved(programme, seconds=seconds)
    chosen = _best(day, picked, before)
    return _written(day, chosen, picked, priced(programme))


def first_come_first_served(day: Day) -> tuple[Chosen, ...]:
    """What is done when every hand is taken in its turn, by its usual way and by whoever is free.

    Parameters: day.
    Returns: what was placed.
    Raises: nothing of its own.
    Valid for: any day.
    Source: common practice.
    Checked by: unit/test_day_plan.py
    """
    return placed_in_order(day, [[Wish(hand=h, way=h.ways[0])] for h in day.hands])


def by_worth(day: Day) -> tuple[Chosen, ...]:
    """What is done when the hand that brings most for its minutes is always taken next.

    Parameters: day.
    Returns: what was placed.
    Raises: nothing of its own.
    Valid for: any day.
    Source: greedy rule for knapsacks.
    Checked by: properties/test_day_plan.py
    """
    hands = sorted(day.hands, key=lambda h: -max(_rate(day, h, w) for w in h.ways))
    return placed_in_order(day, [_all_ways(day, h) for h in hands])


def _rate(day: Day, hand: OpenHand, way: Way) -> float:
    return day.weight(hand) * way.p_success / max(way.minutes + way.recheck_minutes, 1.0)


def _all_ways(day: Day, hand: OpenHand) -> list[Wish]:
    return [Wish(hand=hand, way=w) for w in sorted(hand.ways, key=lambda w: -_rate(day, hand, w))]


def _unfinished(day: Day) -> set[str]:
    placed = {c.hand.serial for c in placed_in_order(day, [])}
    return {h.serial for h in day.hands if h.in_work is not None and h.serial not in placed}


def _best(day: Day, picked: Picked, before: DayPlan | None) -> tuple[Chosen, ...]:
    """The best of all candidates, then bettered by trying each hand left out first in line."""
    orders = list(_orders(day, picked, before))
    found = [(placed_in_order(day, wishes), wishes) for wishes in orders]
    found.append((first_come_first_served(day), []))
    found.append((by_worth(day), []))
    if before is not None and _still_holds(day, before):
        found.append((before.chosen, []))
    best, wishes = max(found, key=lambda f: value_of(day, f[0]))
    if not wishes:
        wishes = _as_wishes(day, best)
    best, wishes = _bettered(day, best, wishes, picked.bound)
    return _shaken(day, best, wishes, picked.bound)


def _still_holds(day: Day, before: DayPlan) -> bool:
    """Whether nothing that a plan rests on has changed for the worse."""
    return all(c.hand in day.hands for c in before.chosen) and not broken_rules(day, before.chosen)


def _as_wishes(day: Day, chosen: Sequence[Chosen]) -> list[list[Wish]]:
    done = [
        [
            Wish(
                hand=c.hand,
                way=c.way,
                by=c.rework.person if c.rework is not None else None,
                looked_at_by=c.recheck.person if c.recheck is not None else None,
            ),
            *_all_ways(day, c.hand),
        ]
        for c in chosen
    ]
    return [*done, *_rest(day, {c.hand.serial for c in chosen})]


def _rest(day: Day, taken: set[str]) -> list[list[Wish]]:
    """The hands not taken, those that bring most for their minutes first."""
    left = [h for h in day.hands if h.serial not in taken]
    return [_all_ways(day, h) for h in sorted(left, key=lambda h: -max(_rate(day, h, w) for w in h.ways))]


def _orders(day: Day, picked: Picked, before: DayPlan | None) -> Iterator[list[list[Wish]]]:
    """The programme's choice in several orders of work, by the people it named and by whoever is free."""
    hands = {h.serial: h for h in day.hands}
    rest = _rest(day, {p.serial for p in picked.picks})

    def way(p: Pick) -> Way:
        return hands[p.serial].way(p.way)

    def tail(p: Pick) -> float:
        return way(p).wait_minutes + way(p).recheck_minutes

    keys = (
        lambda p: (-tail(p), way(p).minutes),
        # Johnson's rule for two machines in a row: short rework first, short looks last.
        lambda p: (0, way(p).minutes) if way(p).minutes < tail(p) else (1, -tail(p)),
        lambda p: (way(p).minutes, -tail(p)),
        lambda p: (-_rate(day, hands[p.serial], way(p)), 0.0),
    )
    for key in keys:
        picks = sorted(picked.picks, key=key)
        for named in (True, False):
            yield [
                *(
                    [
                        Wish(
                            hand=hands[p.serial],
                            way=way(p),
                            by=p.by if named else None,
                            looked_at_by=p.looked_at_by if named else None,
                        ),
                        *_all_ways(day, hands[p.serial]),
                    ]
                    for p in picks
                ),
                *rest,
            ]
    if before is not None:
        yield _as_told(day, before)


def _as_told(day: Day, before: DayPlan) -> list[list[Wish]]:
    """What is left of a plan told before, in its order."""
    hands = {h.serial: h for h in day.hands}
    people = {p.id for p in day.people}
    told = []
    for c in before.chosen:
        hand = hands.get(c.hand.serial)
        way = next((w for w in hand.ways if w.id == c.way.id), None) if hand is not None else None
        if hand is None or way is None:
            continue
        by = c.rework.person if c.rework is not None and c.rework.person in people else None
        look = c.recheck.person if c.recheck is not None and c.recheck.person in people else None
        told.append([Wish(hand=hand, way=way, by=by, looked_at_by=look), *_all_ways(day, hand)])
    return [*told, *_rest(day, {options[0].hand.serial for options in told})]


def _bettered(
    day: Day, best: tuple[Chosen, ...], wishes: list[list[Wish]], bound: float
) -> tuple[tuple[Chosen, ...], list[list[Wish]]]:
    """Move hands that were left out to the front, one at a time, and keep what brings more."""
    value = value_of(day, best)
    for _ in range(TRIES):
        if value >= bound - 1e-9:
            break
        done = {c.hand.serial for c in best}
        left = [options for options in wishes if options[0].hand.serial not in done]
        for options in left[:TRIES]:
            order = [options, *(o for o in wishes if o is not options)]
            tried = placed_in_order(day, order)
            if value_of(day, tried) > value + 1e-9:
                best, wishes, value = tried, order, value_of(day, tried)
                break
        else:
            break
    return best, wishes


def _shaken(day: Day, best: tuple[Chosen, ...], wishes: list[list[Wish]], bound: float) -> tuple[Chosen, ...]:
    """Shift some hands in the order of work at random, named people or not, and keep what brings no less."""
    draw, value = Random(SEED), value_of(day, best)
    for _ in range(SHAKES):
        if value >= bound * (1.0 - GAP_RATIO) or len(wishes) < 2:
            break
        order = list(wishes)
        for _ in range(draw.randint(1, 4)):
            options = order.pop(draw.randrange(len(order)))
            if draw.random() < 0.5:  # by whoever is free, and by another way first
                options = [replace(w, by=None, looked_at_by=None) for w in options]
                options.append(options.pop(0)) if draw.random() < 0.3 else None
            order.insert(draw.randrange(len(order) + 1), options)
        tried = placed_in_order(day, order)
        if value_of(day, tried) >= value:
            best, wishes, value = tried, order, value_of(day, tried)
    return best


def _written(day: Day, chosen: tuple[Chosen, ...], picked: Picked, prices: Prices) -> DayPlan:
    value = value_of(day, chosen)
    scarce = _scarce(day, prices)
    done = {c.hand.serial for c in chosen}
    ordered = sorted(chosen, key=_begin)
    left = tuple(left_reason(day, h, chosen, prices) for h in day.hands if h.serial not in done)
    expected = sum(c.way.p_success for c in chosen)
    return DayPlan(
        sentence=day_sentence(day, ordered, left, expected),
        chosen=with_reasons(day, ordered, prices),
        left_out=left,
        expected_releases=expected,
        value=value,
        bound=max(picked.bound, value),
        scarce=scarce,
    )


def _begin(c: Chosen) -> tuple[float, float]:
    starts = [s.start_min for s in (c.rework, c.recheck) if s is not None]
    return min(starts, default=0.0), c.end_min


def _scarce(day: Day, prices: Prices) -> tuple[Scarce, ...]:
    people = [
        Scarce(what=id, kind="person", worth=HOUR_MIN * worth)
        for id, worth in prices.person.items()
        if worth > 1e-9
    ]
    spares = [Scarce(what=n, kind="spare", worth=worth) for n, worth in prices.spare.items() if worth > 1e-9]
    return tuple(sorted([*people, *spares], key=lambda s: -s.worth))
