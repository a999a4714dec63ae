"""What is seen within a part's outline: edges, steps and holes of its upper side, where its solid says they must be.

White on white, half an outline may be lost in light or in shadow, and a mirror image has nearly the same. What lies
within is lit otherwise than what lies beside it, whatever the paper's colour: edges that two seen faces share, and
edges behind which more of the part goes on. Those that the part itself hides from the camera are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, hypot, pi, radians, sqrt

import numpy as np
import numpy.typing as npt

from handsel.design.shapes import surface
from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView, shadow_mm
from handsel.vision.parts.kinds import Pose
from handsel.vision.parts.pull import Fit
from handsel.vision.parts.steps import (
    EDGE_PX,
    ONE_VOICE_MM,
    PRINT_MM,
    RANDOM_MM,
    SPACING_MM,
    signed_to,
    steps_at,
)

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_SHARP = cos(radians(35.0))  # faces that meet flatter show no edge
_RIM_MM = 1.0  # nearer to the outline it is the outline's own step that is read
_ON_MM = 0.05  # along a line, to tell its direction in the picture
_BEFORE_MM = 0.3  # a face so far before a point hides it; what meets in the point itself does not
_REACH_MM = 0.8  # how far off a step may be and still count half
# Measured on renders of white and grey parts: of true lines 4 % have no step and 3 of 5 lie closer than 0.1 mm to
# one; of wrong ones 27 % have none, and the others lie anywhere. Wear and layers are worse than renders: taken weaker.
_STRAY, _NO_STEP = 0.4, -0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Faces:
    """The triangles of a pose's solid, in the order of its skin's faces."""

    corners_mm: FloatArray  # (m, 3, 3)
    is_sharp: npt.NDArray[np.bool_]  # (e,) whether the faces at an edge meet sharply


@lru_cache(maxsize=256)
def _faces(pose: Pose) -> _Faces:
    points, triangles = surface(pose.solid)
    skin = pose.skin
    normals = skin.normals / np.maximum(np.linalg.norm(skin.normals, axis=1), 1e-12)[:, None]
    together = (normals[skin.faces[:, 0]] * normals[skin.faces[:, 1]]).sum(1)
    return _Faces(corners_mm=points[triangles], is_sharp=together < _SHARP)


def looked_inside(fit: Fit, patch: Patch, flat: Flat, view: MatView, *, print_ratio: float) -> Fit:
    """An explanation that also says what is seen within its outline.

    Parameters: fit, by its outline alone; patch that it explains; flat; view, of the same photo; print_ratio, size of
        the printed mat against what it should be [-].
    Returns: the fit with `says` and `most_says` of outline and inside together, and `inside_says` and
        `inside_most` of the inside alone.
    Raises: nothing of its own.
    Valid for: refined explanations; a part without any such edges stays as it is.
    Source: as `said_of`: a normal step mixed with stray ones, against a step anywhere; neighbours counted once.
    Checked by: unit/test_vision_parts_inside.py
    """
    points, normals = inner_lines(fit, view, print_ratio=print_ratio)
    if not len(points):
        return fit
    steps = steps_at(flat, patch, points, normals, _REACH_MM)
    read = ~steps.silent
    px_per_mm = min(flat.px_per_mm, view.px_per_mm_at(fit.at_mm))
    u = hypot(PRINT_MM, EDGE_PX / px_per_mm)
    peak = (1.0 - _STRAY) * RANDOM_MM / (u * sqrt(2 * pi))
    each = np.where(steps.there, np.log(peak * np.exp(-0.5 * (steps.off_mm / u) ** 2) + _STRAY), _NO_STEP)
    voice = SPACING_MM / ONE_VOICE_MM
    says, most = voice * float(each[read].sum()), voice * float(read.sum() * np.log(peak + _STRAY))
    return replace(
        fit,
        says=fit.says + says,
        most_says=fit.most_says + most,
        inside_says=says,
        inside_most=most,
    )


def inner_lines(fit: Fit, view: MatView, *, print_ratio: float) -> tuple[FloatArray, FloatArray]:
    """Places on the lines that a camera sees within a part's outline, and the direction across each line.

    Parameters: fit; view, of the same photo; print_ratio [-].
    Returns: (n, 2) float [mm], on the paper behind the lines, table frame, and (n, 2) float [-] of length 1.
    Raises: nothing of its own.
    Valid for: parts lower than the camera.
    Source: edges between two seen faces that meet sharply, or between a seen and an unseen one; hidden-line removal by
        a ray to each point.
    Checked by: unit/test_vision_parts_inside.py
    """
    pose, size = fit.pose, fit.scale / print_ratio
    c, s = np.cos(fit.turn_rad), np.sin(fit.turn_rad)
    turn = np.array([[c, s], [-s, c]])  # rows of points times this turn anticlockwise
    camera = np.r_[(view.at_mm[:2] - fit.at_mm) @ turn.T, view.at_mm[2]] / size
    skin, faces = pose.skin, _faces(pose)
    seen = skin.normals @ camera > skin.offsets
    one, other = seen[skin.faces[:, 0]], seen[skin.faces[:, 1]]
    lines = (one != other) | (one & other & faces.is_sharp)
    at, along = _spread(skin.points_mm[skin.edges[lines]], SPACING_MM / size)
    places = size * shadow_mm(at, camera) @ turn + fit.at_mm
    within = signed_to(places, fit.outline_mm) > _RIM_MM
    at, along, places = at[within], along[within], places[within]
    clear = ~_hidden(at, camera, faces.corners_mm[seen])
    at, along, places = at[clear], along[clear], places[clear]
    ways = size * shadow_mm(at + along, camera) @ turn + fit.at_mm - places
    length = np.linalg.norm(ways, axis=1)
    kept = length > 1e-6  # a line that runs straight at the camera has no direction across
    across = np.column_stack([ways[:, 1], -ways[:, 0]])[kept] / length[kept, None]
    return places[kept], across


def _spread(edges: FloatArray, spacing: float) -> tuple[FloatArray, FloatArray]:
    """Points at equal distances along edges, (k, 2, 3), as if they were one line, and a small way on along each."""
    ways = edges[:, 1] - edges[:, 0]
    lengths = np.linalg.norm(ways, axis=1)
    run = np.cumsum(lengths)
    at = np.arange(spacing / 2, run[-1], spacing)
    of = np.searchsorted(run, at)
    left = (run[of] - at) / np.maximum(lengths[of], 1e-9)
    return edges[of, 1] - left[:, None] * ways[of], ways[of] * (_ON_MM / np.maximum(lengths[of], 1e-9))[
        :, None
    ]


def _hidden(points: FloatArray, camera: FloatArray, corners: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points have a face between them and the camera: (n,)."""
    hidden = np.zeros(len(points), bool)
    spot, flat = shadow_mm(points, camera), shadow_mm(corners.reshape(-1, 3), camera).reshape(-1, 3, 2)
    low, high = flat.min(1), flat.max(1)
    p, f = np.nonzero(((spot[:, None] > low[None]) & (spot[:, None] < high[None])).all(2))
    if not len(p):
        return hidden
    a, b, c = np.moveaxis(flat[f], 1, 0)
    turns = [_cross(b - a, spot[p] - a), _cross(c - b, spot[p] - b), _cross(a - c, spot[p] - c)]
    covers = np.abs(np.sign(turns).sum(0)) == 3
    p, f = p[covers], f[covers]
    normal = np.cross(corners[f, 1] - corners[f, 0], corners[f, 2] - corners[f, 0])
    ray = points[p] - camera
    share = (normal * (corners[f, 0] - camera)).sum(1) / (normal * ray).sum(1)
    before = (1.0 - share) * np.linalg.norm(ray, axis=1) > _BEFORE_MM
    hidden[p[before]] = True
    return hidden


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
