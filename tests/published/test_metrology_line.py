"""Calibration line of a thermometer. JCGM 100:2008, H.3, Table H.6; data seen in an R package."""

import pytest

from handsel.metrology.line import fit_line

READ_DEGC = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTION_DEGC = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


@pytest.fixture(scope="module")
def line():
    return fit_line(READ_DEGC, CORRECTION_DEGC, x0=20, unit="degC", origin="thermometer")


def test_intercept_and_slope_with_their_uncertainties(line):
    assert round(line.intercept, 4) == -0.1712
    assert round(line.u_intercept, 4) == 0.0029
    assert round(line.slope, 5) == 0.00218
    assert round(line.u_slope, 5) == 0.00067
    assert round(line.correlation, 3) == -0.930
    assert round(line.scatter, 4) == 0.0035
    assert line.dof == 9


def test_correction_away_from_the_data(line):
    at_30 = line.at(30)
    assert round(at_30.value, 4) == -0.1494
    assert round(at_30.u, 4) == 0.0041
    assert at_30.dof == 9


def test_leaving_out_the_covariance_gives_another_uncertainty(line):
    # H.3.4 gives 0.0041 with the covariance; without it the sum of squares is 0.0073 (computed).
    assert round((line.u_intercept ** 2 + 100 * line.u_slope ** 2) ** 0.5, 4) == 0.0073
