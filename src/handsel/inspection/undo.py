"""What a rework undoes, and so what must be looked at again after it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from handsel.errors import OutOfRange
from handsel.inspection.protocol import HAND, Characteristic, Per, Protocol, Rework


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkDone:
    """A rework at a place; without a place it counts as done everywhere it can be done."""

    rework: str
    place: str = HAND


@dataclass(frozen=True, slots=True, kw_only=True)
class Recheck:
    """One characteristic, at one place, to be looked at again, and why."""

    characteristic: Characteristic
    place: str
    reasons: tuple[str, ...]


def reinspection_set(done: Iterable[str | ReworkDone], protocol: Protocol) -> tuple[Recheck, ...]:
    """Everything to look at again after these reworks, in the order in which the hand is held.

    Parameters: done, ids of reworks, or ReworkDone where the place is known; protocol.
    Returns: Recheck for each characteristic and place, ordered by hold point, then group, then as
        the protocol lists them. More rework never takes anything out of it.
    Raises: OutOfRange for a rework or place that the protocol does not know.
    Valid for: an undo list that is complete; what it leaves out is not found here.
    Source: own rule. Followed through: rework that has to come after (restringing, then sealing),
        and the conditions under which an undone number counts.
    Checked by: unit/test_inspection_undo.py, properties/test_inspection.py,
        published/test_common_practice.py
    """
    reasons: dict[tuple[str, str], list[str]] = {}
    for entry in done:
        start = ReworkDone(rework=entry) if isinstance(entry, str) else entry
        for rework, place in _with_follow_ups(start, protocol):
            for characteristic, where in undone_by(rework, place, protocol):
                _add(reasons, characteristic.id, where, f"undone by: {rework.title}{_at(place)}")
    waiting = [id for id, _ in reasons]
    while waiting:
        characteristic = _known(protocol, waiting.pop(0))
        for condition in (_known(protocol, id) for id in characteristic.counts_only_if):
            if all((condition.id, where) not in reasons for where in protocol.places(condition.per)):
                waiting.append(condition.id)
            for where in protocol.places(condition.per):
                _add(reasons, condition.id, where, f"{characteristic.title}: counts only when this is so")
    return tuple(
        Recheck(characteristic=c, place=where, reasons=tuple(reasons[c.id, where]))
        for c in in_hand_order(protocol)
        for where in protocol.places(c.per)
        if (c.id, where) in reasons
    )


def undone_by(rework: Rework, place: str, protocol: Protocol) -> Iterator[tuple[Characteristic, str]]:
    """The characteristics and places that one rework undoes by itself, without what has to follow it.

    Parameters: rework of the protocol; place where it was done, empty for everywhere.
    Returns: pairs of characteristic and place; a pair may come twice.
    Raises: OutOfRange for a place of another kind than the rework's.
    Valid for: as reinspection_set.
    Source: own rule.
    Checked by: unit/test_inspection_undo.py
    """
    if place != HAND and place not in protocol.places(rework.per):
        raise OutOfRange(
            f"{rework.id} cannot be done at {place!r}",
            where=f"rework {rework.id}",
            do=f"Use one of: {', '.join(protocol.places(rework.per)) or 'no place'}.",
        )
    per: Per = "hand" if place == HAND else rework.per
    here = protocol.digits_at(per, place)
    everywhere = frozenset(d.id for d in protocol.digits)
    scopes = (
        (rework.undoes, everywhere),
        (rework.undoes_here, here),
        (rework.undoes_loop, protocol.on_same_cord(here)),
    )
    for ids, touched in scopes:
        for characteristic in (c for id in ids for c in protocol.members(id)):
            # A knot is finer than its digit: work on the thumb's fingertip knot leaves the other alone.
            exact = ids is rework.undoes_here and characteristic.per == per
            for where in protocol.places(characteristic.per):
                if where == place if exact else protocol.digits_at(characteristic.per, where) & touched:
                    yield characteristic, where


def in_hand_order(protocol: Protocol) -> tuple[Characteristic, ...]:
    """All characteristics by hold point, then by how the hand is held, then as listed.

    Parameters: protocol.
    Returns: the characteristics, each once.
    Raises: nothing of its own.
    Valid for: a protocol whose groups exist, as its loader makes sure.
    Source: own rule: a hand is turned over once at each hold point.
    Checked by: unit/test_inspection_protocol.py
    """
    groups = [g.id for h in protocol.hold_points for g in h.groups]
    return tuple(sorted(protocol.characteristics, key=lambda c: groups.index(c.held)))


def _with_follow_ups(start: ReworkDone, protocol: Protocol) -> Iterator[tuple[Rework, str]]:
    waiting, seen = [start], set()
    while waiting:
        entry = waiting.pop(0)
        rework = protocol.rework(entry.rework)
        if rework is None:
            raise OutOfRange(
                f"there is no rework {entry.rework!r}",
                where=f"protocol {protocol.id}",
                do="Use the id of one of its reworks.",
            )
        if (rework.id, entry.place) in seen:
            continue
        seen.add((rework.id, entry.place))
        yield rework, entry.place
        for id in rework.follow_up:
            following = protocol.rework(id)
            if following is not None:
                waiting += [
                    ReworkDone(rework=id, place=p) for p in _carried(rework, entry.place, following, protocol)
                ]


def _carried(rework: Rework, place: str, following: Rework, protocol: Protocol) -> tuple[str, ...]:
    """Places where a following rework has to be done: those that touch the same digits."""
    if place == HAND or following.per == "hand":
        return (HAND,)
    here = protocol.digits_at(rework.per, place)
    return tuple(p for p in protocol.places(following.per) if protocol.digits_at(following.per, p) & here)


def _known(protocol: Protocol, id: str) -> Characteristic:
    characteristic = protocol.characteristic(id)
    if characteristic is None:
        raise OutOfRange(
            f"there is no characteristic {id!r}",
            where=f"protocol {protocol.id}",
            do="Mend the id, or add the characteristic.",
        )
    return characteristic


def _add(reasons: dict[tuple[str, str], list[str]], id: str, place: str, reason: str) -> None:
    known = reasons.setdefault((id, place), [])
    if reason not in known:
        known.append(reason)


def _at(place: str) -> str:
    return f" ({place})" if place else ""
