"""Laws of learning from confirmed causes: bounded, order makes no difference, and all of it can be taken back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.rework.learning import BOUND, Confirmed, TakenBack, learned_priors

FAULTS = ("loop-long", "hinge-tight", "elastic-weak", "wrist-tight")
OWN = {"loop-long": 0.12, "hinge-tight": 0.10, "elastic-weak": 0.05, "wrist-tight": 0.06}
FEW = settings(max_examples=30, deadline=None)
# A few kinds with a count each, dealt out in turn: long histories without drawing each entry.
many = st.lists(st.tuples(st.sampled_from(FAULTS), st.integers(1, 120)), max_size=4).map(
    lambda kinds: [fault for fault, count in kinds for _ in range(count)]
)


def entries(faults):
    return [
        Confirmed(
            number=k,
            code="R-001",
            serial=f"H-{k}",
            on="2026-11-21",
            by="inspector 1",
            fault=f,
            place="",
            rework="ease-hinge",
            symptom="smooth-travel",
        )
        for k, f in enumerate(faults, start=1)
    ]


def learned(made, **more):
    return learned_priors(OWN, made, catalogue_version="1.0.0", **more)


@FEW
@given(many)
def test_priors_stay_within_their_bounds_and_keep_their_sum(faults):
    found = learned(entries(faults)).priors
    assert sum(found.values()) == pytest.approx(sum(OWN.values()), rel=1e-9)
    for fault, own in OWN.items():
        assert own / BOUND * (1 - 1e-12) <= found[fault] <= own * BOUND * (1 + 1e-12)


@FEW
@given(many, st.integers(1, 1000))
def test_taking_all_of_it_back_gives_the_old_priors_to_the_last_digit(faults, seed):
    made = entries(faults)
    order = sorted(range(1, len(made) + 1), key=lambda k: (k * 7919 * seed) % 1009)
    back = [
        TakenBack(number=len(made) + i, of=k, on="2026-11-22", by="lead", reason="mixed up")
        for i, k in enumerate(order, start=1)
    ]
    assert learned([*made, *back]).priors == OWN


@FEW
@given(many)
def test_taking_the_last_one_back_gives_the_priors_before_it(faults):
    made = entries([*faults, "wrist-tight"])
    back = TakenBack(number=len(made) + 1, of=len(made), on="2026-11-22", by="lead", reason="another hand")
    assert learned([*made, back]).priors == learned(made[:-1]).priors


@FEW
@given(many)
def test_the_order_of_findings_makes_no_difference(faults):
    there, back = learned(entries(faults)), learned(entries(faults[::-1]))
    assert there.priors == back.priors
    assert there.counts == back.counts


@FEW
@given(many, st.sampled_from(FAULTS))
def test_one_more_confirmed_cause_never_makes_it_less_likely(faults, fault):
    few, more = learned(entries(faults)).priors, learned(entries([*faults, fault])).priors
    assert more[fault] >= few[fault] * (1.0 - 0.01)  # past the cap each counts a little less


@FEW
@given(many)
def test_beyond_the_cap_more_of_the_same_changes_nothing(faults):
    if faults:
        one = learned(entries(faults * 3), cap=float(len(faults))).priors
        assert one == pytest.approx(learned(entries(faults), cap=float(len(faults))).priors, rel=1e-9)
