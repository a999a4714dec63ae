"""Conformance probability. The example is JCGM 106:2012, clause 7, from memory; its value was computed."""

from handsel.metrology.decision import Limits, Verdict, conformance_probability, decide
from handsel.metrology.quantity import Quantity

ZENER = Quantity(value=-5.47, u=0.05, unit="V", origin="breakdown voltage")
AT_MOST = Limits(high=-5.40, unit="V")


def test_breakdown_voltage_of_a_zener_diode():
    p = conformance_probability(ZENER, AT_MOST)
    assert round(p, 2) == 0.92
    assert round(p, 4) == 0.9192


def test_its_verdict_depends_on_the_probability_asked_for():
    assert decide(ZENER, AT_MOST, accept_p=0.90).verdict is Verdict.CONFORMS
    assert decide(ZENER, AT_MOST, accept_p=0.95).verdict is Verdict.UNDECIDED


def test_the_same_diode_against_a_lower_limit_fails():
    # The complement of the printed probability.
    decision = decide(ZENER, Limits(low=-5.40, unit="V"), accept_p=0.90)
    assert decision.verdict is Verdict.DOES_NOT_CONFORM
    assert round(decision.p_conform, 2) == 0.08
