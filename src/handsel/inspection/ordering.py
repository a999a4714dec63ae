"""In which order to do what is open, and which check to make next."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.inspection.protocol import HAND, Protocol, gravity
from handsel.inspection.result import Item, NextCheck
from handsel.inspection.undo import ReworkDone, reinspection_set


def work_order(open_items: Sequence[Item], protocol: Protocol) -> tuple[Item, ...]:
    """Open items by what must be done before what.

    An item comes after every rework that would undo it; apart from that, earlier hold points come
    first, graver items first within one, then the order of the protocol. Where two would undo each
    other, the one that undoes more goes first: restringing before a single knot.

    Parameters: open_items of one inspection; protocol.
    Returns: the same items, ordered.
    Raises: nothing of its own.
    Valid for: rework whose undo lists run in a circle too.
    Source: own rule.
    Checked by: unit/test_inspection_ordering.py, properties/test_inspection.py
    """
    stages = [h.id for h in protocol.hold_points]
    listed = {c.id: i for i, c in enumerate(protocol.characteristics)}

    def rank(item: Item) -> tuple[int, int, int, str, str]:
        stage = stages.index(item.hold_point) if item.hold_point else len(stages)
        return (stage, gravity(item.severity), listed.get(item.id, len(listed)), item.id, item.place)

    waits_for: dict[tuple[str, str], set[tuple[str, str]]] = {item.key: set() for item in open_items}
    undoes = {item.key: rework_undoes(item, protocol) for item in open_items}
    for item in open_items:
        for undone in undoes[item.key]:
            if undone in waits_for and undone != item.key:
                waits_for[undone].add(item.key)

    def rank_in_circle(item: Item) -> tuple[int, int]:
        return (rank(item)[0], -len(undoes[item.key]))

    ordered: list[Item] = []
    left = sorted(open_items, key=rank)
    while left:
        pending = {item.key for item in left}
        free = [item for item in left if not waits_for[item.key] & pending]
        chosen = free[0] if free else min(left, key=rank_in_circle)
        ordered.append(chosen)
        left.remove(chosen)
    return tuple(ordered)


def rework_undoes(item: Item, protocol: Protocol) -> frozenset[tuple[str, str]]:
    """Characteristics and places that the usual rework of an item would undo; none unless it needs rework.

    Parameters: item; protocol.
    Returns: keys of items, the item's own included where its rework undoes it.
    Raises: nothing of its own.
    Valid for: items of this protocol.
    Source: own rule; the first rework listed is the usual one.
    Checked by: unit/test_inspection_ordering.py
    """
    rework = protocol.rework(item.rework[0]) if item.rework else None
    if item.status != "does not conform" or rework is None:
        return frozenset()
    characteristic = protocol.characteristic(item.id)
    place = HAND
    if characteristic is not None and item.place != HAND:
        here = protocol.digits_at(characteristic.per, item.place)
        touching = [p for p in protocol.places(rework.per) if protocol.digits_at(rework.per, p) & here]
        place = item.place if item.place in touching else next(iter(touching), HAND)
    return frozenset(
        (r.characteristic.id, r.place)
        for r in reinspection_set([ReworkDone(rework=rework.id, place=place)], protocol)
    )


def next_check(items: Sequence[Item], protocol: Protocol) -> NextCheck | None:
    """The check to make next: the gravest kind first, and of these what finds most per minute.

    Conditions come before what they make count; what a rework that is needed anyway would undo is
    left for after it.

    Parameters: items of one inspection; protocol.
    Returns: NextCheck, or None when nothing is left to look at.
    Raises: nothing of its own.
    Valid for: prior shares of nonconforming that are about right; they order, and decide nothing.
    Source: own rule: probability of finding something wrong, divided by the minutes of the check.
    Checked by: unit/test_inspection_ordering.py
    """
    open_items = [item for item in items if item.is_open and item.hold_point]
    unseen = [item for item in open_items if item.status != "does not conform"]
    undone = {key for item in items if item.is_open for key in rework_undoes(item, protocol)}
    left = [item for item in unseen if item.key not in undone] or unseen
    # A number is not worth reading while one of its conditions is open, whether unseen or bad.
    still_open = {item.id for item in open_items}
    ready = [item for item in left if not still_open & set(_conditions(item, protocol))]
    gates = {id for item in left if item.blocks for id in _conditions(item, protocol)}
    ready = [item for item in ready if item.blocks or item.id in gates] or ready
    if not ready:
        return None
    best = min(ready, key=lambda item: (gravity(item.severity), -_found_per_minute(item, protocol)))
    characteristic = protocol.characteristic(best.id)
    prior = characteristic.prior_nonconforming if characteristic is not None else 0.0
    why = f"{best.severity}; taken to be wrong on about {100 * prior:.2g} of 100 hands; {best.minutes:g} min"
    if best.status == "undecided":
        why = f"{best.severity}; {best.reason}"
    return NextCheck(item=best, how=best.to_check, reason=why)


def _conditions(item: Item, protocol: Protocol) -> tuple[str, ...]:
    characteristic = protocol.characteristic(item.id)
    return characteristic.counts_only_if if characteristic is not None else ()


def _found_per_minute(item: Item, protocol: Protocol) -> float:
    characteristic = protocol.characteristic(item.id)
    prior = characteristic.prior_nonconforming if characteristic is not None else 0.0
    doubt = 1 - item.p_conform if item.p_conform is not None else prior
    return doubt / max(item.minutes, 0.05)
