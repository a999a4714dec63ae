"""What an inspection alone says must be done: plain reworks, and whether a cause has to be searched for at all."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, replace

from handsel.inspection.case import Case
from handsel.inspection.deciding import inspect
from handsel.inspection.protocol import HAND, Protocol, Rework
from handsel.inspection.result import Inspection, Item
from handsel.inspection.undo import ReworkDone
from handsel.mechanics.excess import WORKED
from handsel.rework.choosing import about_cords, reader
from handsel.rework.hand.length_ways import LengthWays


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainWork:
    """What does not hold and says by itself what to do, and whether there is more to it than that."""

    inspection: Inspection
    items: tuple[Item, ...]  # that are put right by a rework of their own, in the order of work
    reworks: tuple[ReworkDone, ...]  # of these, each once
    search: bool  # something does not hold, or cannot be decided, whose cause is not seen


def plain_work(
    case: Case, protocol: Protocol, told_by_causes: Set[str], lengths: LengthWays | None
) -> PlainWork:
    """Part what does not hold into what a rework of its own puts right, and what a cause has to be found for.

    Parameters: case; protocol; told_by_causes, ids of the looks that tell causes apart; lengths, what the model
        says of its cords, None: nothing.
    Returns: PlainWork.
    Raises: BadCase for a case that does not fit the protocol.
    Valid for: a hand that is not strung yet shows its faults by themselves: what cords and elastics do cannot be
        behind them. Of a strung hand, a crack or a burr is plain and a finger that lags is not.
    Source: own rule.
    Checked by: unit/test_advice.py
    """
    known = tuple(o for o in case.observations if protocol.characteristic(o.of) is not None)
    inspection = inspect(replace(case, observations=known), protocol)
    strung = is_strung(protocol, case.hand.hold_point)
    plain: dict[ReworkDone, None] = {}
    hopeless = 1.0 - protocol.accept("major")
    items, search = [], strung and lengths is not None and lengths.now_p < hopeless
    for item in inspection.work_order:
        if not item.is_open or item.status == "not seen":
            continue
        if item.status == "undecided":
            search |= strung and item.id in told_by_causes and item.p_conform is not None
        elif strung and (item.id in told_by_causes or about_cords(item)):
            search = True
        elif item.rework and (rework := protocol.rework(item.rework[0])) is not None:
            items.append(item)
            plain[ReworkDone(rework=rework.id, place=rework_place(item, rework, protocol))] = None
    return PlainWork(inspection=inspection, items=tuple(items), reworks=tuple(plain), search=search)


def is_strung(protocol: Protocol, hold_point: str) -> bool:
    """Whether a hand has come to the hold point at which its rest angle is read: before it, no cord is at fault.

    Parameters: protocol; hold_point, id of the one that it has come to.
    Returns: bool.
    Raises: OutOfRange for an unknown hold point.    Valid for: any protocol.    Source: own rule.
    Checked by: unit/test_advice.py
    """
    c = reader(protocol, WORKED)
    return c is not None and protocol.stage(hold_point) >= protocol.stage(c.hold_point)


def rework_place(item: Item, rework: Rework, protocol: Protocol) -> str:
    """Where a rework has to be done for an item: its own place, or the one of the other kind that touches it.

    Parameters: item of an inspection; rework; protocol of both.
    Returns: a place of the rework's kind; "" for the whole hand.
    Raises: nothing of its own.    Valid for: any item.    Source: own rule.
    Checked by: unit/test_advice.py
    """
    characteristic = protocol.characteristic(item.id)
    if characteristic is None or item.place == HAND:
        return HAND
    here = protocol.digits_at(characteristic.per, item.place)
    touching = [p for p in protocol.places(rework.per) if protocol.digits_at(rework.per, p) & here]
    return item.place if item.place in touching else next(iter(touching), HAND)
