"""From where a photo looks into a cuff, and the cuff's end as it would look from straight ahead.

A cuff is nearly a prism. Seen along its axis, the far end of its inner side is the near end drawn together toward one
point of the picture, where all lines along the cuff would meet:

    near |\\        /|      far point = near point + k * (foot - near point)
         | \\......  |      k = length / (distance + length)
         |  .foot . |      foot: where a line from the camera along the cuff meets the plane of its near end
         '----------'

That point and the focal length tell which way the end faces, and a turn of the camera undoes the perspective.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, hypot

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import Lens, focal_px
from handsel.vision.cuff.curves import even
from handsel.vision.cuff.outline import RIM_RATIO, CuffOutline

FloatArray = npt.NDArray[np.float64]

_POINTS = 90
_ENDS = 0.06  # share of the outline at either tip that has no far end of its own
_ROUNDS = 12
_GATES = (0.30, 0.05)  # of the width, first and last: how far a far edge may lie from where it is thought
_ALIKE = 0.85  # cosine between both edges' directions
_EDGE = 0.012  # of the width: how well a far edge is found, and how far a cuff is from a prism
_RUNS = 8.0  # pieces of the outline that are wrong independently of each other
_U_TAPER = 0.035  # of the width on either side: how much narrower or wider the far end may be
_U_UNLIKE = 0.016  # of the width: by how much more on one side than on the other
_LONG, _U_LONG = 1.27, 0.2  # a cuff's length over its width, and how far off that may be, as a share
_U_TOLD_MM = 3.0  # of a length that was told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foot:
    """Where lines along the cuff meet in the picture."""

    at_px: FloatArray  # (2,)
    u_px: FloatArray  # (2, 2) its standard uncertainty as two vectors, one a row
    depth_ratio: float  # k: how far the far end is drawn toward it
    alone_ratio: (
        float  # longest stretch of the near edge that nothing at the far end goes with, over all of it
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """A turn of the camera about its own centre that makes it look along the cuff."""

    turn: FloatArray  # (3, 3)
    f_px: float
    centre_px: FloatArray  # (2,) the picture's middle

    def ahead(self, points: FloatArray) -> FloatArray:
        """From the picture to the view from straight ahead; (n, 2) [px] both."""
        return self._turned(points, self.turn)

    def back(self, points: FloatArray) -> FloatArray:
        """From straight ahead to the picture; (n, 2) [px] both."""
        return self._turned(points, self.turn.T)

    def _turned(self, points: FloatArray, turn: FloatArray) -> FloatArray:
        rays = np.column_stack([(points - self.centre_px) / self.f_px, np.ones(len(points))]) @ turn.T
        return np.asarray(self.centre_px + self.f_px * rays[:, :2] / rays[:, 2:])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """From where the photo looks, and from where else it may look."""

    level: Level
    others: tuple[
        tuple[Level, Level], ...
    ]  # each doubt by itself, one standard uncertainty one way and the other
    off_axis_ratio: (
        float  # of the foot from the middle between both tips, over half the width; + to the right
    )
    alone_ratio: float  # as Foot's

    @property
    def f_px(self) -> float:
        """Focal length [px]."""
        return self.level.f_px

    def ahead(self, points: FloatArray) -> FloatArray:
        """As Level.ahead."""
        return self.level.ahead(points)

    def back(self, points: FloatArray) -> FloatArray:
        """As Level.back."""
        return self.level.back(points)


def look_from(
    outline: CuffOutline,
    width_px: float,
    *,
    width_mm: float,
    length_mm: float | None,
    lens: Lens,
    size_px: tuple[int, int],
) -> View:
    """From where a photo looks into the cuff.

    Parameters: outline; width_px [px] of the cuff's near end in the picture; width_mm [mm] of it; length_mm [mm] of
        the cuff, or None; lens; size_px, width and height of the picture.
    Returns: View.
    Raises: nothing of its own.
    Valid for: as find_foot.
    Source: as find_foot and level; a pinhole's similar triangles for the depth that is expected.
    Checked by: unit/test_vision_cuff_view.py, docs/studies/cuff.md
    """
    guesses = lens.guesses()
    whole = sum(g.weight for g in guesses)
    log_f = sum(g.weight * g.log_f35 for g in guesses) / whole
    u_log_f = (sum(g.weight * (g.sd**2 + (g.log_f35 - log_f) ** 2) for g in guesses) / whole) ** 0.5
    f_px = focal_px(exp(log_f), *size_px)
    long_mm, u_long = (
        (_LONG * width_mm, _U_LONG) if length_mm is None else (length_mm, _U_TOLD_MM / length_mm)
    )
    ratio = long_mm * width_px / (f_px * width_mm)  # of length and distance
    depth = ratio / (1.0 + ratio)
    foot = find_foot(
        outline.outside_px,
        outline.inside_px,
        rim=RIM_RATIO * width_px,
        depth_ratio=depth,
        u_depth_ratio=depth * (1.0 - depth) * hypot(u_long, u_log_f),
    )
    doubts = [foot.at_px + sign * part for part in foot.u_px for sign in (-1.0, 1.0)]
    levels = [level(at, f_px=f_px, size_px=size_px) for at in doubts]
    levels += [level(foot.at_px, f_px=f_px * exp(sign * u_log_f), size_px=size_px) for sign in (-1.0, 1.0)]
    first, last = outline.outside_px[0], outline.outside_px[-1]
    rightward = (last - first) * (1.0 if last[0] >= first[0] else -1.0) / np.linalg.norm(last - first)
    off = float((foot.at_px - (first + last) / 2.0) @ rightward) / (width_px / 2.0)
    return View(
        level=level(foot.at_px, f_px=f_px, size_px=size_px),
        others=tuple(zip(levels[::2], levels[1::2], strict=True)),
        off_axis_ratio=off,
        alone_ratio=foot.alone_ratio,
    )


def level(foot_px: FloatArray, *, f_px: float, size_px: tuple[int, int]) -> Level:
    """The turn after which a cuff with this foot is seen from straight ahead.

    Parameters: foot_px : (2,) float [px]; f_px [px], focal length; size_px, width and height of the picture.
    Returns: Level.
    Raises: nothing of its own.
    Valid for: pinhole cameras whose optical axis goes through the picture's middle.
    Source: Hartley and Zisserman 2004, Multiple View Geometry, 8.4 and 8.6: a camera that turns changes its picture by
        K R K^-1; the normal of a plane is K^-1 times the vanishing point of the lines along it.
    Checked by: unit/test_vision_cuff_view.py
    """
    centre = (np.array(size_px, dtype=np.float64) - 1.0) / 2.0
    along = np.append((foot_px - centre) / f_px, 1.0)
    along /= np.linalg.norm(along)
    ahead = np.array([0.0, 0.0, 1.0])
    axis, cosine = np.cross(along, ahead), float(along @ ahead)
    cross = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    return Level(turn=np.eye(3) + cross + cross @ cross / (1.0 + cosine), f_px=f_px, centre_px=centre)


def find_foot(
    outside: FloatArray, inside: FloatArray, *, rim: float, depth_ratio: float, u_depth_ratio: float
) -> Foot:
    """Where lines along the cuff meet, from its outer edge and the edge of what is seen through it.

    Parameters: outside : (n, 2) float [px], from tip to tip round the back; inside : (m, 2) float [px], the edge of the
        opening; rim [px], thickness of the near end; depth_ratio [-], what length and distance let expect of the far
        end's nearness, and its standard uncertainty u_depth_ratio [-].
    Returns: Foot.
    Raises: nothing of its own.
    Valid for: cuffs that are prisms to within some millimetres, wider or narrower toward the far end.
    Source: own construction: least squares over foot, depth and taper, each far point matched anew along the near
        edge's normal; what is known beforehand of depth and taper counts as measurements of them.
    Checked by: unit/test_vision_cuff_view.py
    """
    path = even(outside, _POINTS)
    chord = path[-1] - path[0]
    width = float(np.linalg.norm(chord))
    across = chord / width
    size = max(width, float(np.ptp(path @ across)))
    middle = path.mean(0)
    mouth = (path[0] + path[-1]) / 2.0
    way = np.gradient(path, axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    inward = np.column_stack([-way[:, 1], way[:, 0]])
    if ((mouth - middle) * inward[_POINTS // 2 - 5 : _POINTS // 2 + 5].mean(0)).sum() < 0:
        inward = -inward
    ends = round(_ENDS * _POINTS)
    near = ((path - mouth) / size + rim / size * inward)[ends:-ends]
    inward = inward[ends:-ends]
    far = even(inside, 400)
    far_way = np.gradient(far, axis=0)
    far_way /= np.maximum(np.linalg.norm(far_way, axis=1, keepdims=True), 1e-9)
    far = (far - mouth) / size
    alike = np.abs(inward @ np.column_stack([-far_way[:, 1], far_way[:, 0]]).T) > _ALIKE
    side = -np.clip((near @ across) / 0.25, -1.0, 1.0)[:, None] * across
    # Unknown: k * foot (two), k, taper of either side.
    terms = np.column_stack([inward, -(near * inward).sum(1), (side * inward).sum(1)])
    known = np.diag([0.0, 0.0, 1.0 / u_depth_ratio**2, 1.0 / _U_TAPER**2])
    expected = np.array([0.0, 0.0, depth_ratio, 0.0])
    state = np.array([0.0, 0.0, depth_ratio, 0.0])  # looking at the middle of the mouth
    inverse, good = np.eye(4), np.ones(len(near), bool)
    for gate in np.geomspace(*_GATES, _ROUNDS):
        moved = near + state[None, :2] - state[2] * near + state[3] * side  # k * (foot - near), and the taper
        gaps = np.where(alike, np.linalg.norm(far[None] - moved[:, None], axis=-1), np.inf)
        mine = gaps.argmin(1)
        good = gaps[np.arange(len(near)), mine] < gate
        shift = ((far[mine] - near) * inward).sum(1)
        left = shift - terms @ state
        weight = good * np.minimum(1.0, _EDGE / np.maximum(np.abs(left), 1e-9)) / _EDGE**2
        weight *= _RUNS / max(float(good.sum()), _RUNS)
        normal = terms.T @ (terms * weight[:, None]) + known + 1e-3 * np.eye(4)
        state = np.linalg.solve(normal, terms.T @ (weight * shift) + known @ expected)
        inverse = np.linalg.inv(normal)
    k = max(float(state[2]), 0.02)
    foot = state[:2] / k
    slope = np.column_stack([np.eye(2) / k, -foot / k, np.zeros(2)])
    spread = slope @ inverse @ slope.T + np.outer(across, across) * (_U_UNLIKE / k) ** 2 / 2.0
    values, vectors = np.linalg.eigh(spread)
    return Foot(
        at_px=mouth + foot * size,
        u_px=(vectors * np.sqrt(values)).T * size,
        depth_ratio=float(state[2]),
        alone_ratio=_longest_run(~good) / len(good),
    )


def _longest_run(flags: npt.NDArray[np.bool_]) -> int:
    """How many in a row are true, at most."""
    walls = np.flatnonzero(np.concatenate([[True], ~flags, [True]]))
    return int(np.diff(walls).max()) - 1
