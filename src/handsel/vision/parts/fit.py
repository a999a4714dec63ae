"""Which part, lying how and where, explains an outline: the kinds and poses of its size, looked for and looked at.

First roughly (`search`), then the best few finely (`pull`).
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.field import Field, field_of
from handsel.vision.parts.kinds import Kind, Pose, even_points, outline_seen
from handsel.vision.parts.pull import LEAST_STEPS, Fit, refined
from handsel.vision.parts.search import along_joined, searched
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.slide import laid_on, long_axis
from handsel.vision.parts.steps import SPACING_MM, silent_at

FloatArray = npt.NDArray[np.float64]

# Areas of a patch against a part's predicted one that are looked at: a mask may lose a rim, and a faint one is
# part and shadow together, or several parts that one shadow joins. Narrower, and true parts are missed.
_CLEAR_AREA, _FAINT_AREA = (0.60, 1.55), (0.60, 4.5)
_REST_AREA = (0.60, 12.0)  # the same of what a part leaves over, which may be several and its shadow
_LEAST_SHOWN = 0.3  # the same of a piece that others hide: of less no part can be called right
_ANY_SIZE = (0.36, 2.6)  # the same where a part may have another size: lengths from 0.6 to 1.6
_FAR_WORSE = 3.0  # times the best rough miss: what misses more is not looked at finely
_MOST_FITS = 8
# Starts that are looked at finely. On a faint patch long outlines find most edges by chance, and true ones come late.
_MOST_TRIED, _MOST_TRIED_FAINT, _MOST_TRIED_SIZES = 8, 36, 4
_OF_A_POSE, _OF_A_POSE_FAINT = 2, 4  # starts of one pose among them


def fits_of(
    patch: Patch,
    kinds: tuple[Kind, ...],
    flat: Flat,
    view: MatView,
    *,
    print_ratio: float,
    free_scale: bool = False,
) -> tuple[Fit, ...]:
    """The explanations of a patch by parts, the best first.

    Parameters: patch; kinds of the kit; flat; view, of the same photo; print_ratio, size of the printed mat
        against what it should be [-]; free_scale, whether the part may have another size than ordered.
    Returns: up to eight Fits of different kinds, poses and mirror images, by what they say; of a faint patch, which may
        hold several things, all that were looked at.
    Raises: nothing of its own.
    Valid for: parts that do not overlap in the picture, and pieces of several that do (`joined`).
    Source: own construction; see the module.
    Checked by: unit/test_vision_parts.py
    """
    # One printed millimetre is `print_ratio` true ones: true parts look larger on a mat that shrank.
    base = 1.0 / print_ratio
    rough = _rough(patch, kinds, flat, view, base, free_scale=free_scale)
    rough.sort(key=lambda r: r[0])
    found: list[Fit] = []
    per_pose: dict[int, int] = {}
    most = _MOST_TRIED_SIZES if free_scale else _MOST_TRIED if patch.certain else _MOST_TRIED_FAINT
    slid = patch.certain and not patch.is_partial  # their first number is a miss [mm]
    for cost, index, pose, at, turn, scale in rough:
        if len(found) >= most or (found and slid and cost > _FAR_WORSE * max(rough[0][0], 0.3)):
            break
        if per_pose.get(id(pose), 0) >= (_OF_A_POSE if slid else _OF_A_POSE_FAINT):
            continue
        per_pose[id(pose)] = per_pose.get(id(pose), 0) + 1
        fit = refined(
            patch,
            flat,
            view,
            index=index,
            pose=pose,
            at_mm=at,
            turn_rad=turn,
            scale=scale,
            free_scale=free_scale,
            base=base,
        )
        if fit is not None:
            found.append(fit)
    found.sort(key=lambda f: -f.says)
    return tuple(found[:_MOST_FITS] if patch.certain else found)


_Rough = tuple[float, int, Pose, FloatArray, float, float]  # worth, kind, pose, place, turn, scale


def _rough(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, base: float, *, free_scale: bool
) -> list[_Rough]:
    """Starts of every kind and pose that may be the patch, by its size."""
    partial = patch.is_partial
    if partial and free_scale:
        return []  # what is half hidden does not tell its size and its kind both
    field = field_of(flat, patch.joined_mm if partial and patch.joined_mm is not None else patch.outline_mm)
    edge = _own_edge(patch, flat) if partial else patch.outline_mm
    middle = patch.outline_mm.min(0) * 0.5 + patch.outline_mm.max(0) * 0.5
    extent = float(np.linalg.norm(np.ptp(patch.outline_mm, axis=0)))
    axis = long_axis(even_points(patch.outline_mm, 120))[0]
    rough: list[_Rough] = []
    if partial and len(edge) < LEAST_STEPS:
        return rough
    for index, kind in enumerate(kinds):
        # A part of another size is looked for as it is mostly laid.
        poses = [p for p in kind.poses if not free_scale or p.on_flat_side or p is kind.poses[0]]
        for pose in poses:
            if not partial and not _of_a_size(pose, patch.area_mm2, middle, view, free_scale=free_scale):
                continue
            turn = axis - long_axis(even_points(pose.outline_mm, 120))[0]
            outline = outline_seen(
                pose, at_mm=middle, turn_rad=turn, camera_mm=view.at_mm, scale=base, rough=True
            )
            ratio = patch.area_mm2 / ring_area_mm2(outline)
            least, most = _ANY_SIZE if free_scale else _areas(patch)
            least = _LEAST_SHOWN if partial else least
            if not least < ratio < most or (free_scale and not patch.certain):
                continue
            is_far_longer = float(np.linalg.norm(np.ptp(outline, axis=0))) > 1.35 * extent + 4.0
            if is_far_longer and not free_scale and not partial:
                continue
            scale = base * sqrt(ratio) if free_scale else base
            starts = _starts(patch, field, edge, pose, scale, view)
            rough += [(cost, index, pose, at, turn, scale) for cost, at, turn in starts]
    return rough


def _areas(patch: Patch) -> tuple[float, float]:
    return _CLEAR_AREA if patch.certain else _REST_AREA if patch.is_rest else _FAINT_AREA


def _starts(
    patch: Patch, field: Field, edge: FloatArray, pose: Pose, scale: float, view: MatView
) -> list[tuple[float, FloatArray, float]]:
    if patch.is_partial:
        box = (patch.outline_mm.min(0), patch.outline_mm.max(0))
        return along_joined(field, edge, pose, scale, view, covers=box)
    if patch.certain:
        return laid_on(patch, field, pose, scale, view)
    return searched(patch, field, pose, scale, view)


def _own_edge(patch: Patch, flat: Flat) -> FloatArray:
    """The points of a piece's outline that are the outer line of all that covers each other."""
    run = float(np.linalg.norm(np.roll(patch.outline_mm, -1, 0) - patch.outline_mm, axis=1).sum())
    points = even_points(patch.outline_mm, max(24, round(run / SPACING_MM)))
    return points[~silent_at(points, patch, flat, beside=True)]


def _of_a_size(pose: Pose, area_mm2: float, middle: FloatArray, view: MatView, *, free_scale: bool) -> bool:
    """Whether a part lying so can be what has this area at all: what its sides add is at most their whole width."""
    if free_scale:
        return True
    lift = pose.height_mm / max(float(view.at_mm[2]) - pose.height_mm, 50.0)
    least = ring_area_mm2(pose.outline_mm)
    across = float(np.linalg.norm(np.ptp(pose.outline_mm, axis=0)))
    aside = float(np.linalg.norm(middle - view.at_mm[:2]))
    most = least * (1.0 + lift) ** 2 + across * lift * aside
    return area_mm2 > 0.9 * _CLEAR_AREA[0] * least and area_mm2 < 1.1 * _REST_AREA[1] * most
