"""How one characteristic at one place becomes a line of the result."""

from __future__ import annotations

from collections.abc import Sequence

from handsel.inspection.case import Case
from handsel.inspection.protocol import Characteristic
from handsel.inspection.result import Item, Status
from handsel.metrology.decision import Decision, Settling


def place_in(case: Case, c: Characteristic, place: str) -> str:
    """Where a message points: the case, the characteristic, and the place on the hand."""
    return f"{case.name}, {c.id}" + (f" ({place})" if place else "")


def item_of(
    c: Characteristic,
    place: str,
    *,
    status: Status,
    p: float | None,
    reason: str,
    shown: str = "",
    decision: Decision | None = None,
    settling: Settling | None = None,
    to_check: str = "",
    minutes: float = 0.0,
    advisories: Sequence[str] = (),
    first: str = "",
) -> Item:
    """The item of a characteristic, with what is known of it filled in.

    Parameters: c, the characteristic; place; status; p, the probability that it conforms, or None
        when nothing counts toward it; reason and shown, as text; decision and settling, for
        numbers; to_check and minutes [min], what remains to be looked at; advisories; first, the
        rework that this result calls for before the usual one.
    Returns: Item.
    Raises: nothing of its own.
    Valid for: any characteristic.
    Source: own layout.
    Checked by: unit/test_inspection_deciding.py
    """
    return Item(
        id=c.id,
        place=place,
        title=c.title,
        hold_point=c.hold_point,
        severity=c.severity,
        status=status,
        p_conform=p,
        reason=reason,
        shown=shown,
        decision=decision,
        settling=settling,
        to_check=to_check,
        minutes=minutes,
        advisories=tuple(advisories),
        rework=c.rework if not first else (first, *(r for r in c.rework if r != first)),
        faults=c.faults if status == "does not conform" else (),
    )
