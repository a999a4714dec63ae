"""Which ways a small flat thing may lean: two of them look alike in one photo, up to perspective."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CELL_MM
from handsel.vision.edges import EdgeReadings

FloatArray = npt.NDArray[np.float64]


def start_poses(
    card: EdgeReadings, f_px: float, size_px: tuple[int, int]
) -> tuple[FloatArray, FloatArray, float]:
    """The two ways a card may lean that look alike up to perspective, and where it is.

    Parameters: card; f_px [px]; size_px, width and height of the picture [px].
    Returns: as leans.
    Raises: nothing of its own.
    Valid for: as leans.
    Source: as leans.
    Checked by: unit/test_vision_solving.py
    """
    to_mm = np.diag([1.0 / CELL_MM, -1.0 / CELL_MM, 1.0])
    return leans(card.homography @ to_mm, f_px, (np.array(size_px) - 1.0) / 2.0)


def leans(h: FloatArray, f_px: float, centre: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """The two ways a flat thing may lean that look alike at its middle.

    Parameters: h : (3, 3) float [-], from the thing (mm, x right, y up) to the picture (px); f_px [px];
        centre : (2,) float [px], the optical centre.
    Returns: (2, 3, 3) float [-], turns in the camera frame; (2,) float [-], the direction of its origin as
        tangents; the distance of its origin along the view [mm].
    Raises: nothing of its own.
    Valid for: no distortion. Only the scale at the origin is used, so noise across a large thing is not evened out.
    Source: own construction: the singular values of the scale at the origin, seen from straight ahead, give the
        lean up to sign.
    Checked by: published/test_vision_calibration.py, unit/test_vision_solving.py
    """
    at = (h[:2, 2] / h[2, 2] - centre) / f_px
    local = (h[:2, :2] - np.outer(h[:2, 2] / h[2, 2], h[2, :2])) / h[2, 2] / f_px
    # Turn the camera so that the card is on its axis: what is seen there is a turned square, foreshortened.
    ray = np.array([at[0], at[1], 1.0])
    ray /= np.linalg.norm(ray)
    axis = np.cross([0.0, 0.0, 1.0], ray)
    sine = float(np.linalg.norm(axis))
    toward = _turn_to(axis, sine, float(ray[2]))
    jacobian = np.array([[1.0, 0.0, -at[0]], [0.0, 1.0, -at[1]]]) @ toward[:, :2] * ray[2]
    seen = np.linalg.solve(jacobian, local)
    largest = float(np.linalg.svd(seen, compute_uv=False)[0])
    flat = seen / largest
    third = np.sqrt(np.maximum(1.0 - (flat**2).sum(0), 0.0))
    if flat[:, 0] @ flat[:, 1] > 0.0:
        third[1] = -third[1]
    poses = []
    for sign in (1.0, -1.0):
        columns = np.vstack([flat, sign * third])
        u, _, vt = np.linalg.svd(columns, full_matrices=False)
        columns = u @ vt
        poses.append(toward @ np.column_stack([columns, np.cross(columns[:, 0], columns[:, 1])]))
    return np.array(poses), at, float(ray[2] / largest)


def _turn_to(axis: FloatArray, sine: float, cosine: float) -> FloatArray:
    if sine < 1e-12:
        return np.eye(3)
    x, y, z = axis / sine
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    result: FloatArray = np.eye(3) + sine * k + (1 - cosine) * (k @ k)
    return result
