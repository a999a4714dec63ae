"""A part's outline slid onto the outline of a patch: for patches that are one part, and show all of it."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.field import Field
from handsel.vision.parts.kinds import Pose, even_points, outline_seen
from handsel.vision.parts.steps import to_outline

FloatArray = npt.NDArray[np.float64]
Start = tuple[float, FloatArray, float]  # worse the higher; place [mm]; turn [rad]

_OTHER_FORM = 2.0  # lengths against widths that differ by so much are not the same form
_SAME_VIEW_MM = 0.5  # moved at its top by less, an outline is not predicted anew
_ROUND, _ROUNDISH = (
    1.25,
    1.6,
)  # lengths against widths below which an axis says nothing, or little, of the turn
_POINTS, _PULLS = 90, 6  # places along an outline that slides onto another; steps in which it does
_SLACK_MM, _FAR_MM = 1.5, 4.0  # so far off a point pulls less; farther is as bad as this
_HELD, _MOST_RAD = (
    np.diag([0.5, 0.5, 20.0]),
    0.3,
)  # what holds an outline's place and turn in a step; its largest turn
_VIEWS = 3  # times that a tall part's outline is predicted anew as it is slid


def long_axis(points: FloatArray) -> tuple[float, float]:
    """Direction of the longer axis of an outline's points, and how much longer it is.

    Parameters: points : (n, 2) float [mm].
    Returns: the direction, up to half a turn [rad], and the ratio of the longer spread to the shorter [-].
    Raises: nothing of its own.
    Valid for: at least three points, not all on one line.
    Source: principal axes of the second moments.
    Checked by: unit/test_vision_parts.py
    """
    d = points - points.mean(0)
    cov = d.T @ d
    values = np.linalg.eigvalsh(cov)
    return 0.5 * float(np.arctan2(2 * cov[0, 1], cov[0, 0] - cov[1, 1])), float(
        sqrt(values[1] / max(values[0], 1e-9))
    )


def laid_on(patch: Patch, field: Field, pose: Pose, scale: float, view: MatView) -> list[Start]:
    """Places and turns that lay a pose's outline on the patch's.

    Parameters: patch, with an outline of its own; field, of that outline; pose; scale [-]; view.
    Returns: up to two starts, with how far they miss [mm]; none for a pose of another form.
    Raises: nothing of its own.
    Valid for: patches of one part.
    Source: principal axes for the turn; Gauss-Newton on the distance to the outline; a tall part predicted anew.
    Checked by: unit/test_vision_parts.py
    """
    mine = even_points(patch.outline_mm, 120)
    axis, longer = long_axis(mine)
    own, own_longer = long_axis(even_points(pose.outline_mm, 120))
    if max(longer, own_longer) > _OTHER_FORM * min(longer, own_longer):
        return []
    turn = axis - own + _turns(min(longer, own_longer))
    middle = mine.mean(0)
    at, cost = np.tile(middle, (len(turn), 1)), np.zeros(len(turn))
    lift = lift_of(pose, view)
    still = np.arange(len(turn))
    for _ in range(_VIEWS):
        points = np.stack([_rough_points(pose, at[k], turn[k], scale, view) for k in still])
        shift = middle - points.mean(1)
        points += shift[:, None]
        pivot, before = points.mean(1), at[still]
        way, more, miss = pulled(field, points)
        slid = moved(points, pivot, way, more)
        back = np.array([(np.minimum(to_outline(mine[::2], s), _FAR_MM) ** 2).mean() for s in slid])
        cost[still] = np.sqrt(0.5 * miss**2 + 0.5 * back)
        at[still] = moved((before + shift)[:, None], pivot, way, more)[:, 0]
        turn[still] += more
        # From its new place a tall part looks another.
        still = still[lift * np.linalg.norm(at[still] - before, axis=1) >= _SAME_VIEW_MM]
        if not len(still):
            break
    best = cost.argsort(kind="stable")[:2]
    return [(float(cost[k]), at[k], float(turn[k])) for k in best]


def _turns(longer: float) -> FloatArray:
    """Turns from long axis on long axis that are tried [rad]: the rounder, the more."""
    if longer < _ROUND:
        return np.asarray(np.arange(12) * (pi / 6), float)
    aside = np.array([0.0] if longer >= _ROUNDISH else [0.0, -0.35, 0.35])
    return np.concatenate([aside, aside + pi])


def _rough_points(pose: Pose, at: FloatArray, turn: float, scale: float, view: MatView) -> FloatArray:
    outline = outline_seen(
        pose, at_mm=at, turn_rad=float(turn), camera_mm=view.at_mm, scale=scale, rough=True
    )
    return even_points(outline, _POINTS)


def lift_of(pose: Pose, view: MatView) -> float:
    """How far a part's top seems to move against its foot when it is moved, as a share."""
    return pose.height_mm / max(float(view.at_mm[2]) - pose.height_mm, 50.0)


def moved(points: FloatArray, pivot: FloatArray, shift: FloatArray, turn: FloatArray) -> FloatArray:
    """Points turned about pivots and shifted, each heap its own way.

    Parameters: points : (k, n, 2) float [mm]; pivot, shift : (k, 2) float [mm]; turn : (k,) float [rad],
        anticlockwise.
    Returns: (k, n, 2) float [mm].
    Raises: nothing of its own.
    Valid for: any points.
    Source: rotation in the plane.
    Checked by: unit/test_vision_parts.py
    """
    c, s = np.cos(turn), np.sin(turn)
    way = np.moveaxis(np.array([[c, s], [-s, c]]), -1, 0)
    result: FloatArray = (points - pivot[:, None]) @ way + (pivot + shift)[:, None]
    return result


def pulled(field: Field, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """How outlines move when they slide onto the field's outline.

    Parameters: field; points : (k, n, 2) float [mm], of k outlines.
    Returns: shifts (k, 2) float [mm]; turns (k,) float [rad] about each one's middle; what is left as distance,
        rms (k,) float [mm].
    Raises: nothing of its own.
    Valid for: outlines within some millimetres.
    Source: Gauss-Newton on the distance, far points weighing less; held weakly where nothing tells.
    Checked by: unit/test_vision_parts.py
    """
    pivot = points.mean(1)
    shift, turn = np.zeros_like(pivot), np.zeros(len(points))
    for _ in range(_PULLS):
        now = moved(points, pivot, shift, turn)
        off, along_x, along_y = np.moveaxis(field.at(field.slopes, now), -1, 0)
        arm_x, arm_y = np.moveaxis(now - (pivot + shift)[:, None], -1, 0)
        rows = np.stack([along_x, along_y, along_y * arm_x - along_x * arm_y], 1)  # (k, 3, n)
        weight = 1.0 / (1.0 + (off / _SLACK_MM) ** 2)
        weighed = rows * weight[:, None]
        normal = weighed @ rows.transpose(0, 2, 1) + _HELD
        step = np.linalg.solve(normal, -weighed @ off[..., None])[..., 0]
        shift, turn = shift + step[:, :2], turn + np.clip(step[:, 2], -_MOST_RAD, _MOST_RAD)
    off = field.at(field.signed, moved(points, pivot, shift, turn))
    return shift, turn, np.sqrt((np.minimum(np.abs(off), _FAR_MM) ** 2).mean(1))
