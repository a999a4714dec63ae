"""Laws of the diagnosis that hold whatever was seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnosing import FEW, library_with, of_kinds
from handsel.diagnosis.library import library_key
from handsel.diagnosis.likelihood import BadAnswer, Seen, chances, items_of, rows_of
from handsel.diagnosis.posterior import diagnose, posterior, set_priors, with_priors
from handsel.errors import OutOfRange

CATALOGUE = of_kinds(*FEW)


@st.composite
def looks(draw: st.DrawFn) -> Seen:
    """One look at one place, with any answer or number that fits it."""
    look = draw(st.sampled_from(CATALOGUE.observables))
    place = draw(st.sampled_from(look.places))
    if look.kind == "number":
        return Seen(of=look.id, place=place, value=draw(st.floats(-200.0, 200.0)))
    return Seen(
        of=look.id,
        place=place,
        answer=draw(st.sampled_from(look.answers_of(place))),
        in_group=draw(st.booleans()),
    )


@settings(max_examples=25, deadline=None)
@given(seen=st.lists(looks(), max_size=25))
def test_probabilities_are_probabilities_whatever_was_seen(seen):
    p = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, seen))
    assert p.by_set.sum() == pytest.approx(1.0)
    assert (p.by_set >= 0.0).all()
    assert (p.by_fault <= 1.0 + 1e-9).all()
    # At most two faults at once: the marginals cannot add up to more.
    assert p.by_fault.sum() <= 2.0 + 1e-9
    found = diagnose(library_with(*FEW), CATALOGUE, seen)
    assert 0.0 <= found.fit_p <= 1.0
    assert found.sentence.endswith(".")
    assert [c.probability for c in found.causes] == sorted((c.probability for c in found.causes), reverse=True)


@settings(max_examples=20, deadline=None)
@given(seen=st.lists(looks(), max_size=12), shuffle=st.randoms(use_true_random=False))
def test_neither_order_nor_saying_a_thing_twice_matters(seen, shuffle):
    other = [*seen, *seen]
    shuffle.shuffle(other)
    a = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, seen))
    b = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, [*seen, *seen]))
    c = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, other))
    assert np.allclose(b.by_set, c.by_set, atol=1e-9)
    if all(s.value is None for s in seen):
        assert np.allclose(a.by_set, b.by_set, atol=1e-9)


@settings(max_examples=15, deadline=None)
@given(seen=st.lists(looks(), max_size=8))
def test_an_answer_that_tells_nothing_changes_nothing(seen):
    a = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, seen))
    # Nothing in this small catalogue shows in these looks, and nobody could tell the other.
    more = [
        *seen,
        Seen(of="bare-fit-good", answer="no"),
        Seen(of="worked-rest-angle", answer="can't tell"),
        Seen(of="smooth-travel", answer="can't tell"),
    ]
    b = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, more))
    assert np.array_equal(a.by_set, b.by_set)


def test_a_look_that_no_fault_shows_in_leaves_all_as_it_was():
    blank = [Seen(of="screw-bites", place="thumb-side", answer=answer) for answer in ("yes",)]
    prior = set_priors(CATALOGUE, library_with(*FEW).strata)
    p = posterior(library_with(*FEW), CATALOGUE, items_of(CATALOGUE, blank))
    assert np.allclose(p.by_set, prior / prior[p.by_set > 0].sum() * (p.by_set > 0), atol=1e-6)


def test_chances_of_a_look_sum_to_one_for_every_hand():
    rows = rows_of(library_with(*FEW), 1.01)
    for look in CATALOGUE.observables:
        if look.kind != "number":
            for place in look.places:
                assert np.allclose(chances(CATALOGUE, rows, look, place).sum(0), 1.0, atol=1e-5), look.id


@settings(max_examples=15, deadline=None)
@given(p=st.floats(0.001, 0.4))
def test_an_edited_prior_moves_the_answer_and_rebuilds_nothing(p):
    edited = with_priors(CATALOGUE, {"wrist-tight": p})
    assert library_key(edited, "0" * 64, 1.0) == library_key(CATALOGUE, "0" * 64, 1.0)
    index = CATALOGUE.fault("wrist-tight").index
    before = set_priors(CATALOGUE, library_with(*FEW).strata)[1 + index]
    after = set_priors(edited, library_with(*FEW).strata)[1 + index]
    own = next(k.prior for k in CATALOGUE.kinds if k.id == "wrist-tight")
    assert (after > before) == (p > own) or p == pytest.approx(own, rel=1e-9)


def test_what_the_hands_depend_on_does_change_the_key():
    other = replace(CATALOGUE, physics_sha256="1" * 64)
    keys = {
        library_key(CATALOGUE, "0" * 64, 1.0),
        library_key(CATALOGUE, "1" * 64, 1.0),
        library_key(CATALOGUE, "0" * 64, 1.025),
        library_key(other, "0" * 64, 1.0),
    }
    assert len(keys) == 4


@pytest.mark.parametrize(
    "seen",
    [
        Seen(of="worked-rest-angle", answer="yes"),
        Seen(of="worked-rest-angle", value=float("nan")),
        Seen(of="smooth-travel", answer="perhaps"),
        Seen(of="springs-back", place="nose", answer="slow"),
    ],
)
def test_what_does_not_fit_a_look_is_refused_with_what_would(seen):
    with pytest.raises(BadAnswer) as caught:
        items_of(CATALOGUE, [seen])
    assert seen.of in str(caught.value)
    assert caught.value.do


def test_a_prior_that_is_none_is_refused():
    for bad in ({"wrist-tight": 0.0}, {"wrist-tight": 0.7}, {"no-such-kind": 0.1}):
        with pytest.raises(OutOfRange):
            with_priors(CATALOGUE, bad)
