"""The steps that a plan can take with a hand: reworks with their minutes and what they cure, one or two at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.day.model import Way
from handsel.rework.hand.actions import Act, Actions, ends_with_setting
from handsel.rework.hand.evening import UNEVEN
from handsel.rework.hand.length_ways import LengthWay, LengthWays
from handsel.rework.setting import LEFT_ALONE_P
from handsel.rework.ways import way_of_reworks

LOOK_AGAIN_MIN = 5.0  # what did not hold, looked at once more
ORDINARY = ""  # in what a step cures: a hand with none of the catalogue's causes
CORD_REWORK = "restring-loop"
LEAST_LENGTHS_P = 0.5  # nobody is sent to spend adjustment or cord on what fails more often than not


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """An act as a plan can ask for it."""

    title: str
    reworks: tuple[ReworkDone, ...]
    way: Way
    gentle: bool
    lengths: LengthWay | None  # what the model says of it, for slides and cords
    sets: bool  # it ends with reading the hand and setting its slides
    cures: tuple[str, ...]  # causes, kind@place


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What stays the same for all steps of a hand."""

    actions: Actions
    protocol: Protocol
    hold_point: str
    evening_places: tuple[str, ...]  # whose elastics are set to one pull


def steps_of(
    acts: Sequence[Act], lengths: LengthWays | None, bench: Bench, looked_again: bool
) -> tuple[tuple[Step, ...], list[Mapping[str, float]]]:
    """Acts with their ways; those that the model knows more of take its word. The last: look again.

    Parameters: acts that come into question; lengths, what slides and cords would bring, None: unknown; bench;
        looked_again, what did not hold was looked at once more already.
    Returns: steps, and of each what it cures with which chance.
    Raises: OutOfRange for actions that do not fit the protocol.
    Valid for: one rework at a time; two before one look are `pairs_of`'s.
    Source: own.    Checked by: unit/test_hand_plan.py
    """
    steps: list[Step] = []
    table: list[Mapping[str, float]] = []
    if lengths is not None:
        steps, table = _length_steps(acts, lengths, bench)
    for act in acts:
        if lengths is not None and (act.by == "slides" or _modelled(act, lengths) is not None):
            continue
        reworks = (ReworkDone(rework=act.rework, place=act.place),)
        steps.append(one_step(reworks, bench, _title(act, bench.protocol), act.gentle, None, act.cures))
        table.append(act.cures)
    if looked_again:
        return tuple(steps), table
    again = Way(
        id="look-again",
        title="Look again at what did not hold",
        minutes=0.0,
        skill="",
        recheck_minutes=LOOK_AGAIN_MIN,
        p_success=1.0,
    )
    steps.append(
        Step(title=again.title, reworks=(), way=again, gentle=True, lengths=None, sets=False, cures=())
    )
    table.append({ORDINARY: 1.0 if lengths is None else lengths.now_p})
    return tuple(steps), table


def _length_steps(
    acts: Sequence[Act], lengths: LengthWays, bench: Bench
) -> tuple[list[Step], list[Mapping[str, float]]]:
    """Slides and new cords, by the model's word.

    Cords within the ordinary spread may together be off all the same; then these put a hand right that has
    none of the catalogue's causes.
    """
    found: list[tuple[LengthWay, str, bool, set[str]]] = []
    off = {ORDINARY} if lengths.now_p < LEFT_ALONE_P else set()
    if lengths.slides is not None:
        cures = {f for a in acts if a.by == "slides" for f in a.cures}
        found.append((lengths.slides, HAND, True, cures | off))
    every = [("", lengths.every)] if lengths.every is not None else []
    for place, way in (*lengths.cords.items(), *every):
        cures = {f for a in acts if a.by == "cords" and a.place == place for f in a.cures}
        found.append((way, place, False, cures | off))
    steps: list[Step] = []
    table: list[Mapping[str, float]] = []
    for way, place, gentle, cures in found:
        if not cures or way.p_success < LEAST_LENGTHS_P:
            continue
        chances = dict.fromkeys(sorted(cures), way.p_success)
        reworks = tuple(ReworkDone(rework=r, place=place if r == CORD_REWORK else HAND) for r in way.reworks)
        steps.append(one_step(reworks, bench, way.title, gentle, way, chances))
        table.append(chances)
    return steps, table


def one_step(
    reworks: tuple[ReworkDone, ...],
    bench: Bench,
    title: str,
    gentle: bool,
    known: LengthWay | None,
    cures: Mapping[str, float],
) -> Step:
    """A step with the minutes of its setting and of the re-checks by whoever did it.

    Parameters: reworks, done one after the other; bench; title; gentle, nothing is cut; known, what the model
        says of slides and cords; cures, causes with their chances.
    Returns: Step.
    Raises: OutOfRange for a rework or place that the protocol does not know.
    Valid for: as way_of_reworks.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    way = way_of_reworks(
        reworks, bench.protocol, hold_point=bench.hold_point, p_success=max(cures.values()), title=title
    )
    evens = UNEVEN in cures  # another pull of the elastics moves the angle at which fingers start
    sets = evens or ends_with_setting(reworks, bench.actions, bench.protocol)
    own = way.recheck_minutes + (setting_minutes(bench, evens=evens) if sets else 0.0)
    return Step(
        title=title,
        reworks=reworks,
        way=replace(way, minutes=way.minutes + own),
        gentle=gentle,
        lengths=known,
        sets=sets,
        cures=tuple(cures),
    )


def last_resort(bench: Bench) -> Way:
    """Everything apart and built again, with its setting and the re-checks by whoever did it, as with any other.

    Parameters: bench.    Returns: Way.    Raises: OutOfRange for a rework that the protocol does not know.
    Valid for: as way_of_reworks.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    resort = bench.actions.last_resort
    way = way_of_reworks(
        [ReworkDone(rework=resort.rework)],
        bench.protocol,
        hold_point=bench.hold_point,
        p_success=resort.chance,
    )
    own = resort.extra_minutes + setting_minutes(bench) + way.recheck_minutes
    return replace(way, minutes=way.minutes + own)


def setting_minutes(bench: Bench, *, evens: bool = False) -> float:
    """What reading and setting the hand takes, with the elastics that have to be evened now and then [min].

    Parameters: bench; evens, the elastics were evened by the rework itself.
    Returns: minutes [min].    Raises: nothing.    Valid for: any.
    Source: the share of ordinary hands whose fingers move apart.    Checked by: unit/test_evening.py
    """
    evening = bench.actions.evening
    rework = bench.protocol.rework(evening.rework)
    own = 0.0 if rework is None or evens else rework.minutes * len(bench.evening_places)
    return bench.actions.setting.minutes + evening.apart_share * own


def evening_step(acts: Sequence[Act], bench: Bench) -> tuple[Step, Mapping[str, float]]:
    """All fingers' elastics set to one pull, and what that cures.

    Parameters: acts that come into question: an elastic too tight or weak is cured as by that rework alone; bench.
    Returns: the step, and causes with their chances.
    Raises: OutOfRange for a rework or place that the protocol does not know.
    Valid for: as one_step.    Source: actions file.    Checked by: unit/test_evening.py
    """
    evening = bench.actions.evening
    cures = {UNEVEN: evening.chance}
    for act in acts:
        if act.rework == evening.rework and act.place in bench.evening_places:
            cures |= act.cures
    reworks = tuple(ReworkDone(rework=evening.rework, place=place) for place in bench.evening_places)
    return one_step(reworks, bench, evening.title, True, None, cures), cures


def _modelled(act: Act, lengths: LengthWays) -> LengthWay | None:
    if act.by != "cords":
        return None
    return lengths.cords.get(act.place) if act.place else lengths.every


def _title(act: Act, protocol: Protocol) -> str:
    rework = protocol.rework(act.rework)
    title = act.title or (rework.title if rework is not None else act.rework)
    where = ", ".join(w for w in (act.place, act.spot) if w)
    return f"{title} ({where})" if where else title
