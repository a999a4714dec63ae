"""Whether any known cause fits, and what was expected against what was seen."""

from __future__ import annotations

from math import erf, sqrt

import numpy as np
import pytest

from diagnosing import FEW, bench_of, library_with, of_kinds
from handsel.diagnosis.fitting import normal_beyond
from handsel.diagnosis.likelihood import Seen
from handsel.diagnosis.posterior import diagnose, items_of, posterior

CATALOGUE = of_kinds(*FEW)
GOOD = [
    Seen(of="worked-rest-angle", value=36.0),
    Seen(of="lowered-rest-angle", value=36.5),
    Seen(of="whippletree-level", value=0.5),
    Seen(of="whippletree-flush", value=0.2),
    Seen(of="thumb-starts-with-fingers", value=-2.0),
    Seen(of="cuff-drops-freely", answer="yes"),
    *(Seen(of="finger-cords-taut", place=f, answer="taut") for f in ("index", "middle", "ring", "little")),
    *(Seen(of="reopens-fully", place=f, answer="yes") for f in ("index", "middle", "ring", "little", "thumb")),
]


def test_the_normal_tail_is_that_of_erf():
    z = np.linspace(-4.0, 4.0, 81)
    exact = np.array([0.5 * (1.0 - erf(x / sqrt(2.0))) for x in z])
    assert np.abs(normal_beyond(z) - exact).max() < 2e-4


def test_a_good_hand_fits_and_is_called_faultless():
    found = diagnose(library_with(*FEW), CATALOGUE, GOOD)
    assert found.faultless_p > 0.8
    assert not found.none_fits
    assert found.fit_p > 0.05


def test_what_no_cause_explains_is_said_to_fit_none():
    odd = [
        *GOOD[:1],
        Seen(of="lowered-rest-angle", value=12.0),
        Seen(of="whippletree-level", value=24.0),
        Seen(of="whippletree-flush", value=-6.0),
        Seen(of="thumb-starts-with-fingers", value=50.0),
        Seen(of="thumb-pin-in-line", value=-9.0),
        *(Seen(of="finger-cords-taut", place=f, answer="slack") for f in ("index", "ring")),
        *(Seen(of="part-size", place=f, value=60.0) for f in ("index", "middle", "ring", "little")),
    ]
    found = diagnose(library_with(*FEW), CATALOGUE, odd)
    assert found.none_fits
    assert "None of the known causes" in found.sentence


def test_what_surprises_most_stands_first_beside_what_was_expected():
    found = diagnose(library_with(*FEW), CATALOGUE, [*GOOD, Seen(of="reach", place="ring", answer="hardly")])
    first = found.predicted[0]
    assert (first.of, first.place, first.seen) == ("reach", "ring", "hardly")
    assert first.chance[0] < 0.15
    assert first.expected[0].startswith("full")
    for row in found.predicted:
        assert len(row.expected) == len(row.chance)
        assert all(0.0 <= c <= 1.0 for c in row.chance)


def test_hands_drawn_anew_agree_with_the_library_and_bear_the_answer_better():
    seen = [Seen(of="worked-rest-angle", value=31.0), Seen(of="whippletree-level", value=-11.0)]
    items = items_of(CATALOGUE, seen)
    plain = posterior(library_with(*FEW), CATALOGUE, items)
    again = posterior(library_with(*FEW), CATALOGUE, items, bench=bench_of(*FEW))
    assert again.refined
    assert not plain.refined
    assert again.by_set.sum() == pytest.approx(1.0)
    assert again.effective_hands > plain.effective_hands
    index = CATALOGUE.fault("loop-long@index-middle").index
    assert again.by_fault[index] == pytest.approx(plain.by_fault[index], abs=0.2)
