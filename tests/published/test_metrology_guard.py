"""Guard bands, guarded rejection, three zones. Each figure with its source and how it was seen."""

import pytest

from handsel.errors import OutOfRange
from handsel.metrology.decision import Limits, conformance_probability
from handsel.metrology.guard import (
    GuardMethod,
    Zone,
    acceptance_limits,
    false_accept_bound,
    guard_factor,
    rejection_limits,
    three_zone,
    tolerance_multiplier,
)
from handsel.metrology.quantity import Quantity


def test_speed_that_proves_the_limit_broken():
    # JCGM 106:2012 8.3.3, speed limit example, from memory: about 107 km/h; 106.59 was computed.
    found = rejection_limits(Limits(high=100, unit="km/h"), p=0.999, u_rel_ratio=0.02).high
    assert round(found) == 107
    assert round(found, 2) == 106.59
    # Read at that speed, the true speed exceeds 100 km/h with exactly the probability asked for.
    reading = Quantity(value=found, u=0.02 * found, unit="km/h", origin="radar")
    assert conformance_probability(reading, Limits(high=100, unit="km/h")) == pytest.approx(0.001, rel=1e-9)


def test_guard_band_of_one_expanded_uncertainty():
    # ILAC-G8:09/2019 4.2: below 2.5 % with w = U, up to 50 % with none. Rule seen on two lab pages.
    assert false_accept_bound(1.0, k=2) == pytest.approx(0.02275, abs=0.00001)
    assert false_accept_bound(1.0, k=2) < 0.025
    assert false_accept_bound(0.0, k=2) == 0.5


def test_that_bound_is_what_a_result_on_the_acceptance_limit_carries():
    # Ties the rule to the limits it moves: u = 0.5, U = 1, limit 10.
    edge = acceptance_limits(Limits(high=10, unit="mm"), 1.0).high
    assert edge == 9.0
    risk = 1 - conformance_probability(Quantity(value=edge, u=0.5, unit="mm", origin="edge"),
                                       Limits(high=10, unit="mm"))
    assert risk == pytest.approx(0.02275, abs=0.00001)


@pytest.mark.parametrize(("risk", "factor"), [(0.05, 1.64), (0.01, 2.33)])
def test_guard_factor_for_a_stated_risk(risk, factor):
    # Eurachem/CITAC guide on compliance, figures seen on a food-control page (1.645 cut to 1.64).
    assert abs(guard_factor(risk) - factor) <= 0.005


@pytest.mark.parametrize(("value", "zone"), [
    (11.0, Zone.CONFORMITY), (15.0, Zone.CONFORMITY), (19.0, Zone.CONFORMITY), (10.5, Zone.UNCERTAIN),
    (9.5, Zone.UNCERTAIN), (19.5, Zone.UNCERTAIN), (20.5, Zone.UNCERTAIN), (8.9, Zone.NONCONFORMITY),
    (21.1, Zone.NONCONFORMITY)])
def test_three_zones(value, zone):
    # ISO 14253-1:2017, from memory: inside, outside, overlapping; 95 % by default. U is 0.98 here.
    result = Quantity(value=value, u=0.5, unit="mm", origin="length")
    assert three_zone(result, Limits(low=10, high=20, unit="mm")) is zone


@pytest.mark.parametrize(("method", "at_1_5", "at_2", "at_4"), [
    (GuardMethod.RSS, 0.74536, 0.86603, 0.96825),
    (GuardMethod.MANAGED_RISK, 0.75988, 0.85918, 0.98672),
    (GuardMethod.FULL, 0.33333, 0.50000, 0.75000),
    (GuardMethod.RELAXED, 0.58333, 0.75000, 1.00000)])
def test_share_of_the_tolerance_left(method, at_1_5, at_2, at_4):
    # Formulas seen in the source of a public risk calculator; values computed from them there.
    for ratio, left in ((1.5, at_1_5), (2, at_2), (4, at_4)):
        assert round(tolerance_multiplier(ratio, method), 5) == left


def test_no_tolerance_is_ever_widened():
    for method in (GuardMethod.MANAGED_RISK, GuardMethod.RELAXED):
        assert tolerance_multiplier(10, method) == 1.0
    with pytest.raises(OutOfRange, match="nothing of the tolerance is left"):
        tolerance_multiplier(0.9, GuardMethod.RSS)
