"""A library: every set of faults has its hands, whatever its prior, and the same round gives the same hands."""

from __future__ import annotations

import numpy as np
import pytest

from diagnosing import FEW, bench_of, library_with, of_kinds, whole
from handsel.diagnosis.catalogue import Severity
from handsel.diagnosis.hands import NONE, draw, severities
from handsel.diagnosis.library import CORDS, FAULTLESS, PAIR, ROUNDS, SINGLE, strata_of
from handsel.diagnosis.passing import as_brought, draw_as_brought, passes
from handsel.mechanics.draws import Draws


def test_each_fault_alone_has_a_hundred_hands_and_each_pair_ten():
    assert ROUNDS * SINGLE >= 100
    assert ROUNDS * min(PAIR, CORDS) >= 10
    library = library_with(*FEW)
    strata = library.strata
    assert (library.counts[strata[:, 1] == NONE][1:] == SINGLE).all()
    assert library.counts[0] == FAULTLESS
    assert (library.counts[strata[:, 1] != NONE] >= PAIR).all()


def test_the_strata_of_the_whole_catalogue_are_each_set_once():
    strata = strata_of(whole())
    assert len(np.unique(strata, axis=0)) == len(strata) == 1 + len(whole().faults) + len(whole().pairs)


def test_the_same_draws_give_the_same_hands_and_other_draws_others():
    bench = bench_of(*FEW)
    faults = np.full((20, 2), NONE, dtype=np.int16)
    first, again, other = (draw(bench, faults, Draws(seed)) for seed in (4, 4, 5))
    assert np.array_equal(first.seen, again.seen)
    assert not np.allclose(first.seen, other.seen)


def test_every_quantity_of_every_hand_is_a_number():
    library = library_with(*FEW)
    assert np.isfinite(library.seen).all()
    assert np.isfinite(library.spread).all()


def test_a_given_severity_is_used_and_an_open_one_is_drawn():
    bench = bench_of(*FEW)
    index = of_kinds(*FEW).fault("loop-long@index-middle").index
    faults = np.array([[index, NONE]] * 6, dtype=np.int16)
    given = np.array([[5.0, np.nan]] * 3 + [[np.nan, np.nan]] * 3)
    made = draw(bench, faults, Draws(2), given)
    assert made.severity[:3, 0] == pytest.approx(5.0)
    kind = of_kinds(*FEW).fault("loop-long@index-middle").kind
    assert ((made.severity[3:, 0] >= kind.severity.low) & (made.severity[3:, 0] <= kind.severity.high)).all()


def test_severities_follow_their_triangle():
    s = Severity(unit="mm", low=2.0, typical=4.0, high=10.0)
    even = (np.arange(40_000) + 0.5) / 40_000
    drawn = severities(s, even, np.ones(len(even)))
    assert drawn.min() >= 2.0
    assert drawn.max() <= 10.0
    assert drawn.mean() == pytest.approx((2.0 + 4.0 + 10.0) / 3.0, abs=0.01)
    assert drawn.var() == pytest.approx((4 + 16 + 100 - 8 - 20 - 40) / 18.0, rel=0.01)
    both = severities(Severity(unit="mm", low=2.0, typical=4.0, high=10.0, either_sign=True), even, even[::-1])
    assert (both < 0.0).mean() == pytest.approx(0.5, abs=0.01)


def test_a_limit_is_kept_between_its_ends_and_by_one_of_its_columns():
    bench = bench_of(*FEW)
    seen = np.tile(library_with(*FEW).seen[:, :1], (1, 4))  # a hand without a fault
    assert passes(bench.catalogue, bench.columns, seen).all()
    seen[bench.columns.index("worked_rest_deg"), 1] = 29.0
    seen[bench.columns.index("tip_gap_mm@index"), 2:] = 9.0
    seen[bench.columns.index("tip_gap_mm@middle"), 2] = 0.0
    seen[bench.columns.index("tip_gap_mm@middle"), 3] = 9.0
    assert passes(bench.catalogue, bench.columns, seen).tolist() == [True, False, True, False]


def test_faultless_hands_of_a_library_pass_and_the_others_fail_something():
    bench = bench_of(*FEW)
    library = library_with(*FEW)
    brought = as_brought(bench.catalogue, library.columns, library.faults, library.seen)
    none = library.faults[:, 0] == NONE
    assert brought[none].mean() > 0.97
    assert brought[~none].mean() > 0.97
    # That is not so by itself: many a hand as it comes off the printer would have to be mended.
    plain = draw(bench, library.faults[none], Draws(1))
    assert as_brought(bench.catalogue, bench.columns, plain.faults, plain.seen).mean() < 0.8


def test_only_hands_that_would_not_be_brought_are_drawn_again():
    bench = bench_of(*FEW)
    faults = np.full((60, 2), NONE, dtype=np.int16)
    first, kept = draw(bench, faults, Draws(6)), draw_as_brought(bench, faults, Draws(6))
    well = as_brought(bench.catalogue, bench.columns, faults, first.seen)
    assert 0 < well.sum() < len(well)
    assert np.array_equal(first.seen[:, well], kept.seen[:, well])
    assert (first.seen[:, ~well] != kept.seen[:, ~well]).any(axis=0).all()
