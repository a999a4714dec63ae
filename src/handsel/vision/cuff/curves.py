"""Ways through points of the plane: the same way in even steps, and with its noise taken out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def even(path: FloatArray, count: int) -> FloatArray:
    """The same way in even steps.

    Parameters: path : (n, 2) float [any unit]; count of points.
    Returns: (count, 2) float, in the same unit.
    Raises: nothing of its own.
    Valid for: ways with some length.
    Source: own construction.
    Checked by: unit/test_vision_cuff.py
    """
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.linspace(0.0, walked[-1], count)
    return np.column_stack([np.interp(at, walked, path[:, k]) for k in range(2)])


def smoothed(path: FloatArray, half: int) -> FloatArray:
    """Each point a local straight-line fit over its neighbours; the ends keep their place as well as they can.

    Parameters: path : (n, 2) float [any unit], in even steps; half, neighbours on either side.
    Returns: (n, 2) float, in the same unit.
    Raises: nothing of its own.
    Valid for: curves that bend little over the neighbours.
    Source: local regression (Savitzky and Golay 1964, of second order).
    Checked by: unit/test_vision_cuff.py
    """
    if half < 2:
        return path
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    design = np.column_stack([np.ones_like(offsets), offsets, offsets**2])
    weights = np.linalg.pinv(design)[0]
    # Beyond the ends the way runs on as its own point mirror, which keeps end and direction.
    before = 2.0 * path[0] - path[half:0:-1]
    after = 2.0 * path[-1] - path[-2 : -half - 2 : -1]
    long = np.vstack([before, path, after])
    return np.column_stack([np.convolve(long[:, k], weights[::-1], mode="valid") for k in range(2)])
