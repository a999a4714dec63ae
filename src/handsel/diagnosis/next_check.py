"""Which look tells most about the cause for a minute's work."""

from __future__ import annotations

from collections.abc import Set

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.hands import NONE, column_of
from handsel.diagnosis.likelihood import Rows, chances, rising
from handsel.diagnosis.result import NextCheck
from handsel.diagnosis.words import AMISS_SHARE

Floats = NDArray[np.float64]

BINS = 8  # of a number
MOST_ROWS = 1500
LEAST_BITS = 0.004  # small news adds up: a cause is often named by the tenth look that says the same
WORN_MINUTES = 0.1  # to read the question and give the answer, on top of the look itself


def next_checks(
    catalogue: Catalogue,
    rows: Rows,
    weight: Floats,
    done: Set[tuple[str, str]],
    *,
    most: int = 6,
) -> tuple[NextCheck, ...]:
    """Looks not yet done, those first that tell most for a minute.

    Parameters: catalogue; rows, n hands; weight : (n,) float, their posterior; done, looks done
        already by id and place; most, how many.
    Returns: NextCheck; none when no look is expected to tell anything.
    Raises: nothing of its own.
    Valid for: one look at a time.
    Source: mutual information between the cause and the answer, Shannon 1948.
    Checked by: unit/test_next_check.py
    """
    few, w = _few(rows, weight)
    causes = _causes(few)
    if len(np.unique(causes)) < 2:
        return ()
    found = []
    for look in catalogue.observables:
        for place in look.places:
            if (look.id, place) in done:
                continue
            bits = _bits(_answers(catalogue, few, w, look, place), w, causes)
            if bits < LEAST_BITS:
                continue
            minutes = look.minutes
            found.append(
                NextCheck(
                    of=look.id,
                    place=place,
                    title=look.title,
                    question=look.question,
                    answers=() if look.kind == "number" else look.answers_of(place),
                    unit=look.unit,
                    minutes=minutes,
                    bits=bits,
                    bits_per_minute=bits / (minutes + WORN_MINUTES),
                )
            )
    found.sort(key=lambda c: (-c.bits_per_minute, c.of, c.place))
    return tuple(found[:most])


def _few(rows: Rows, weight: Floats) -> tuple[Rows, Floats]:
    """The hands that bear the answer, few enough to go through every look."""
    best = np.argsort(-weight)[:MOST_ROWS]
    best = best[weight[best] > 1e-7]
    w = weight[best]
    part = rows.take(best)
    return part, w / w.sum()


def _answers(catalogue: Catalogue, rows: Rows, w: Floats, look: Observable, place: str) -> Floats:
    """Chance of each answer for each hand; a number counts by the bin it falls in; (answers, n)."""
    if look.kind == "look":
        return chances(catalogue, rows, look, place)
    if look.kind != "number":
        p = chances(catalogue, rows, look, place)
        return np.asarray((1.0 - AMISS_SHARE) * p + AMISS_SHARE * (p @ w)[:, None])
    x, sd = rows.quantity(column_of(look, place))
    noise = np.sqrt(look.sd**2 + sd * sd)
    middle = float(w @ x)
    wide = float(np.sqrt(w @ (x - middle) ** 2 + look.sd**2))
    edges = middle + wide * np.linspace(-1.8, 1.8, BINS - 1)
    below = [np.zeros_like(x), *(rising(e - x, noise) for e in edges), np.ones_like(x)]
    return np.stack([b - a for a, b in zip(below, below[1:], strict=False)])


def _causes(rows: Rows) -> NDArray[np.intp]:
    """The causes that each hand speaks for: its two faults, its one twice, or none (0) twice; (2, n).

    A search ends when one cause is named: what a look tells about which second fault is there besides counts as
    far as it tells about single causes.
    """
    first, second = rows.strata[rows.stratum].T.astype(np.intp)
    return np.stack([first, np.where(second == NONE, first, second)]) + 1


def _bits(p: Floats, w: Floats, causes: NDArray[np.intp]) -> float:
    """Expected information about the cause [bits]; a hand with two stands half for each."""
    size = int(causes.max()) + 1
    joint = 0.5 * np.stack(
        [sum(np.bincount(one, weights=w * row, minlength=size) for one in causes) for row in p]
    )
    marginal = joint.sum(0, keepdims=True) * joint.sum(1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(joint > 1e-12, joint * np.log2(joint / np.maximum(marginal, 1e-300)), 0.0)
    return float(max(terms.sum(), 0.0))
