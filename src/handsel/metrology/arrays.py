"""Lists and matrices of numbers that come from outside, checked before anything is made of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from handsel.errors import OutOfRange

FloatArray = npt.NDArray[np.float64]
Vector = Sequence[float] | FloatArray
Matrix = Sequence[Sequence[float]] | FloatArray


def vector(values: Vector, name: str) -> FloatArray:
    """A one-dimensional array of finite numbers, at least one.

    Parameters: values as they came; name for the message.
    Returns: (n,) float.
    Raises: OutOfRange otherwise.
    Valid for: short lists of numbers.
    Source: own rule.
    Checked by: unit/test_metrology_errors.py
    """
    try:
        found = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise OutOfRange(f"{name} holds something that is no number", where=name,
                         do="Type it again.") from None
    if found.ndim != 1 or found.size == 0 or not np.isfinite(found).all():
        raise OutOfRange(f"{name} has shape {found.shape} or a gap; expected a plain list of numbers",
                         where=name, do="Give at least one number and no gaps.")
    return found


def checked_covariance(matrix: Matrix, n: int) -> FloatArray:
    """A covariance matrix: n by n, symmetric, no direction with negative variance.

    Parameters: matrix as it came; n, the number of inputs.
    Returns: (n, n) float.
    Raises: OutOfRange otherwise.
    Valid for: any units; the check scales each input by its own u.
    Source: JCGM 100:2008 C.3.6; definition of a covariance matrix.
    Checked by: unit/test_metrology_errors.py
    """
    where, do = "covariance", "Check its entries; correlations lie between -1 and 1 and must fit together."
    try:
        v = np.asarray(matrix, dtype=float)
    except (TypeError, ValueError):
        raise OutOfRange("the matrix holds something that is no number", where=where, do=do) from None
    if v.shape != (n, n) or not np.isfinite(v).all():
        raise OutOfRange(f"the matrix has shape {v.shape} or a gap; expected {(n, n)}", where=where, do=do)
    variance = np.diag(v)
    if (variance < 0).any():
        raise OutOfRange("a variance is negative", where=where, do=do)
    u = np.sqrt(variance)
    scaled = v / np.outer(np.where(u > 0, u, 1.0), np.where(u > 0, u, 1.0))
    if np.abs(scaled - scaled.T).max() > 1e-9 or np.linalg.eigvalsh(scaled).min() < -1e-9 * n:
        raise OutOfRange("the matrix is not symmetric or its correlations contradict each other",
                         where=where, do=do)
    return v


def checked_correlation(matrix: Matrix, n: int) -> FloatArray:
    """A correlation matrix: a covariance matrix with ones on its diagonal.

    Parameters: matrix as it came; n, the number of inputs.
    Returns: (n, n) float [-].
    Raises: OutOfRange otherwise.
    Valid for: any inputs.
    Source: JCGM 100:2008 5.2.2 (14).
    Checked by: unit/test_metrology_errors.py
    """
    r = checked_covariance(matrix, n)
    if np.abs(np.diag(r) - 1.0).max() > 1e-9:
        raise OutOfRange("the diagonal is not all ones", where="correlation",
                         do="Each input is fully correlated with itself: put 1 there.")
    return r
