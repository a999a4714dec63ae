"""Several quantities read together: their means, and how the readings move together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.arrays import FloatArray, Matrix


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointMeans:
    """Means of quantities that were read at the same time."""

    values: FloatArray        # (m,) means
    covariance: FloatArray    # (m, m) covariance of the means
    dof: float                # degrees of freedom of each [-]

    @property
    def u(self) -> FloatArray:
        """(m,) standard uncertainties of the means."""
        return np.sqrt(np.diag(self.covariance))


def simultaneous(readings: Matrix, *, origin: str) -> JointMeans:
    """Means of repeated simultaneous readings, with the covariance of the means.

    Parameters: readings : (n, m) float, one row for each occasion, one column for each quantity;
        origin, for messages.
    Returns: JointMeans with n - 1 degrees of freedom.
    Raises: OutOfRange for fewer than two rows, rows of different lengths, or gaps.
    Valid for: occasions independent of each other; errors common to all rows are not seen here.
    Source: JCGM 100:2008 5.2.3 (17), H.2.2.
    Checked by: published/test_metrology_impedance.py
    """
    try:
        table = np.asarray(readings, dtype=float)
    except (TypeError, ValueError):
        raise OutOfRange("rows differ in length or hold something that is no number", where=origin,
                         do="Give one row for each occasion and a number for each quantity.") from None
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 1 or not np.isfinite(table).all():
        raise OutOfRange(f"readings have shape {table.shape} or a gap; expected two rows or more",
                         where=origin, do="Read all of them together at least twice.")
    n = table.shape[0]
    mean = table.mean(axis=0)
    apart = table - mean
    covariance = apart.T @ apart / (n * (n - 1))
    for array in (mean, covariance):
        array.flags.writeable = False
    return JointMeans(values=mean, covariance=covariance, dof=float(n - 1))
