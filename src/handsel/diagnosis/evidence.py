"""What everything that was seen says together, for each simulated hand.

Three things hang together and would count too much if they were multiplied as if they did not:
one person's slips (a careless one makes several), one hand's accidents (its angles, tilt and slacks come from the
same lengths), and one fault's severity, which shows in all that its digit does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.likelihood import (
    SIZES,
    TOGETHER,
    Floats,
    Item,
    Rows,
    clear_chances,
    log_likelihood,
    sign_shows,
    slip_share,
    slipped,
)

Ints = NDArray[np.intp]

BINS = 3  # of a severity: mild, usual, bad
AS_THE_STRATUM = 4.0  # hands of the whole stratum that stand beside those of a bin: these may be few, or none
# A simulated quantity behind a word is now and then not what decided it: the joint was dragged along, the light was
# bad, the model leaves something out. Then the word is drawn as from any hand. Found on simulated hands of another
# kind, by how bold the probabilities were: a fifth makes them too bold, a third to two fifths does not.
AMISS_SHARE = 0.35
LEAST_P = 1e-6


def people(catalogue: Catalogue) -> tuple[tuple[float, float], ...]:
    """Careful and careless ones: their share, and how many times as many slips they make.

    Parameters: catalogue.    Returns: pairs.
    """
    careless = catalogue.careless_share
    return (1.0 - careless, 1.0), (careless, catalogue.careless_times)


def log_likelihoods(catalogue: Catalogue, rows: Rows, items: Sequence[Item]) -> Floats:
    """Log chance of everything that was seen, for each hand; (n,).

    What hangs together (angles, tilt, slack, slides) is taken hand by hand. What was seen of single digits is
    averaged over a stratum's hands of like severity, digit by digit: the accidents of single simulated hands do
    not decide. What a fault shows to the eye depends on the faults alone. All of it once for a careful and once
    for a careless person.

    Parameters: catalogue; rows, of a library's hands, or drawn beside it; items.
    Returns: (n,) float [-].
    Raises: nothing of its own.
    Valid for: answers by one person.
    Source: law of total probability over the person; independence of the digits given faults and severity.
    Checked by: properties/test_diagnosis.py, unit/test_evidence.py
    """
    one_by_one = [i for i in items if i.look.kind != "look" and i.look.reads in TOGETHER]
    numbers = np.zeros(len(rows.stratum), dtype=np.float32)
    for item in one_by_one:
        if item.value is not None:
            numbers += log_likelihood(catalogue, rows, item)
    words = of_one_thing(one_by_one)
    alone = _alone(catalogue, rows.whole)
    first, second = alone.cells_of(rows)
    told = []
    for person, (share, times) in enumerate(people(catalogue)):
        total = numbers.astype(np.float64)
        for said in words:
            total += _log_word(catalogue, rows, said, person)
        by_cell = alone.log_means(catalogue, items, person)
        total += by_cell[first] + by_cell[second] - by_cell[0]
        total += _sights(catalogue, rows, items, times)[rows.stratum] + np.log(share)
        told.append(total)
    return np.asarray(np.logaddexp(*told))


def of_one_thing(items: Sequence[Item]) -> list[tuple[Item, ...]]:
    """Answers, not numbers, by what they are about: of one thing there are several when several people looked.

    Parameters: items.    Returns: tuples of items, in the order in which each thing is first spoken of.
    """
    found: dict[tuple[str, str], list[Item]] = {}
    for item in items:
        if item.value is None:
            found.setdefault(item.key, []).append(item)
    return [tuple(some) for some in found.values()]


def _sights(catalogue: Catalogue, rows: Rows, items: Sequence[Item], times: float) -> Floats:
    """Log chance of what shows to the eye, for each stratum; (s,).

    Whether there is something to see is the hand's, and the same for all who look; slips are each one's own.
    """
    total = np.zeros(len(rows.strata))
    for said in of_one_thing([i for i in items if i.look.kind == "look"]):
        only_shown = all(item.in_group for item in said)
        shows = sign_shows(catalogue, rows.strata, said[0].look, said[0].place, only_shown)
        if_so, if_not = 1.0, 1.0
        for item in said:
            slip = slip_share(catalogue, item.look, item.in_group, times)
            is_good = item.answer == item.look.answers_of(item.place)[0]
            if_so *= slip if is_good else 1.0 - slip
            if_not *= 1.0 - slip if is_good else slip
        total += np.log(shows * if_so + (1.0 - shows) * if_not)
    return total


def _log_word(catalogue: Catalogue, rows: Rows, said: tuple[Item, ...], person: int) -> NDArray[np.float32]:
    """Log chance of what one person, or several, said of one thing, for each hand; (n,).

    What several say is independent given the hand; but if it was amiss, it was so for all of them.
    """
    if len(said) == 1:
        return _log_answer(catalogue, rows, said[0], person)
    alone = _alone(catalogue, rows.whole)
    same = 1.0 - AMISS_SHARE
    usual = float(_chance_of_all(catalogue, alone.rows, said, person) @ alone.even_weight)
    told = same * _chance_of_all(catalogue, rows, said, person) + AMISS_SHARE * usual
    return np.log(np.maximum(told, LEAST_P)).astype(np.float32)


def _chance_of_all(catalogue: Catalogue, rows: Rows, said: tuple[Item, ...], person: int) -> Floats:
    """Chance that all of them give their answers, none amiss, for each hand; (n,)."""
    clear = clear_chances(rows, said[0].look, said[0].place)
    _, times = people(catalogue)[person]
    out = np.ones(len(rows.stratum))
    for item in said:
        share = slip_share(catalogue, item.look, item.in_group, times)
        out *= slipped(clear, share)[item.look.answers_of(item.place).index(item.answer or "")]
    return out


def _log_answer(catalogue: Catalogue, rows: Rows, item: Item, person: int) -> NDArray[np.float32]:
    """The same of one answer. The tables are kept with the rows: they do not depend on the case."""
    mistakes = (catalogue.careless_share, catalogue.careless_times)
    key = (id(item.look), item.place, item.in_group, mistakes)
    if key not in rows.kept:
        clear = clear_chances(rows, item.look, item.place)
        usual = _usual_answers(catalogue, rows.whole, item)[:, None]
        clear = (1.0 - AMISS_SHARE) * clear + AMISS_SHARE * usual
        shares = [slip_share(catalogue, item.look, item.in_group, times) for _, times in people(catalogue)]
        told = np.stack([slipped(clear, share) for share in shares])
        rows.kept[key] = item.look, np.log(np.maximum(told, LEAST_P)).astype(np.float32)
    _, table = rows.kept[key]  # the look is kept too, so that its id stays its own
    return np.asarray(table[person, item.look.answers_of(item.place).index(item.answer or "")])


def _usual_answers(catalogue: Catalogue, whole: Rows, item: Item) -> Floats:
    """How often each answer is given of any hand, all single faults and none counted alike; (answers,)."""
    key = ("usual", id(item.look), item.place)
    if key not in whole.kept:
        alone = _alone(catalogue, whole)
        whole.kept[key] = item.look, clear_chances(alone.rows, item.look, item.place) @ alone.even_weight
    return np.asarray(whole.kept[key][1])


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
    even_weight: Floats  # (m,) sums to 1: every stratum counts alike

    def cells_of(self, rows: Rows) -> tuple[Ints, Ints]:
        """The cells that a hand's first and second fault have when alone; (n,) each."""
        if "cells" not in rows.kept:
            rows.kept["cells"] = tuple(
                self.of_fault[fault] + _bins(self.edges, fault, rows, k)
                for k, fault in enumerate(rows.strata[rows.stratum].T)
            )
        first, second = rows.kept["cells"]
        return first, second

    def log_means(self, catalogue: Catalogue, items: Sequence[Item], person: int) -> Floats:
        """Log chance of what was seen of single digits, for each cell; (cells,)."""
        total = np.zeros(len(self.count))
        for one in self._by_digit(catalogue, items, person):
            top = float(one.max())
            likely = np.exp(one - top)
            stratum, strata = self.cell // BINS, len(total) // BINS
            sums = np.bincount(stratum, weights=likely, minlength=strata)
            share = sums / np.maximum(np.bincount(stratum, minlength=strata), 1)
            own = np.bincount(self.cell, weights=likely, minlength=len(total))
            mean = (own + AS_THE_STRATUM * np.repeat(share, BINS)) / (self.count + AS_THE_STRATUM)
            total += np.log(np.maximum(mean, 1e-30)) + top
        return total

    def _by_digit(self, catalogue: Catalogue, items: Sequence[Item], person: int) -> Iterator[Floats]:
        """For each digit log chances of what it does, and of how large its parts are; (m,) each."""
        own = [i for i in items if i.look.kind != "look" and i.look.reads not in TOGETHER]
        told: list[tuple[Item, NDArray[Any]]] = [
            *((i, log_likelihood(catalogue, self.rows, i)) for i in own if i.value is not None),
            *((said[0], _log_word(catalogue, self.rows, said, person)) for said in of_one_thing(own)),
        ]
        found: dict[tuple[str, bool], Floats] = {}
        for item, one in told:
            key = item.place.partition(".")[0], item.look.reads in SIZES
            found[key] = found.get(key, 0.0) + np.asarray(one, dtype=np.float64)
        return iter(found.values())


def _alone(catalogue: Catalogue, whole: Rows) -> _Alone:
    """Of a library's hands those with one fault or none; made once."""
    if "alone" not in whole.kept:
        whole.kept["alone"] = _make_alone(len(catalogue.faults), whole)
    made = whole.kept["alone"]
    assert isinstance(made, _Alone)
    return made


def _make_alone(faults: int, whole: Rows) -> _Alone:
    single = np.flatnonzero(whole.strata[:, 1] < 0)  # strata in order; the first of them: no fault
    rows = whole.take(np.flatnonzero(whole.strata[whole.stratum, 1] < 0))
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
    each = 1.0 / np.maximum(np.bincount(rows.stratum), 1)[rows.stratum]
    return _Alone(
        rows=rows, cell=cell, count=count, of_fault=of_fault, edges=edges, even_weight=each / each.sum()
    )


def _bins(edges: Floats, fault: NDArray[np.int16], rows: Rows, k: int) -> Ints:
    """Which bin of its fault's severities each hand is in; (n,)."""
    if rows.severity is None:
        return np.zeros(len(fault), dtype=np.intp)
    bad = rows.severity[:, k, None] > edges[fault]
    return np.where(fault >= 0, bad.sum(axis=1), 0).astype(np.intp)
