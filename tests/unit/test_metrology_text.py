"""What is printed: ± never stands without k or coverage beside it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsel.metrology.decision import Limits, decide
from handsel.metrology.quantity import Quantity, expanded, plus_minus, with_unit


def quantity(value, u, **more):
    return Quantity(value=value, u=u, unit=more.pop("unit", "deg"), origin="rest angle", **more)


@pytest.mark.parametrize(("made", "text"), [
    (quantity(30.4, 0.8), "30.40° ± 0.80° (k = 1)"),
    (quantity(30.4, 0.0996), "30.40° ± 0.10° (k = 1)"),
    (quantity(-0.01, 1.2), "0.0° ± 1.2° (k = 1)"),
    (quantity(12345.6, 234.0, unit="N"), "12350 N ± 230 N (k = 1)"),
    (quantity(3.14159, 0.0123, unit="mm", dof=4), "3.142 mm ± 0.012 mm (k = 1, 4 degrees of freedom)"),
    (quantity(12.5, 0, unit="mm"), "12.5 mm exactly")])
def test_a_quantity_says_that_it_is_one_standard_uncertainty(made, text):
    assert str(made) == text


def test_an_expanded_quantity_says_coverage_and_k():
    assert str(expanded(quantity(30.4, 0.8))) == "30.4° ± 1.6° (95 %, k = 1.96)"
    assert str(expanded(quantity(30.4, 0.8, dof=4), 0.9545)) == "30.4° ± 2.3° (95.45 %, k = 2.87)"
    assert str(expanded(quantity(5, 0, unit="mm"))) == "5 mm exactly"


@given(st.floats(-1e6, 1e6), st.floats(1e-9, 1e6), st.floats(0.01, 0.9999))
def test_no_plus_minus_stands_alone(value, u, coverage):
    for text in (str(quantity(value, u)), str(expanded(quantity(value, u), coverage)),
                 str(decide(quantity(value, u), Limits(low=0, unit="deg")))):
        assert "±" in text
        assert re.search(r"± [^(]*\((k = 1|[\d.e-]+ %, k = [\d.e-]+)", text)


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e3))
def test_printed_digits_hold_the_value_within_a_twentieth_of_u(value, u):
    shown = [float(part.replace("°", "")) for part in plus_minus(value, u, "deg").split(" ± ")]
    assert abs(shown[0] - value) <= 0.051 * u + 1e-12 * abs(value)
    assert shown[1] == pytest.approx(u, rel=0.051)


@pytest.mark.parametrize(("limits", "text"), [
    (Limits(low=30, unit="deg"), "at least 30°"), (Limits(high=45, unit="deg"), "at most 45°"),
    (Limits(low=0.5, high=2, unit="mm"), "0.5 mm to 2 mm")])
def test_limits_in_words(limits, text):
    assert str(limits) == text


@pytest.mark.parametrize(("value", "text"), [
    (30.4, "undecided: 30.40° ± 0.80° (k = 1) against at least 30°; "
           "within the limits with probability 69.1 %"),
    (36, "conforms: 36.00° ± 0.80° (k = 1) against at least 30°; "
         "within the limits with probability above 99.9 %"),
    (20, "does not conform: 20.00° ± 0.80° (k = 1) against at least 30°; "
         "within the limits with probability below 0.1 %")])
def test_a_decision_in_words(value, text):
    assert str(decide(quantity(value, 0.8), Limits(low=30, unit="deg"))) == text


def test_a_unit_stands_off_and_a_degree_sign_does_not():
    assert (with_unit("3", "mm"), with_unit("3", "deg")) == ("3 mm", "3°")
