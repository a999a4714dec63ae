"""What is seen of single digits, averaged over hands of like fault and severity, digit by digit.

The accidents of single simulated hands do not decide what a digit does: its fault and how bad it is do. Once these
are given, the digits are nearly independent. For two faults it is put together from what each does alone, of which
there are ten times as many hands; but where both act on one digit, each would account for the same sight
once more. There the hands with just these two faults tell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Fault
from handsel.diagnosis.likelihood import SIZES, TOGETHER, Floats, Item, Rows, log_likelihood
from handsel.diagnosis.words import hands_alone, log_word, of_one_thing

Ints = NDArray[np.intp]
Group = tuple[str, bool]  # digit, and whether it is about the size of its parts

BINS = 3  # of a severity: mild, usual, bad
# Hands of the whole stratum that stand beside those of a bin, and of the fault that explains more beside those that
# have two on one digit: of these there may be few, or none.
AS_THE_OTHERS = 4.0
LEAST_SUM = 1e-30


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Alone:
    """The hands with one fault or none, in cells of like fault and severity; cell 0 and those after: no fault.

    cell : (m,) of each of them; cells of a stratum are `of_fault` and the BINS - 1 after it.
    """

    rows: Rows
    cell: Ints
    count: Floats  # (cells,)
    of_fault: Ints  # (faults + 1,) first cell of each fault alone; the last: no fault
    edges: Floats  # (faults + 1, BINS - 1) of severity

    def cells_of(self, rows: Rows) -> tuple[Ints, Ints]:
        """The cells that a hand's first and second fault have when alone; (n,) each."""
        if "cells" not in rows.kept:
            rows.kept["cells"] = tuple(
                self.of_fault[fault] + _bins(self.edges, fault, rows, k)
                for k, fault in enumerate(rows.strata[rows.stratum].T)
            )
        first, second = rows.kept["cells"]
        return first, second


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Both:
    """The hands with two faults that act on one digit.

    pair : (m,) of each, which of the pairs it is; strata : (pairs,); count : (pairs,); cells : (pairs, 2) first cell of
    either fault alone; on : by digit (pairs,) bool, whether both act on it.
    """

    rows: Rows
    pair: Ints
    strata: Ints
    count: Floats
    cells: Ints
    on: dict[str, NDArray[np.bool_]]


def log_by_digit(catalogue: Catalogue, rows: Rows, items: Sequence[Item], person: int) -> Floats:
    """Log chance of what was seen of single digits, for each hand; (n,).

    Parameters: catalogue; rows, n hands of a library, or drawn beside it; items; person, index into `people`.
    Returns: (n,) float [-].
    Raises: nothing of its own.
    Valid for: faults that act on a digit by their own effects; what they do to others is told hand by hand.
    Source: independence of the digits given faults and severity; log p(A and B) = log p(A) + log p(B) - log p(none)
        where each acts on digits of its own.
    Checked by: unit/test_evidence.py
    """
    alone, both = _alone(catalogue, rows.whole), _both(catalogue, rows.whole)
    first, second = alone.cells_of(rows)
    by_cell = np.zeros(len(alone.count))
    more = np.zeros(len(rows.strata))
    own_of_both = dict(_by_digit(catalogue, both.rows, items, person)) if len(both.strata) else {}
    for group, one in _by_digit(catalogue, alone.rows, items, person):
        cells, whole = _means(alone, one)
        by_cell += cells
        on = both.on.get(group[0])
        if on is not None and on.any():
            each = whole[both.cells]
            apart = each.sum(axis=1) - whole[0]
            more[both.strata[on]] += (_means_of_both(both, own_of_both[group], each.max(axis=1)) - apart)[on]
    return np.asarray(by_cell[first] + by_cell[second] - by_cell[0] + more[rows.stratum])


def _means(alone: _Alone, one: Floats) -> tuple[Floats, Floats]:
    """Logs of the mean likelihood in each cell, and in its whole stratum; (cells,) each."""
    top = float(one.max())
    likely = np.exp(one - top)
    stratum, strata = alone.cell // BINS, len(alone.count) // BINS
    sums = np.bincount(stratum, weights=likely, minlength=strata)
    share = np.repeat(sums / np.maximum(np.bincount(stratum, minlength=strata), 1), BINS)
    own = np.bincount(alone.cell, weights=likely, minlength=len(alone.count))
    mean = (own + AS_THE_OTHERS * share) / (alone.count + AS_THE_OTHERS)
    return np.log(np.maximum(mean, LEAST_SUM)) + top, np.log(np.maximum(share, LEAST_SUM)) + top


def _means_of_both(both: _Both, one: Floats, stronger: Floats) -> Floats:
    """The same of hands with both faults, beside that one of the two which alone explains more; (pairs,)."""
    top = float(max(one.max(), stronger.max()))
    own = np.bincount(both.pair, weights=np.exp(one - top), minlength=len(both.strata))
    mean = (own + AS_THE_OTHERS * np.exp(stronger - top)) / (both.count + AS_THE_OTHERS)
    return np.asarray(np.log(np.maximum(mean, LEAST_SUM)) + top)


def _by_digit(
    catalogue: Catalogue, rows: Rows, items: Sequence[Item], person: int
) -> Iterator[tuple[Group, Floats]]:
    """For each digit log chances of what it does, and of how large its parts are; (m,) each."""
    own = [i for i in items if i.look.kind != "look" and i.look.reads not in TOGETHER]
    told: list[tuple[Item, NDArray[Any]]] = [
        *((i, log_likelihood(catalogue, rows, i)) for i in own if i.value is not None),
        *((said[0], log_word(catalogue, rows, said, person)) for said in of_one_thing(own)),
    ]
    found: dict[Group, Floats] = {}
    for item, one in told:
        key = item.place.partition(".")[0], item.look.reads in SIZES
        found[key] = found.get(key, 0.0) + np.asarray(one, dtype=np.float64)
    return iter(found.items())


def _alone(catalogue: Catalogue, whole: Rows) -> _Alone:
    """Of a library's hands those with one fault or none, in cells; made once."""
    if "cells alone" not in whole.kept:
        whole.kept["cells alone"] = _make_alone(len(catalogue.faults), whole)
    made = whole.kept["cells alone"]
    assert isinstance(made, _Alone)
    return made


def _make_alone(faults: int, whole: Rows) -> _Alone:
    single = np.flatnonzero(whole.strata[:, 1] < 0)  # strata in order; the first of them: no fault
    rows, _ = hands_alone(whole)
    edges = np.full((faults + 1, BINS - 1), np.inf)
    of_fault = np.zeros(faults + 1, dtype=np.intp)
    for k, s in enumerate(single):
        one = int(whole.strata[s, 0])
        of_fault[one] = k * BINS
        if one >= 0 and rows.severity is not None:
            bad = rows.severity[rows.stratum == s, 0]
            if len(bad) and np.ptp(bad) > 0.0:
                edges[one] = np.quantile(bad, np.arange(1, BINS) / BINS)
    fault = rows.strata[rows.stratum, 0]
    cell = of_fault[fault] + _bins(edges, fault, rows, 0)
    count = np.bincount(cell, minlength=len(single) * BINS).astype(float)
    return _Alone(rows=rows, cell=cell, count=count, of_fault=of_fault, edges=edges)


def _bins(edges: Floats, fault: NDArray[np.int16], rows: Rows, k: int) -> Ints:
    """Which bin of its fault's severities each hand is in; (n,)."""
    if rows.severity is None:
        return np.zeros(len(fault), dtype=np.intp)
    bad = rows.severity[:, k, None] > edges[fault]
    return np.where(fault >= 0, bad.sum(axis=1), 0).astype(np.intp)


def _both(catalogue: Catalogue, whole: Rows) -> _Both:
    """Of a library's hands those with two faults that act on one digit; made once."""
    if "both" not in whole.kept:
        whole.kept["both"] = _make_both(catalogue, whole)
    made = whole.kept["both"]
    assert isinstance(made, _Both)
    return made


def _make_both(catalogue: Catalogue, whole: Rows) -> _Both:
    acts = [digits_of(catalogue, f) for f in catalogue.faults]
    there = np.bincount(whole.stratum, minlength=len(whole.strata)) > 0
    two = np.flatnonzero(there & (whole.strata[:, 1] >= 0))
    shared = {int(s): acts[a] & acts[b] for s, (a, b) in zip(two, whole.strata[two], strict=True)}
    shared = {s: digits for s, digits in shared.items() if digits}
    strata = np.array(list(shared), dtype=np.intp)
    at = np.full(len(whole.strata), -1, dtype=np.intp)
    at[strata] = np.arange(len(strata))
    rows = whole.take(np.flatnonzero(at[whole.stratum] >= 0))
    pair = at[rows.stratum]
    return _Both(
        rows=rows,
        pair=pair,
        strata=strata,
        count=np.bincount(pair, minlength=len(strata)).astype(float),
        cells=_alone(catalogue, whole).of_fault[whole.strata[strata]],
        on={g: np.array([g in some for some in shared.values()]) for g in catalogue.cord_of_digit},
    )


def digits_of(catalogue: Catalogue, fault: Fault) -> frozenset[str]:
    """The digits that a fault acts on by itself.

    Parameters: catalogue; fault.    Returns: names of digits; none for what concerns the whole hand.
    """
    fill = catalogue.words(fault.place)
    parts = [e.at.format_map(fill).partition(".")[0].split("-") for e in fault.kind.effects]
    return frozenset(part for some in parts for part in some) & frozenset(catalogue.cord_of_digit)
