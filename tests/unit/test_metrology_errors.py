"""Numbers that cannot be: each is refused with what, where and what to do."""

import subprocess
import sys
from math import inf, nan

import numpy as np
import pytest

from handsel.errors import OutOfRange
from handsel.metrology.decision import Limits, conformance_probability, decide
from handsel.metrology.distributions import (
    coverage_factor,
    incomplete_beta,
    normal_cdf,
    normal_quantile,
    student_cdf,
    student_quantile,
    truncated_dof,
)
from handsel.metrology.guard import (
    GuardMethod,
    acceptance_limits,
    guard_factor,
    rejection_limits,
    three_zone,
    tolerance_multiplier,
)
from handsel.metrology.line import fit_line
from handsel.metrology.montecarlo import Shape, monte_carlo
from handsel.metrology.observations import simultaneous
from handsel.metrology.propagation import first_order, propagate, second_order, welch_satterthwaite
from handsel.metrology.quantity import Quantity, expanded, from_readings
from handsel.metrology.risk import (
    Prior,
    acceptance_for_consumer_risk,
    capability,
    gamma_prior,
    global_risk,
    normal_prior,
)

Q = Quantity(value=30.4, u=0.8, unit="deg", origin="rest angle")
IN_DEG = Limits(low=30, unit="deg")
IN_MM = Limits(low=30, unit="mm")
PRIOR = normal_prior(0, 1, unit="deg")


def refused(call, *says):
    with pytest.raises(OutOfRange) as found:
        call()
    message = str(found.value)
    for words in says:
        assert words in message
    assert found.value.what
    assert found.value.where
    assert found.value.do.endswith(".")
    return message


@pytest.mark.parametrize(("change", "says"), [
    ({"value": nan}, "value is nan"), ({"value": inf}, "value is inf"), ({"value": "30"}, "value is '30'"),
    ({"value": None}, "value is 'None'"), ({"value": True}, "value is 'True'"), ({"value": 1e200}, "1e+200"),
    ({"value": 10 ** 400}, "expected a number"), ({"value": [1, 2]}, "value is '[1, 2]'"),
    ({"u": -0.1}, "u is -0.1; expected 0 or more"), ({"u": nan}, "u is nan"), ({"u": inf}, "u is inf"),
    ({"dof": 0}, "dof is 0; expected 1 or more"), ({"dof": nan}, "dof is nan"),
    ({"dof": -inf}, "dof is -inf"),
    ({"dof": "many"}, "dof is 'many'"), ({"unit": ""}, "unit is ''"), ({"unit": 3}, "unit is '3'")])
def test_a_quantity(change, says):
    given = {"value": 30.4, "u": 0.8, "unit": "deg", "origin": "rest angle", **change}
    assert refused(lambda: Quantity(**given), says).startswith("rest angle: ")


def test_a_quantity_without_an_origin():
    refused(lambda: Quantity(value=1, u=1, unit="mm", origin=" "), "quantity: origin is ' '")


def test_whole_message_of_a_refused_reading():
    message = refused(lambda: from_readings([30.1, nan], unit="deg", origin="rest angle"))
    assert message == ("rest angle: reading 2 is nan; expected a measurable number. "
                       "Read again and type the number.")


@pytest.mark.parametrize(("readings", "more", "says"), [
    ([], {}, "there are no readings"), ([30], {}, "one reading alone"),
    ([30], {"resolution": 1}, "one reading alone"), ([30, 30], {}, "all 2 readings are alike"),
    ([30, "31"], {}, "reading 2 is '31'"), ([30, inf], {}, "reading 2 is inf"),
    ([30, 31], {"u_type_b": -1}, "u_type_b is -1"), ([30, 31], {"u_type_b": nan}, "u_type_b is nan"),
    ([30, 31], {"resolution": -1}, "resolution is -1"), ([30, 31], {"unit": ""}, "unit is ''")])
def test_readings(readings, more, says):
    given = {"unit": "deg", "origin": "rest angle", **more}
    assert refused(lambda: from_readings(readings, **given), says).startswith("rest angle: ")


def test_readings_without_an_origin():
    refused(lambda: from_readings([1, 2], unit="mm", origin=""), "readings: origin is ''")


def test_readings_that_are_possible_are_answered():
    assert from_readings([30], unit="deg", origin="a", u_type_b=0.5).u == 0.5
    alike = from_readings([30, 30], unit="deg", origin="a", resolution=1.0)
    assert alike.u == pytest.approx(0.288675, abs=1e-6)
    assert alike.dof == inf
    assert from_readings(np.array([30.0, 31.0]), unit="deg", origin="a").u == pytest.approx(0.5)
    assert from_readings(iter([30.0, 31.0]), unit="deg", origin="a").value == 30.5
    assert from_readings([1e90, -1e90], unit="deg", origin="a").u == pytest.approx(1e90)


@pytest.mark.parametrize(("given", "says"), [
    ({}, "neither low nor high"), ({"low": 5, "high": 5}, "expected low below high"),
    ({"low": 6, "high": 5}, "low is 6 and high is 5"), ({"low": nan}, "low is nan"),
    ({"high": inf}, "high is inf"),
    ({"low": "30"}, "low is '30'")])
def test_limits(given, says):
    refused(lambda: Limits(unit="deg", **given), "limits: ", says)


def test_limits_without_unit():
    refused(lambda: Limits(low=1, unit=""), "unit is ''")


@pytest.mark.parametrize("call", [
    lambda: conformance_probability(Q, IN_MM), lambda: decide(Q, IN_MM), lambda: three_zone(Q, IN_MM)])
def test_units_that_differ(call):
    refused(call, "rest angle: units differ: deg, mm. Give every number in the same unit.")


@pytest.mark.parametrize("accept_p", [0.49, 1.0, 95, nan, "high"])
def test_probability_asked_for(accept_p):
    refused(lambda: decide(Q, IN_DEG, accept_p=accept_p), "accept_p", "0.95 for 95 %")


@pytest.mark.parametrize("coverage", [0, 1, 95, nan, -0.5])
def test_coverage(coverage):
    refused(lambda: expanded(Q, coverage), "coverage", "0.95 for 95 %")
    refused(lambda: coverage_factor(coverage=coverage), "coverage")


@pytest.mark.parametrize("call", [
    lambda: normal_cdf(nan), lambda: normal_quantile(0), lambda: normal_quantile(1),
    lambda: normal_quantile(nan),
    lambda: student_cdf(nan, 5), lambda: student_cdf(nan, inf), lambda: student_cdf(0, 0.5),
    lambda: student_quantile(1, 5), lambda: student_quantile(0.5, nan), lambda: truncated_dof(0.9),
    lambda: incomplete_beta(0, 1, 0.5), lambda: incomplete_beta(1, 1, 1.5),
    lambda: incomplete_beta(nan, 1, 0.5)])
def test_distributions(call):
    refused(call)


@pytest.mark.parametrize(("call", "says"), [
    (lambda: propagate(lambda: 1, [], unit="deg", origin="sum"), "there are no inputs"),
    (lambda: propagate(lambda a: [a, a], [Q], unit="deg", origin="sum"), "2 outputs; expected one"),
    (lambda: propagate(lambda a: nan, [Q], unit="deg", origin="sum"), "no plain number"),
    (lambda: propagate(lambda a: a, [Q], unit="deg", origin="s", correlation=[[2]]), "not all ones"),
    (lambda: propagate(lambda a, b: a, [Q, Q], unit="deg", origin="s", correlation=[[1, 2], [2, 1]]),
     "contradict"),
    (lambda: propagate(lambda a, b: a, [Q, Q], unit="deg", origin="s", correlation=[[1, 0], [1, 1]]),
     "symmetric"),
    (lambda: propagate(lambda a: a, [Q], unit="deg", origin="s", sensitivities=[1, 2]), "sensitivities"),
    (lambda: propagate(lambda a: a, [Q], unit="deg", origin="s", sensitivities=[nan]), "sensitivities"),
    (lambda: first_order(lambda a: a, [], [[1]]), "values"),
    (lambda: first_order(lambda a: a, ["x"], [[1]]), "no number"),
    (lambda: first_order(lambda a: a, [1], [[-1]]), "a variance is negative"),
    (lambda: first_order(lambda a: a, [1], [[nan]]), "gap"),
    (lambda: first_order(lambda a: a, [1], [["x"]]), "no number"),
    (lambda: first_order(lambda a: a, [1], [[1, 0], [0, 1]]), "expected (1, 1)"),
    (lambda: second_order(lambda: 1, [], unit="deg", origin="s"), "there are no inputs"),
    (lambda: welch_satterthwaite([1], [1, 2]), "1 contributions and 2 dof"),
    (lambda: welch_satterthwaite([], []), "0 contributions"),
    (lambda: welch_satterthwaite([-1], [5]), "contribution is -1"),
    (lambda: welch_satterthwaite([1], [0.5]), "dof is 0.5"),
    (lambda: simultaneous([[1, 2]], origin="both"), "both: readings have shape (1, 2)"),
    (lambda: simultaneous([[1, 2], [1]], origin="both"), "rows differ in length"),
    (lambda: simultaneous([[1, 2], [1, nan]], origin="both"), "a gap"),
    (lambda: simultaneous([], origin="both"), "shape (0,)"),
    (lambda: fit_line([1, 2], [1, 2], unit="mm", origin="line"), "two points fit any line"),
    (lambda: fit_line([1, 2, 3], [1, 2], unit="mm", origin="line"), "3 values of x and 2 of y"),
    (lambda: fit_line([2, 2, 2], [1, 2, 3], unit="mm", origin="line"), "all x are alike"),
    (lambda: fit_line([1, 2, nan], [1, 2, 3], unit="mm", origin="line"), "x has shape"),
    (lambda: fit_line([1, 2, 3], [1, 2, 4], unit="mm", origin="line").at(nan), "x is nan")])
def test_propagation_and_fits(call, says):
    refused(call, says)


def test_second_order_that_outweighs_the_first():
    steep = Quantity(value=0.0, u=1.0, unit="-", origin="x")
    refused(lambda: second_order(lambda a: a - a ** 3, [steep], unit="-", origin="s"), "outweigh")


def test_inputs_that_are_exact_are_answered():
    exact = Quantity(value=0.0, u=0.0, unit="deg", origin="zero")
    found = propagate(lambda a, b: a + 3 * b, [Q, exact], unit="deg", origin="sum")
    assert found.quantity.u == pytest.approx(0.8, rel=1e-9)
    assert found.sensitivities[1] == pytest.approx(3, rel=1e-9)
    assert propagate(lambda a: a, [exact], unit="deg", origin="sum").quantity.dof == inf
    assert welch_satterthwaite([0.0], [3]) == inf


@pytest.mark.parametrize(("more", "says"), [
    ({"inputs": []}, "there are no inputs"), ({"draws": 10}, "draws is 10"), ({"draws": nan}, "draws is nan"),
    ({"draws": 1e9}, "draws is 1e+09"), ({"coverage": 1}, "coverage is 1"),
    ({"shapes": []}, "0 shapes for 1 inputs"),
    ({"model": lambda a: 1.0}, "the model gives shape ()"), ({"model": lambda a: a * nan}, "gaps"),
    ({"inputs": [Quantity(value=1, u=1, dof=2, unit="deg", origin="few")], "shapes": [Shape.STUDENT]},
     "few: a Student input with 2 degrees of freedom"),
    ({"inputs": [Q, Q], "model": lambda a, b: a, "shapes": [Shape.RECTANGULAR, Shape.NORMAL],
      "correlation": [[1, 0.5], [0.5, 1]]}, "a rectangular input cannot be drawn with a correlation")])
def test_drawing(more, says):
    given = {"model": lambda a: a, "inputs": [Q], "unit": "deg", "origin": "draw", "seed": 1, **more}
    refused(lambda: monte_carlo(given.pop("model"), given.pop("inputs"), **given), says)


def test_an_uncorrelated_input_may_have_any_shape_beside_correlated_ones():
    r = [[1, 0, 0], [0, 1, 0.9], [0, 0.9, 1]]
    drawn = monte_carlo(lambda a, b, c: a + b - c, [Q, Q, Q], unit="deg", origin="s", seed=1, correlation=r,
                        shapes=[Shape.RECTANGULAR, Shape.NORMAL, Shape.NORMAL])
    assert drawn.quantity.u == pytest.approx(0.8 * (1 + 2 - 1.8) ** 0.5, rel=0.01)


@pytest.mark.parametrize(("call", "says"), [
    (lambda: acceptance_limits(Limits(low=30, high=31, unit="deg"), 0.5), "leaves nothing of 30° to 31°"),
    (lambda: acceptance_limits(IN_DEG, -1), "U is -1"),
    (lambda: acceptance_limits(IN_DEG, 1, r=nan), "r is nan"),
    (lambda: guard_factor(0), "risk is 0"), (lambda: guard_factor(0.6), "risk is 0.6"),
    (lambda: rejection_limits(IN_DEG, p=1), "p is 1"),
    (lambda: rejection_limits(IN_DEG, p=0.9, u=-1), "u is -1"),
    (lambda: rejection_limits(IN_DEG, p=0.999, u_rel_ratio=0.5), "no result is sure"),
    (lambda: tolerance_multiplier(0, GuardMethod.RSS), "tur_ratio is 0"),
    (lambda: tolerance_multiplier(1, GuardMethod.FULL), "nothing of the tolerance is left"),
    (lambda: normal_prior(0, 0, unit="mm"), "sd is 0"),
    (lambda: normal_prior(nan, 1, unit="mm"), "mean is nan"),
    (lambda: gamma_prior(0.5, 1, unit="mm"), "shape is 0.5"),
    (lambda: gamma_prior(1, 0, unit="mm"), "rate is 0"),
    (lambda: Prior(name="own", pdf=lambda x: 0 * x + 1, edges=np.array([0.0, 3.0]), unit="mm"), "holds 3 "),
    (lambda: Prior(name="own", pdf=lambda x: -x, edges=np.array([0.0, 1.0]), unit="mm"),
     "density is negative"),
    (lambda: Prior(name="own", pdf=lambda x: x * nan, edges=np.array([0.0, 1.0]), unit="mm"),
     "no number somewhere"),
    (lambda: Prior(name="own", pdf=lambda x: x, edges=np.array([1.0, 0.0]), unit="mm"), "rising"),
    (lambda: global_risk(PRIOR, -1, IN_DEG), "u is -1"),
    (lambda: global_risk(PRIOR, 1, IN_MM), "units differ"),
    (lambda: global_risk(PRIOR, 1, IN_DEG, IN_MM), "units differ"),
    (lambda: acceptance_for_consumer_risk(PRIOR, 1, IN_DEG, 0), "risk is 0"),
    (lambda: capability(0, 0, IN_DEG), "sd is 0"), (lambda: capability(inf, 1, IN_DEG), "mean is inf")])
def test_guards_and_risks(call, says):
    refused(call, says)


def test_a_risk_that_every_acceptance_keeps():
    limits = Limits(low=-10, high=10, unit="deg")
    found = acceptance_for_consumer_risk(PRIOR, 0.1, limits, 0.5)
    assert found.high > 10
    assert global_risk(PRIOR, 0.1, limits, found).consumer <= 0.5


def test_rejection_with_a_fixed_and_a_proportional_part():
    both = rejection_limits(Limits(low=50, high=100, unit="N"), p=0.95, u=1.0, u_rel_ratio=0.01)
    for limit, side in ((both.high, 1), (both.low, -1)):
        given = 100 if side > 0 else 50
        u = (1.0 + (0.01 * limit) ** 2) ** 0.5
        assert side * (limit - given) == pytest.approx(normal_quantile(0.95) * u, rel=1e-9)


def test_results_cannot_be_changed():
    with pytest.raises(AttributeError):
        Q.value = 31.0
    fit = fit_line([1, 2, 3], [1, 2, 4], unit="mm", origin="line")
    with pytest.raises(ValueError, match="read-only"):
        fit.residuals[0] = 0.0


def test_nothing_slow_is_loaded():
    code = ("import sys, handsel.metrology.decision, handsel.metrology.risk, handsel.metrology.montecarlo, "
            "handsel.metrology.line, handsel.metrology.observations\n"
            "print([m for m in ('scipy', 'matplotlib', 'trimesh', 'django') if m in sys.modules])")
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
