"""From reworks of a protocol to a way that the day can plan with: minutes, skill, spares, looks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handsel.inspection.protocol import Protocol, Rework
from handsel.inspection.undo import ReworkDone, reinspection_set
from handsel.rework.day.model import Way
from handsel.rework.result import Assessment
from handsel.rework.words import listed

RANK = ("builder", "experienced builder", "lead", "fitter", "licensed professional")
CUTTING = (
    "restring-loop",
    "restring-all",
    "retie-knot",
    "rethread-cord",
    "swap-tips",
    "swap-parts",
    "unstring",
)
UNKNOWN_SUCCESS = 0.8  # of a rework that nothing is known of


def way_of_reworks(
    done: Sequence[ReworkDone],
    protocol: Protocol,
    *,
    hold_point: str,
    p_success: float = UNKNOWN_SUCCESS,
    id: str = "",
    title: str = "",
) -> Way:
    """The way that does these reworks one after the other, by one person.

    Parameters: done, reworks with their places, in order; protocol; hold_point that the hand has come to,
        since what is looked at later than that is not looked at again now; p_success that it then conforms;
        id and title, made from the reworks where left out.
    Returns: Way. Its skill is the rarest that one of them asks for.
    Raises: OutOfRange for a rework, place or hold point that the protocol does not know.
    Valid for: minutes as the protocol has them; a check at some of its places takes its share of the minutes.
    Source: the protocol's entries, and its undo lists followed through.
    Checked by: unit/test_load_day.py
    """
    looks = reinspection_set(done, protocol)  # refuses what the protocol does not know
    reworks = [r for d in done if (r := protocol.rework(d.rework)) is not None]
    after = _follow_ups(reworks, protocol, hold_point)
    work = [*reworks, *after]
    return Way(
        id=id or "+".join(f"{d.rework}@{d.place}" if d.place else d.rework for d in done) or "look-again",
        title=title or _title(done, protocol),
        minutes=sum(r.minutes for r in work),
        skill=max((r.skill for r in work), key=RANK.index, default=""),
        recheck_minutes=look_minutes([(c.characteristic.id, c.place) for c in looks], protocol, hold_point),
        p_success=p_success,
        spares=_spares(work),
        cuts=any(r.id in CUTTING or r.irreversible for r in reworks),
    )


def look_minutes(looks: Iterable[tuple[str, str]], protocol: Protocol, hold_point: str) -> float:
    """Minutes of looking at some characteristics at some places, up to a hold point [min].

    Parameters: looks, pairs of characteristic and place; protocol; hold_point, the last that is due.
    Returns: minutes [min].
    Raises: OutOfRange for an unknown hold point.
    Valid for: as way_of_reworks.
    Source: the protocol's minutes, shared out over a check's places.
    Checked by: unit/test_load_day.py
    """
    last, total = protocol.stage(hold_point), 0.0
    for id, _ in looks:
        c = protocol.characteristic(id)
        if c is not None and protocol.stage(c.hold_point) <= last:
            total += c.minutes / len(protocol.places(c.per))
    return total


def ways_of_assessment(found: Assessment) -> tuple[Way, ...]:
    """The way that an assessment's fix is; none where it asks for a reading first or changes nothing.

    Parameters: found, with the protocol it was judged by.
    Returns: one Way, or none.
    Raises: nothing of its own.
    Valid for: an assessment of this program.
    Source: own rule.
    Checked by: unit/test_load_day.py
    """
    protocol, case, fix = found.inspection.protocol, found.inspection.case, found.fix
    reworks = [r for id in fix.rework_ids if (r := protocol.rework(id)) is not None]
    if not reworks:
        return ()
    work = [*reworks, *_follow_ups(reworks, protocol, case.hand.hold_point)]
    looks = [(r.id, r.place) for r in found.recheck]
    p = fix.p_success if fix.after is not None and fix.p_success is not None else UNKNOWN_SUCCESS
    return (
        Way(
            id="+".join(fix.rework_ids),
            title=fix.sentence,
            minutes=sum(r.minutes for r in work),
            skill=max((r.skill for r in work), key=RANK.index),
            recheck_minutes=look_minutes(looks, protocol, case.hand.hold_point),
            p_success=p,
            spares=_spares(work),
            cuts=any(r.id in CUTTING or r.irreversible for r in reworks),
        ),
    )


def _follow_ups(reworks: Sequence[Rework], protocol: Protocol, hold_point: str) -> list[Rework]:
    """What has to come after, once each; sealing and finishing only for a hand that had come so far."""
    known = {r.id for r in reworks}
    found: list[Rework] = []
    last = protocol.stage(hold_point)
    for id in dict.fromkeys(f for r in reworks for f in r.follow_up if f not in known):
        rework = protocol.rework(id)
        if rework is None:
            continue
        seen = _seen_at(rework, protocol)
        if seen is None or seen <= last:
            found.append(rework)
    return found


def _seen_at(rework: Rework, protocol: Protocol) -> int | None:
    """The first hold point at which something that this rework touches at its place is looked at."""
    own = [c for id in (rework.undoes_here or rework.undoes) for c in protocol.members(id)]
    return min((protocol.stage(c.hold_point) for c in own), default=None)


def _spares(work: Iterable[Rework]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for rework in work:
        for name in rework.spares:
            counts[name] = counts.get(name, 0) + 1
    return counts


def _title(done: Sequence[ReworkDone], protocol: Protocol) -> str:
    names = []
    for d in done:
        rework = protocol.rework(d.rework)
        if rework is not None:
            names.append(f"{rework.title} ({d.place})" if d.place else rework.title)
    return listed(names) if names else "Look at it again"
