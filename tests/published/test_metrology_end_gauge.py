"""A gauge block compared with a standard: first order, second order, drawing.

JCGM 100:2008, H.1 and Table H.1. The figures were seen in the test suites of four independent
programs; where one is from memory it says so. Lengths in nm unless named otherwise.
"""

from math import inf

import numpy as np
import pytest

from handsel.metrology.distributions import coverage_factor, truncated_dof
from handsel.metrology.montecarlo import Shape, monte_carlo
from handsel.metrology.propagation import propagate, second_order, welch_satterthwaite
from handsel.metrology.quantity import Quantity, expanded, from_readings

STANDARD_NM = 50_000_623.0


def quantity(value, u, dof=inf, unit="nm"):
    return Quantity(value=value, u=u, dof=dof, unit=unit, origin="end gauge")


INPUTS = [
    quantity(STANDARD_NM, 25.0, 18),                 # length of the standard
    quantity(215.0, 9.7, 25.6),                      # observed difference
    quantity(0.0, 0.58e-6, 50, "1/degC"),            # difference of expansion coefficients
    quantity(-0.1, 0.41, unit="degC"),               # deviation of the bed from 20 degC
    quantity(11.5e-6, 1.2e-6, unit="1/degC"),        # expansion coefficient of the standard
    quantity(0.0, 0.029, 2, "degC"),                 # difference of temperatures
]


def length_nm(standard, difference, d_alpha, theta, alpha, d_theta):
    return standard + difference - standard * (d_alpha * theta + alpha * d_theta)


@pytest.fixture(scope="module")
def gauge():
    return propagate(length_nm, INPUTS, unit="nm", origin="end gauge")


def test_length_and_combined_uncertainty(gauge):
    assert gauge.quantity.value == pytest.approx(50_000_838.0, abs=0.5)    # printed 50.000838 mm
    assert round(gauge.quantity.u) == 32


def test_each_term_of_the_budget(gauge):
    terms = [round(float(term), 1) for term in gauge.contributions]
    # theta and alpha enter multiplied by an estimate of 0, so the first order does not see them.
    assert terms[:5] == [25.0, 9.7, 2.9, 0.0, 0.0]
    # Printed 16.6; the product of the printed inputs is 16.675.
    assert terms[5] == pytest.approx(16.6, abs=0.11)


def test_effective_degrees_of_freedom_are_truncated_before_the_look_up(gauge):
    assert gauge.quantity.dof == pytest.approx(16.7, abs=0.1)
    assert truncated_dof(gauge.quantity.dof) == 16


@pytest.mark.parametrize(("coverage", "k_printed", "u_printed"), [(0.99, 2.92, 93), (0.95, 2.12, 68)])
def test_expanded_uncertainty(gauge, coverage, k_printed, u_printed):
    interval = expanded(gauge.quantity, coverage)
    assert round(interval.k, 2) == k_printed
    # The guide multiplies its already rounded 32 nm: that rounding times k is the tolerance.
    assert abs(interval.U - u_printed) <= 0.5 * k_printed
    assert round(k_printed * 32) == u_printed
    assert interval.high - interval.low == pytest.approx(2 * interval.U)


def test_sub_budget_of_the_observed_difference():
    # JCGM 100:2008 H.1.3.2 and G.4.
    parts, dofs = [5.8, 3.9, 6.7], [24, 5, 8]
    u = propagate(lambda a, b, c: a + b + c, [quantity(0, p, d) for p, d in zip(parts, dofs, strict=True)],
                  unit="nm", origin="difference").quantity.u
    assert round(u, 1) == 9.7
    # The guide's 25.6 has its rounded 9.7 in the numerator; the same numbers carried through give
    # 25.45. Undoing that one rounding reproduces the printed figure to its last digit.
    exact = welch_satterthwaite(parts, dofs)
    assert round(exact * (9.7 / u) ** 4, 1) == 25.6


def test_sub_budget_from_the_numbers_before_rounding():
    # H.1.3.2, from memory: 13 nm scatter, mean of 5; 0.01 um at 95 % with 5 dof; 0.02 um at 3 sigma.
    parts = [13 / np.sqrt(5), 10 / coverage_factor(5), 20 / 3]
    assert [round(float(p), 1) for p in parts] == [5.8, 3.9, 6.7]
    assert round(welch_satterthwaite(parts, [24, 5, 8]), 1) == 25.6


def test_second_order_sees_the_product_that_first_order_misses(gauge):
    # H.1.7: 34 nm with the second-order terms where the first order gives 32 nm.
    assert round(gauge.quantity.u) == 32
    assert round(second_order(length_nm, INPUTS, unit="nm", origin="end gauge").u) == 34


def test_drawing_agrees_with_second_order():
    drawn = monte_carlo(length_nm, INPUTS, unit="nm", origin="end gauge", seed=20, draws=200_000)
    assert round(drawn.quantity.u) == 34
    assert drawn.quantity.value == pytest.approx(50_000_838, abs=0.5)


def test_a_sum_of_four_rectangular_inputs():
    # JCGM 101:2008 9.2.3, from memory: four rectangular inputs of u = 1 give u = 2.00 and a 95 %
    # interval of +-3.88; its closed form 2 sqrt(3) (2 - (3/5)^(1/4)) was computed.
    closed = 2 * np.sqrt(3) * (2 - 0.6 ** 0.25)
    assert round(closed, 2) == 3.88
    drawn = monte_carlo(lambda a, b, c, d: a + b + c + d, [quantity(0, 1)] * 4, unit="nm", origin="sum",
                        seed=5, draws=400_000, shapes=[Shape.RECTANGULAR] * 4)
    assert drawn.quantity.u == pytest.approx(2.0, abs=0.01)
    assert drawn.high == pytest.approx(closed, abs=0.02)
    assert drawn.low == pytest.approx(-closed, abs=0.02)


def test_mean_of_repeated_readings():
    # JCGM 100:2008 H.2, Table H.2: V = 4.9990 V, standard uncertainty of the mean 0.0032 V.
    mean = from_readings([5.007, 4.994, 5.005, 4.990, 4.999], unit="V", origin="H.2")
    assert round(mean.value, 4) == 4.9990
    assert round(mean.u, 4) == 0.0032
    assert mean.dof == pytest.approx(4)
