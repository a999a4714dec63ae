"""Coverage factors. JCGM 100:2008, Table G.2; the rows for 16 and infinity seen in a program's tests."""

from math import inf

import pytest

from handsel.metrology.distributions import coverage_factor


@pytest.mark.parametrize(("coverage", "printed"), [(0.95, 2.12), (0.9545, 2.17), (0.99, 2.92)])
def test_sixteen_degrees_of_freedom(coverage, printed):
    assert round(coverage_factor(16, coverage=coverage), 2) == printed


def test_infinitely_many_degrees_of_freedom():
    assert round(coverage_factor(inf, coverage=0.9545), 2) == 2.00


@pytest.mark.parametrize(("dof", "printed"), [
    (1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (50, 2.01), (100, 1.984),
    (inf, 1.960)])
def test_the_95_percent_column(dof, printed):
    # Table G.2, this column from memory.
    places = len(str(printed).split(".")[1])
    assert round(coverage_factor(dof, coverage=0.95), max(places, 2)) == printed


@pytest.mark.parametrize("dof", [16.0, 16.3, 16.76, 16.999])
def test_a_fraction_of_a_degree_is_cut_off(dof):
    assert coverage_factor(dof) == coverage_factor(16)
