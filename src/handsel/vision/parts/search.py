"""Where a part that lies in a given way may be within a patch, roughly: places and turns worth a closer look.

On a patch with an outline of its own the part's outline is slid onto it (`slide`). Where a patch is part and shadow in
one, all places and turns are tried for edges of any sort. Where several parts cover each other in the picture, only the
outer line of them all is sure, and a part is looked for whose outline runs along much of it and nowhere beyond.
"""

from __future__ import annotations

from math import pi

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.field import SEARCH_MM, Field, Places
from handsel.vision.parts.kinds import Pose, even_points, outline_seen
from handsel.vision.parts.slide import Start, lift_of, long_axis, moved, pulled
from handsel.vision.parts.steps import spread_along

FloatArray = npt.NDArray[np.float64]

_SAME_VIEW_RAD = 0.15  # turned by less, an outline is not predicted anew
_POINTS, _EDGE_BY_CHANCE = 60, 0.25  # places along an outline; how steep they are by chance
_ON_MM, _BEYOND_MM = 1.0, 1.5  # so near, an outline runs along another; so far outside, it leaves it
_WITHIN = 0.88  # share of an outline that may not leave what it is part of
_COARSE_TURNS = 30  # of a whole turn, before an outline is slid
_TALL = 0.12  # share by which a part's top moves against its foot, from which it is seen anew in a search
# Of a search over all turns: starts kept of a turn, of all turns to be slid, and of a pose in the end. Neighbours in
# turn find one place again and again: starts nearer than this, at the part's end, are one.
_OF_A_TURN, _SLID, _OF_A_POSE, _ONE_PLACE_MM = 6, 12, 4, 2.0
# About a start, as far as the steps of the search are wide.
_NEAR_PX, _NEAR_TURNS_RAD = 2, np.radians((-5.0, -2.5, 0.0, 2.5, 5.0))
_VIEWS = 3  # times that a tall part's outline is predicted anew as it is slid


def _turned(
    points: FloatArray, normals: FloatArray, pivot: FloatArray, turn: float
) -> tuple[FloatArray, FloatArray]:
    """Points of an outline and its normals there, turned about a point."""
    none, by = np.zeros((1, 2)), np.array([turn])
    return moved(points[None], pivot[None], none, by)[0], moved(normals[None], none, none, by)[0]


def searched(patch: Patch, field: Field, pose: Pose, scale: float, view: MatView) -> list[Start]:
    """Places and turns within a patch that is part and shadow where edges run along a pose's outline.

    The first number is minus the length of outline [mm] that has an edge beyond chance.
    """
    low, high = patch.outline_mm.min(0), patch.outline_mm.max(0)
    middle = (low + high) / 2
    axis, longer = long_axis(even_points(patch.outline_mm, 120))
    own, own_longer = long_axis(even_points(pose.outline_mm, 120))
    turns = np.arange(45) * (2 * pi / 45)
    if min(longer, own_longer) > 1.5:
        half = np.arange(-5, 6) * np.radians(7.0)
        turns = axis - own + np.r_[half, half + pi]
    found = []
    step = round(SEARCH_MM * field.per_mm)
    for k, turn in enumerate(turns):
        if k % 2 == 0 or abs(turn - turns[k - 1]) > _SAME_VIEW_RAD:
            outline = outline_seen(
                pose, at_mm=middle, turn_rad=float(turn), camera_mm=view.at_mm, scale=scale, rough=True
            )
            points, normals, run = spread_along(outline, _POINTS)
        else:  # so little turned, the camera sees nearly the same
            points, normals = _turned(points, normals, middle, float(turn - turns[k - 1]))
        moves = _moves(low - 2.0 - points.min(0), high + 2.0 - points.max(0), field, step)
        at = field.index(points)
        if len(moves):
            moves = moves[(field.shifted(field.signed, at[::3], moves) < 1.0).mean(1) > 0.9]
        if not len(moves):
            continue
        cost = run * (_EDGE_BY_CHANCE - _edged(field, at, normals, moves))
        best = cost.argsort()[:_OF_A_TURN]
        found += [(float(cost[m]), middle + moves[m] / field.per_mm, float(turn)) for m in best]
    found.sort(key=lambda f: f[0])
    slid = [_slid(field, pose, start, scale, view) for start in apart(found, pose, _SLID)]
    slid.sort(key=lambda f: f[0])
    return apart(slid, pose, _OF_A_POSE)


def _edged(field: Field, at: Places, normals: FloatArray, moves: Places) -> FloatArray:
    """How steep light is across an outline that is moved m ways, on average: (m,)."""
    edge = field.shifted(field.steep_x, at, moves) * normals[:, 0]
    edge += field.shifted(field.steep_y, at, moves) * normals[:, 1]
    return np.asarray(np.minimum(np.abs(edge), 1.0).mean(1), float)


def apart(starts: list[Start], pose: Pose, most: int) -> list[Start]:
    """The first of those starts of a pose that are not one and the same place, up to so many."""
    reach = 0.5 * float(np.ptp(pose.outline_mm, axis=0).max())
    kept: list[Start] = []
    for start in starts:
        if len(kept) == most:
            break
        _, at, turn = start
        for _, other, its_turn in kept:
            turned = abs((turn - its_turn + pi) % (2 * pi) - pi)
            if float(np.linalg.norm(at - other)) + reach * turned < _ONE_PLACE_MM:
                break
        else:
            kept.append(start)
    return kept


def _slid(field: Field, pose: Pose, start: Start, scale: float, view: MatView) -> Start:
    """A start moved and turned to the best place near by: between those of a coarse search."""
    _, at, turn = start
    outline = outline_seen(pose, at_mm=at, turn_rad=turn, camera_mm=view.at_mm, scale=scale, rough=True)
    near = np.arange(-_NEAR_PX, _NEAR_PX + 1)
    moves = np.stack(np.meshgrid(near, near), -1).reshape(-1, 2)
    best = start
    straight, out, run = spread_along(outline, _POINTS)
    for more in _NEAR_TURNS_RAD:
        points, normals = _turned(straight, out, at, more)
        cost = run * (_EDGE_BY_CHANCE - _edged(field, field.index(points), normals, moves))
        m = int(cost.argmin())
        best = min(best, (float(cost[m]), at + moves[m] / field.per_mm, turn + more), key=lambda s: s[0])
    return best


def _moves(first_mm: FloatArray, last_mm: FloatArray, field: Field, step: int) -> Places:
    """All moves between two corners, in whole columns and rows: (m, 2)."""
    if (last_mm < first_mm).any():
        return np.empty((0, 2), np.intp)
    first, last = (np.rint(r * field.per_mm).astype(int) for r in (first_mm, last_mm))
    ways = (np.arange(a, b + 1, step) for a, b in zip(first, last, strict=True))
    return np.stack(np.meshgrid(*ways), -1).reshape(-1, 2)


def along_joined(
    field: Field,
    edge_mm: FloatArray,
    pose: Pose,
    scale: float,
    view: MatView,
    *,
    covers: tuple[FloatArray, FloatArray] | None = None,
    most: int = 3,
) -> list[Start]:
    """Places and turns at which a pose's outline runs along part of the outer line of several things, and not beyond.

    field: round all of them; edge_mm : (n, 2) [mm], points of the outer line that are to be explained; covers, low and
    high corner [mm] of a box that the outline must reach round; none: it must stay within that of all of them.
    The first number is minus the length of the pose's outline [mm] that runs along them.
    """
    box = (field.low, field.low + np.array([field.signed.shape[1], field.signed.shape[0]]) / field.per_mm)
    middle = edge_mm.mean(0) if covers is None else (covers[0] + covers[1]) / 2
    near = _near(field, edge_mm)
    found: list[Start] = []
    step = round(SEARCH_MM * field.per_mm)
    is_tall = lift_of(pose, view) > _TALL
    for turn in np.arange(_COARSE_TURNS) * (2 * pi / _COARSE_TURNS):
        at = middle
        if is_tall:  # so that the outline, not the foot, is about the middle
            at = 2 * middle - _predicted(pose, at, float(turn), scale, view)[0].mean(0)
        points, run = _predicted(pose, at, float(turn), scale, view)
        if covers is None:
            moves = _moves(box[0] - points.min(0), box[1] - points.max(0), field, 2 * step)
        else:
            moves = _moves(
                covers[1] - _BEYOND_MM - points.max(0), covers[0] + _BEYOND_MM - points.min(0), field, step
            )
        if len(moves):
            found += [(c, at + m, float(turn)) for c, m in _best_moves(field, near, points, run, moves)]
    found.sort(key=lambda f: f[0])
    polished = [_polished(field, near, pose, start, scale, view) for start in found[: 2 * most]]
    polished.sort(key=lambda f: f[0])
    return polished[:most]


def _predicted(
    pose: Pose, at: FloatArray, turn: float, scale: float, view: MatView
) -> tuple[FloatArray, float]:
    outline = outline_seen(pose, at_mm=at, turn_rad=turn, camera_mm=view.at_mm, scale=scale, rough=True)
    points, _, run = spread_along(outline, _POINTS)
    return points, run


def _near(field: Field, edge_mm: FloatArray) -> npt.NDArray[np.float32]:
    """Where on the field's grid points are near, by 1 and 0."""
    import cv2

    high, wide = field.signed.shape[:2]
    spots = np.ones((high, wide), np.uint8)
    index = field.index(edge_mm)
    spots[np.clip(index[:, 1], 0, high - 1), np.clip(index[:, 0], 0, wide - 1)] = 0
    far = np.asarray(cv2.distanceTransform(spots, cv2.DIST_L2, 5)) / field.per_mm
    return np.asarray(far < _ON_MM, np.float32)


def _best_moves(
    field: Field,
    near: npt.NDArray[np.float32],
    points: FloatArray,
    run: float,
    moves: Places,
) -> list[tuple[float, FloatArray]]:
    """The two best moves of an outline [mm], with minus the length of it that then runs along the outer line."""
    index = field.index(points)
    # Seen anew from elsewhere a tall outline changes: the first look is lenient.
    within = (field.shifted(field.signed, index[::3], moves) < 2 * _BEYOND_MM).mean(1)
    moves = moves[within > _WITHIN - 0.2]
    if not len(moves):
        return []
    along = field.shifted(near, index, moves).mean(1) * run
    return [(-float(along[m]), moves[m] / field.per_mm) for m in along.argsort()[::-1][:2]]


def _polished(
    field: Field,
    near: npt.NDArray[np.float32],
    pose: Pose,
    start: Start,
    scale: float,
    view: MatView,
) -> Start:
    """A start slid onto the outer line, its outline predicted anew after each slide."""
    _, at, turn = start
    best: Start = (0.0, at, turn)
    for _ in range(_VIEWS):
        points, run = _predicted(pose, at, turn, scale, view)
        shift, more, _ = pulled(field, points[None])
        at, turn = moved(at[None, None], points.mean(0)[None], shift, more)[0, 0], turn + float(more[0])
        points, run = _predicted(pose, at, turn, scale, view)
        within = float((field.at(field.signed, points) < _BEYOND_MM).mean())
        along = run * float(field.at(near, points).mean()) if within > _WITHIN else 0.0
        best = min(best, (-along, at, turn), key=lambda s: s[0])
    return best
