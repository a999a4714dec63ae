"""From a diagnosis to the problem that the plan of a hand solves: states, acts, checks and their minutes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.likelihood import Item
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.protocol import Protocol
from handsel.rework.day.model import Way
from handsel.rework.hand.actions import Actions, acts_for
from handsel.rework.hand.evening import UNEVEN, with_uneven
from handsel.rework.hand.eyes import readings_of, unseen, worth_looking
from handsel.rework.hand.length_ways import LengthWays
from handsel.rework.hand.looks import Look, looks_for
from handsel.rework.hand.pairs import pairs_of
from handsel.rework.hand.steps import ORDINARY, Bench, Step, evening_step, last_resort, steps_of
from handsel.rework.hand.troubleshoot import Problem

Floats = NDArray[np.float64]

MOST_STATES, LEAST_P = 20, 0.006
UNKNOWN_P = 0.5  # at least, when nothing in the catalogue fits
NO_FAULT = -1
ELSE = "something else"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """The problem, and what its states, acts and checks are."""

    problem: Problem
    states: tuple[frozenset[str], ...]  # fault ids; empty: faultless; the last one: something else
    steps: tuple[Step, ...]
    looks: tuple[Look, ...]
    read_again: tuple[Look, ...]  # what tells of the cords and was not read by two people yet
    gaps: tuple[Look, ...]  # what nobody has looked at yet, as far as it is worth it
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
    gaps = worth_looking(unseen(catalogue, seen, done), p, catalogue, protocol, actions.open_looks)
    joined = with_uneven(p, catalogue, actions.evening, seen)
    uneven = -1 if joined is None else len(p.rows.strata)
    p = p if joined is None else joined
    states, weight, strata = _states(p, catalogue, none_fits, looked_again, uneven)
    named = [f for f in catalogue.faults if any(f.id in s for s in states)]
    acts = acts_for(named, actions, catalogue)
    look = catalogue.observable(actions.evening.sees)
    fingers = () if look is None else look.places
    bench = Bench(actions=actions, protocol=protocol, hold_point=hold_point, evening_places=fingers)
    steps, table = steps_of(acts, lengths, bench, looked_again)
    if frozenset({UNEVEN}) in states:
        step, cures = evening_step(acts, bench)
        steps, table = (*steps, step), [*table, cures]
    last = last_resort(bench)
    both, their = pairs_of(states[:-1], weight[:-1], steps, table, bench)
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
        gaps=gaps,
        last=last,
    )


def _states(
    p: Posterior, catalogue: Catalogue, none_fits: bool, looked_again: bool, uneven: int
) -> tuple[tuple[frozenset[str], ...], Floats, list[int]]:
    """The likeliest explanations and what is left of them after a cure; stratum of each, -1 for none.

    uneven : the stratum of hands whose fingers move apart for no cause, -1 for none.
    """
    ids = {f.index: f.id for f in catalogue.faults}
    sets = [frozenset(ids[int(i)] for i in row if int(i) != NO_FAULT) for row in p.rows.strata]
    if uneven >= 0:
        sets[uneven] = frozenset({UNEVEN})
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


def _excludes(steps: Sequence[Step]) -> NDArray[np.bool_]:
    """What a step leaves no sense in: the same work with more, and the same move of slides once more."""
    table = np.zeros((len(steps), len(steps)), dtype=bool)
    for i, one in enumerate(steps):
        for j, two in enumerate(steps):
            if one.lengths is not None:
                table[i, j] = one.lengths is two.lengths
            elif (
                UNEVEN not in two.cures or UNEVEN in one.cures
            ):  # one elastic alone leaves sense in all of them
                table[i, j] = bool(one.reworks) and set(one.reworks) <= set(two.reworks)
    return table


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
