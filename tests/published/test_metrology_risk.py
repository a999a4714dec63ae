"""Risks of a whole process. Each figure with its source and how it was seen."""

import pytest

from handsel.metrology.decision import Limits
from handsel.metrology.distributions import normal_quantile
from handsel.metrology.risk import (
    acceptance_for_consumer_risk,
    capability,
    gamma_prior,
    global_risk,
    normal_prior,
)

# JCGM 106:2012 9.5.4, radial error of ball bearings: prior gamma(4, rate 4 per um), tolerance 2 um,
# u 0.25 um. Seen in a program's notebook as 0.04238, 0.00802 and 1.6718; producer's risks computed.
BEARINGS = gamma_prior(4, 4, unit="um")
TOLERANCE = Limits(high=2, unit="um")


def test_bearings_accepted_at_the_tolerance():
    risk = global_risk(BEARINGS, 0.25, TOLERANCE)
    assert round(risk.p_nonconforming, 5) == 0.04238
    assert round(risk.consumer, 5) == 0.00802
    assert round(risk.producer, 5) == 0.01744


def test_bearings_guarded_for_one_in_a_thousand():
    acceptance = acceptance_for_consumer_risk(BEARINGS, 0.25, TOLERANCE, 0.001)
    assert round(acceptance.high, 4) == 1.6718
    assert acceptance.low is None
    risk = global_risk(BEARINGS, 0.25, TOLERANCE, acceptance)
    assert round(risk.consumer, 4) == 0.0010
    assert round(risk.producer, 4) == 0.0755


@pytest.mark.parametrize(("limit", "ratio", "guard", "false_accept", "false_reject"), [
    (2.0, 4, 1.0, 0.8, 1.5), (2.5, 4, 1.0, 0.25, None), (2.0, 2, 0.91, 0.8, 6.6)])
def test_false_accept_and_reject_at_a_declining_ratio(limit, ratio, guard, false_accept, false_reject):
    # Deaver, "How to maintain confidence in a world of declining test uncertainty ratios"; percent,
    # quoted in a program's tests, ratio = process sd / measurement sd there.
    risk = global_risk(normal_prior(0, 1, unit="sd"), 1 / ratio, Limits(low=-limit, high=limit, unit="sd"),
                       Limits(low=-guard * limit, high=guard * limit, unit="sd"))
    # Half the last printed digit; the 0.25 is rounder than that, full precision is 0.2445.
    assert abs(100 * risk.consumer - false_accept) <= (0.05 if false_accept != 0.25 else 0.006)
    if false_reject is not None:
        assert abs(100 * risk.producer - false_reject) <= 0.05


@pytest.mark.parametrize(("in_tolerance", "of_all", "of_accepted"), [
    (0.60, 4.83860326, 8.26008199), (0.70, 3.92234109, 5.72322042), (0.80, 2.85583037, 3.63227145),
    (0.90, 1.59995312, 1.7988043), (0.95, 0.87100925, 0.92389664), (0.99, 0.19991684, 0.20243866)])
def test_false_accept_of_all_and_of_the_accepted(in_tolerance, of_all, of_accepted):
    # NCSLI RP-19 draft table, percent, seen in a program's tests; its last digits differ from ours
    # by up to 1e-6, which is the table's own integration error.
    sd = 1 / normal_quantile(0.5 + in_tolerance / 2)
    risk = global_risk(normal_prior(0, sd, unit="-"), sd / 4, Limits(low=-1, high=1, unit="-"))
    assert 100 * risk.consumer == pytest.approx(of_all, abs=2e-6)
    assert 100 * risk.consumer_of_accepted == pytest.approx(of_accepted, abs=2e-6)
    assert 1 - risk.p_nonconforming == pytest.approx(in_tolerance, abs=1e-12)


@pytest.mark.parametrize(("mean", "cpk", "outside"), [(10, 0.8333, 0.01242), (10.5, 0.4167, 0.1057)])
def test_capability_of_a_process(mean, cpk, outside):
    # By definition; figures seen in a program's tests: N(10, 0.4) and N(10.5, 0.4) in 9 to 11.
    found = capability(mean, 0.4, Limits(low=9, high=11, unit="mm"))
    assert round(found.cpk, 4) == cpk
    assert round(found.p_outside, 5 if outside < 0.1 else 4) == outside
    assert found.cp == pytest.approx(0.8333, abs=0.00005)
