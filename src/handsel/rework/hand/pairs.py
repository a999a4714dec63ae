"""Two reworks before one look: for hands that probably have two causes, or one of two that hardly differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from handsel.rework.choosing import MOVE_PIN, SCREWS_IN, SCREWS_OUT
from handsel.rework.hand.steps import Bench, Step, one_step
from handsel.rework.hand.troubleshoot import GENTLE_CHANCE
from handsel.rework.words import small

Floats = NDArray[np.float64]

SLIDES = ((SCREWS_IN, SCREWS_OUT, "even-screws"), (MOVE_PIN,))  # reworks that move one and the same slide
MOST_PAIRS, PAIR_P = 6, 0.02  # for the likeliest pairs of causes
MOST_EITHER, EITHER_P = 4, 0.05  # and for the likeliest causes in twos, since it may be the one or the other


def pairs_of(
    states: Sequence[frozenset[str]],
    weight: Floats,
    steps: Sequence[Step],
    table: Sequence[Mapping[str, float]],
    bench: Bench,
) -> tuple[list[Step], list[Mapping[str, float]]]:
    """Two reworks, then one look, for causes that are there together or hardly to be told apart.

    Parameters: states, sets of causes without the one that stands for anything else; weight of each;
        steps, single ones, and table of what each cures; bench.
    Returns: steps of two reworks, and what each cures.
    Raises: nothing of its own.
    Valid for: two reworks of which at most one reckons with slides and cords as they are now, and which do not
        both move one slide.
    Source: own rule: the likeliest pairs, and the likeliest causes in twos.
    Checked by: unit/test_hand_plan.py
    """
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
        if any(_moves(steps[one], slide) and _moves(steps[two], slide) for slide in SLIDES):
            continue  # the second would undo the first
        reworks = tuple(dict.fromkeys((*steps[one].reworks, *steps[two].reworks)))
        title = f"{steps[one].title}; then {small(steps[two].title)}"
        cures = {**table[one], **table[two]}
        gentle = steps[one].gentle and steps[two].gentle
        known = steps[one].lengths or steps[two].lengths
        found.append(one_step(reworks, bench, title, gentle, known, cures))
        their.append(cures)
    return found, their


def _moves(step: Step, slide: tuple[str, ...]) -> bool:
    return any(r.rework in slide for r in step.reworks)


def _in_twos(states: Sequence[frozenset[str]], weight: Floats) -> list[frozenset[str]]:
    """Pairs of causes that one may put right together: both there, or each the likeliest but for the other."""
    there = [s for s, w in zip(states, weight, strict=True) if len(s) == 2 and w >= PAIR_P][:MOST_PAIRS]
    share: dict[str, float] = {}
    for state, w in zip(states, weight, strict=True):
        for fault in state:
            share[fault] = share.get(fault, 0.0) + float(w)
    likely = sorted((f for f in share if share[f] >= EITHER_P), key=lambda f: -share[f])[:MOST_EITHER]
    return list(dict.fromkeys([*there, *(frozenset(two) for two in combinations(likely, 2))]))


def _best_for(fault: str, steps: Sequence[Step], table: Sequence[Mapping[str, float]]) -> int | None:
    """The step for one cause: gentle where that mostly works, else the surest."""
    able = [k for k, cures in enumerate(table) if cures.get(fault, 0.0) > 0.0]
    soft = [k for k in able if steps[k].gentle and table[k][fault] >= GENTLE_CHANCE]
    among = soft or able
    return max(among, key=lambda k: (table[k][fault], -steps[k].way.minutes), default=None)
