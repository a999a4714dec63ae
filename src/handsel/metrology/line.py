"""A straight line through readings, with the uncertainty of everything it is used for."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.arrays import FloatArray, Vector, vector
from handsel.metrology.checks import number
from handsel.metrology.quantity import Quantity


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineFit:
    """y = intercept + slope * (x - x0)."""

    x0: float                  # where the intercept is taken, in the unit of x
    intercept: float           # in the unit of y
    slope: float               # unit of y per unit of x
    u_intercept: float         # in the unit of y
    u_slope: float             # unit of y per unit of x
    covariance: float          # of intercept and slope
    scatter: float             # s, standard deviation of the readings about the line, unit of y
    dof: float                 # n - 2 [-]
    residuals: FloatArray      # (n,) y - line, unit of y
    unit: str                  # of y
    origin: str

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope [-]; 0 when the points lie on the line exactly."""
        size = self.u_intercept * self.u_slope
        return self.covariance / size if size > 0 else 0.0

    def at(self, x: float) -> Quantity:
        """The line at x with its standard uncertainty, n - 2 degrees of freedom."""
        x = number(x, "x", where=self.origin)
        away = x - self.x0
        variance = self.u_intercept ** 2 + (away * self.u_slope) ** 2 + 2 * away * self.covariance
        return Quantity(value=self.intercept + away * self.slope, u=sqrt(max(variance, 0.0)), dof=self.dof,
                        unit=self.unit, origin=self.origin)


def fit_line(x: Vector, y: Vector, *, unit: str, origin: str,
             x0: float = 0.0) -> LineFit:
    """The least-squares line, its uncertainty taken from the scatter about it.

    Parameters: x : (n,) float, known well; y : (n,) float, all with the same scatter; unit of y;
        origin; x0, where the intercept is taken, in the unit of x.
    Returns: LineFit with residuals and n - 2 degrees of freedom.
    Raises: OutOfRange for fewer than three points, unequal lengths, gaps, or all x alike.
    Valid for: errors of x small beside those of y; a common error of y is not seen here.
    Source: JCGM 100:2008 H.3.2 (H.13a to H.13g). Sums are taken about the mean of x, which is the
        same formula without its cancellation.
    Checked by: published/test_metrology_line.py
    """
    xs, ys = vector(x, "x"), vector(y, "y")
    x0 = number(x0, "x0", where=origin)
    n = xs.size
    if n != ys.size or n < 3:
        raise OutOfRange(f"{n} values of x and {ys.size} of y; expected as many, three or more",
                         where=origin, do="Give pairs; two points fit any line and say nothing of its error.")
    centre = xs.mean()
    spread = float(((xs - centre) ** 2).sum())
    if spread <= (1e-12 * (abs(centre) + float(np.ptp(xs)))) ** 2 * n:
        raise OutOfRange("all x are alike", where=origin, do="Read at two different x or more.")
    slope = float(((xs - centre) * (ys - ys.mean())).sum()) / spread
    middle = float(ys.mean())
    residuals = ys - middle - slope * (xs - centre)
    variance = float((residuals ** 2).sum()) / (n - 2)
    lever = x0 - float(centre)
    residuals.flags.writeable = False
    return LineFit(x0=x0, intercept=middle + slope * lever, slope=slope,
                   u_intercept=sqrt(variance * (1 / n + lever ** 2 / spread)),
                   u_slope=sqrt(variance / spread), covariance=variance * lever / spread,
                   scatter=sqrt(variance), dof=float(n - 2), residuals=residuals, unit=unit, origin=origin)
