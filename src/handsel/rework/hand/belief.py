"""From a diagnosis to the problem that the plan of a hand solves: states, acts, checks and their minutes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.likelihood import Item
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.day.model import Way
from handsel.rework.hand.actions import Act, Actions, acts_for, ends_with_setting
from handsel.rework.hand.length_ways import LengthWay, LengthWays
from handsel.rework.hand.looks import Look, looks_for, readings_of, unseen
from handsel.rework.hand.troubleshoot import GENTLE_CHANCE, Problem
from handsel.rework.setting import LEFT_ALONE_P
from handsel.rework.ways import way_of_reworks

Floats = NDArray[np.float64]

MOST_STATES, LEAST_P = 20, 0.006
LOOK_AGAIN_MIN = 5.0  # what did not hold, looked at once more
MOST_PAIRS, PAIR_P = 6, 0.02  # two reworks before one look, for the likeliest pairs of causes
MOST_EITHER, EITHER_P = 4, 0.05  # and for the likeliest causes in twos, since it may be the one or the other
UNKNOWN_P = 0.5  # at least, when nothing in the catalogue fits
NO_FAULT = -1
ELSE = "something else"
ORDINARY = ""  # in what an act cures: a hand with none of the catalogue's causes
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
class _Bench:
    """What stays the same for all steps of a hand."""

    actions: Actions
    protocol: Protocol
    hold_point: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """The problem, and what its states, acts and checks are."""

    problem: Problem
    states: tuple[frozenset[str], ...]  # fault ids; empty: faultless; the last one: something else
    steps: tuple[Step, ...]
    looks: tuple[Look, ...]
    read_again: tuple[Look, ...]  # what tells of the cords and was not read by two people yet
    gaps: tuple[Look, ...]  # what nobody has looked at yet
    last: Way


def believe(
    p: Posterior,
    catalogue: Catalogue,
    actions: Actions,
    protocol: Protocol,
    *,
    hold_point: str,
    lengths: LengthWays | None,
    none_fits: bool,
    seen: Sequence[Item] = (),
    done: Set[tuple[str, str]] = frozenset(),
    looked_again: bool = False,
) -> Belief:
    """The problem of one hand.

    Parameters: p, posterior of the diagnosis; catalogue; actions; protocol; hold_point that the hand has
        come to; lengths, what slides and cords would bring, None: unknown; none_fits, of the diagnosis;
        seen, what the posterior was weighed by; done, looks that shall not be asked for; looked_again, what
        did not hold was looked at once more and still does not, so that the hand is not faultless.
    Returns: Belief.
    Raises: OutOfRange for actions that do not fit the protocol.
    Valid for: one hand with up to two faults; anything else is one state that only the last resort cures.
    Source: own; chances of answers by the diagnosis's own likelihood.
    Checked by: unit/test_hand_plan.py
    """
    states, weight, strata = _states(p, catalogue, none_fits, looked_again)
    named = [f for f in catalogue.faults if any(f.id in s for s in states)]
    acts = acts_for(named, actions, catalogue)
    bench = _Bench(actions=actions, protocol=protocol, hold_point=hold_point)
    steps, table = _steps(acts, lengths, bench, looked_again)
    last = _last_resort(bench)
    both, their = _pairs(states, weight, steps, table, bench)
    steps, table = (*steps, *both), [*table, *their]
    stays = [_stays(states, cures) for cures in table]
    minutes = [s.way.minutes + s.way.wait_minutes + s.way.recheck_minutes for s in steps]
    looks = looks_for(p, catalogue, strata, weight, seen, done)
    read_again = readings_of(catalogue, actions.setting.reads, seen, done)
    problem = Problem(
        weight=weight,
        act_minutes=np.array(minutes),
        stays=np.array(stays).reshape(len(steps), len(states), len(states)),
        gentle=np.array([s.gentle for s in steps], dtype=bool),
        check_minutes=np.array([look.minutes for look in looks]),
        answers=tuple(look.chance for look in looks),
        last_minutes=(last.minutes + last.recheck_minutes) / last.p_success,
        excludes=_excludes(steps),
        check_excludes=np.array([[a.excludes(b) for b in looks] for a in looks], dtype=bool).reshape(
            len(looks), len(looks)
        ),
        again_minutes=_failing_minutes(steps, actions),
    )
    return Belief(
        problem=problem,
        states=states,
        steps=steps,
        looks=looks,
        read_again=read_again,
        gaps=unseen(catalogue, seen, done),
        last=last,
    )


def _states(
    p: Posterior, catalogue: Catalogue, none_fits: bool, looked_again: bool
) -> tuple[tuple[frozenset[str], ...], Floats, list[int]]:
    """The likeliest explanations and what is left of them after a cure; stratum of each, -1 for none."""
    ids = {f.index: f.id for f in catalogue.faults}
    sets = [frozenset(ids[int(i)] for i in row if int(i) != NO_FAULT) for row in p.rows.strata]
    best = [int(s) for s in np.argsort(-p.by_set)[:MOST_STATES] if p.by_set[s] > LEAST_P]
    states = [sets[s] for s in best]
    weight = [float(p.by_set[s]) for s in best]
    where = {state: s for s, state in enumerate(sets)}
    for state in list(states):
        for fault in state:
            less = state - {fault}
            if less and less not in states:
                states.append(less)
                weight.append(0.0)
    if frozenset() not in states:
        states.append(frozenset())
        weight.append(float(p.by_set[where[frozenset()]]) if frozenset() in where else 0.0)
    strata = [where.get(state, -1) for state in states]
    known = np.array(weight)
    if looked_again:
        whole = known.sum()
        known[states.index(frozenset())] = 0.0
        if known.sum() > 1e-9:
            known *= whole / known.sum()
    unknown = max(1.0 - known.sum(), UNKNOWN_P if none_fits else 0.0)
    known = known * (1.0 - unknown) / max(known.sum(), 1e-300)
    return (*states, frozenset({ELSE})), np.append(known, unknown), [*strata, -1]


def _steps(
    acts: Sequence[Act], lengths: LengthWays | None, bench: _Bench, looked_again: bool
) -> tuple[tuple[Step, ...], list[Mapping[str, float]]]:
    """Acts with their ways; those that the model knows more of take its word. The last: look again."""
    steps: list[Step] = []
    table: list[Mapping[str, float]] = []
    if lengths is not None:
        steps, table = _length_steps(acts, lengths, bench)
    for act in acts:
        if lengths is not None and (act.by == "slides" or _modelled(act, lengths) is not None):
            continue
        reworks = (ReworkDone(rework=act.rework, place=act.place),)
        steps.append(_step(reworks, bench, _title(act, bench.protocol), act.gentle, None, act.cures))
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
    acts: Sequence[Act], lengths: LengthWays, bench: _Bench
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
        steps.append(_step(reworks, bench, way.title, gentle, way, chances))
        table.append(chances)
    return steps, table


def _failing_minutes(steps: Sequence[Step], actions: Actions) -> Floats:
    """What each step costs more (or less) when it does not succeed.

    What the one who reworked sees to be wrong still is not handed over: no inspector looks, nothing waits.
    """
    sees = actions.trying.own_look_sees
    return np.array(
        [
            (1.0 - sees) * actions.trying.failed_minutes - sees * s.way.recheck_minutes if s.reworks else 0.0
            for s in steps
        ]
    )


def _pairs(
    states: Sequence[frozenset[str]],
    weight: Floats,
    steps: Sequence[Step],
    table: Sequence[Mapping[str, float]],
    bench: _Bench,
) -> tuple[list[Step], list[Mapping[str, float]]]:
    """Two reworks, then one look: for hands that probably have two causes, or one of two that hardly differ."""
    found: list[Step] = []
    their: list[Mapping[str, float]] = []
    seen: set[frozenset[int]] = set()
    for causes in _in_twos(states, weight):
        chosen = {_best_for(fault, steps, table) for fault in causes}
        both = frozenset(k for k in chosen if k is not None)
        if len(both) < 2 or both in seen:
            continue
        seen.add(both)
        one, two = sorted(both, key=lambda k: not steps[k].gentle)
        if steps[one].lengths is not None and steps[two].lengths is not None:
            continue  # each reckons with the slides and cords as they are now
        reworks = tuple(dict.fromkeys((*steps[one].reworks, *steps[two].reworks)))
        title = f"{steps[one].title}; then {_small(steps[two].title)}"
        cures = {**table[one], **table[two]}
        gentle = steps[one].gentle and steps[two].gentle
        known = steps[one].lengths or steps[two].lengths
        found.append(_step(reworks, bench, title, gentle, known, cures))
        their.append(cures)
    return found, their


def _in_twos(states: Sequence[frozenset[str]], weight: Floats) -> list[frozenset[str]]:
    """Pairs of causes that one may put right together: both there, or each the likeliest but for the other."""
    there = [s for s, w in zip(states, weight, strict=True) if len(s) == 2 and w >= PAIR_P][:MOST_PAIRS]
    share: dict[str, float] = {}
    for state, w in zip(states, weight, strict=True):
        for fault in state - {ELSE}:
            share[fault] = share.get(fault, 0.0) + float(w)
    likely = sorted((f for f in share if share[f] >= EITHER_P), key=lambda f: -share[f])[:MOST_EITHER]
    return list(dict.fromkeys([*there, *(frozenset(two) for two in combinations(likely, 2))]))


def _excludes(steps: Sequence[Step]) -> NDArray[np.bool_]:
    """What a step leaves no sense in: the same work with more, and the same move of slides once more."""
    table = np.zeros((len(steps), len(steps)), dtype=bool)
    for i, one in enumerate(steps):
        for j, two in enumerate(steps):
            if one.lengths is not None:
                table[i, j] = one.lengths is two.lengths
            else:
                table[i, j] = bool(one.reworks) and set(one.reworks) <= set(two.reworks)
    return table


def _best_for(fault: str, steps: Sequence[Step], table: Sequence[Mapping[str, float]]) -> int | None:
    """The step for one cause: gentle where that mostly works, else the surest."""
    able = [k for k, cures in enumerate(table) if cures.get(fault, 0.0) > 0.0]
    soft = [k for k in able if steps[k].gentle and table[k][fault] >= GENTLE_CHANCE]
    among = soft or able
    return max(among, key=lambda k: (table[k][fault], -steps[k].way.minutes), default=None)


def _small(title: str) -> str:
    return title[:1].lower() + title[1:]


def _modelled(act: Act, lengths: LengthWays) -> LengthWay | None:
    if act.by != "cords":
        return None
    return lengths.cords.get(act.place) if act.place else lengths.every


def _step(
    reworks: tuple[ReworkDone, ...],
    bench: _Bench,
    title: str,
    gentle: bool,
    known: LengthWay | None,
    cures: Mapping[str, float],
) -> Step:
    """A step with the minutes of its setting and of the re-checks by whoever did it."""
    way = way_of_reworks(
        reworks, bench.protocol, hold_point=bench.hold_point, p_success=max(cures.values()), title=title
    )
    sets = ends_with_setting(reworks, bench.actions, bench.protocol)
    own = way.recheck_minutes + (bench.actions.setting.minutes if sets else 0.0)
    return Step(
        title=title,
        reworks=reworks,
        way=replace(way, minutes=way.minutes + own),
        gentle=gentle,
        lengths=known,
        sets=sets,
        cures=tuple(cures),
    )


def _last_resort(bench: _Bench) -> Way:
    """Everything apart and built again, with its setting and the re-checks by whoever did it, as with any other."""
    resort = bench.actions.last_resort
    way = way_of_reworks(
        [ReworkDone(rework=resort.rework)],
        bench.protocol,
        hold_point=bench.hold_point,
        p_success=resort.chance,
    )
    own = resort.extra_minutes + bench.actions.setting.minutes + way.recheck_minutes
    return replace(way, minutes=way.minutes + own)


def _title(act: Act, protocol: Protocol) -> str:
    rework = protocol.rework(act.rework)
    title = act.title or (rework.title if rework is not None else act.rework)
    where = ", ".join(w for w in (act.place, act.spot) if w)
    return f"{title} ({where})" if where else title


def _stays(states: Sequence[frozenset[str]], cures: Mapping[str, float]) -> Floats:
    """Chance to go from state to state and stay unsound, by one act."""
    n = len(states)
    at = {s: k for k, s in enumerate(states)}
    table = np.zeros((n, n))
    for i, state in enumerate(states):
        reach: dict[frozenset[str], float] = {state: 1.0}
        for fault in state & cures.keys():
            done = cures[fault]
            spread: dict[frozenset[str], float] = {}
            for s, share in reach.items():
                spread[s] = spread.get(s, 0.0) + share * (1.0 - done)
                spread[s - {fault}] = spread.get(s - {fault}, 0.0) + share * done
            reach = spread
        for s, share in reach.items():
            if s:
                table[i, at[s]] += share
            elif not state:  # none of the causes: a look again shows it, or lengths are put right
                table[i, i] += share * (1.0 - cures.get(ORDINARY, 0.0))
    return table
