"""Which part, lying how and where, explains an outline: the solid's outline laid on the picture and pulled onto edges.

First roughly (`part_search`). Then the best few finely: along the normal of every point of the predicted outline the
step of light is looked for (`part_steps`), place and turn (and size, when asked) follow by least squares, and the
solid's outline is predicted anew from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat_flat import Flat
from handsel.vision.mat_patches import Patch
from handsel.vision.mat_view import MatView
from handsel.vision.part_field import Field, field_of
from handsel.vision.part_kinds import Kind, Pose, even_points, outline_seen
from handsel.vision.part_search import along_joined, laid_on, long_axis, searched
from handsel.vision.part_silhouette import ring_area_mm2
from handsel.vision.part_steps import (
    EDGE_PX,
    ONE_VOICE_MM,
    PRINT_MM,
    SPACING_MM,
    Steps,
    most_said,
    outline_points,
    said_of,
    signed_to,
    silent_at,
    steps_at,
)

FloatArray = npt.NDArray[np.float64]

# How far off a step may be and still count half [mm], round by round.
_CLEAR_REACHES, _FAINT_REACHES, _SETTLED = (
    (1.6, 1.2, 0.8, 0.6, 0.6),
    (1.3, 0.9, 0.7, 0.6, 0.6),
    (0.7, 0.6, 0.6),
)
_LAST_REACH = 0.8  # when it is asked how well all fits
_LEAST_STEPS = 12  # fewer points with a step tell neither place nor turn
# Areas of a patch against a part's predicted one that are looked at: a mask may lose a rim, and a faint one is
# part and shadow together. Narrower, and true parts under a hard lamp are missed.
_CLEAR_AREA, _FAINT_AREA = (0.60, 1.55), (0.60, 3.0)
_LEAST_SHOWN = 0.3  # the same of a piece that others hide: of less no part can be called right
_ANY_SIZE = (0.36, 2.6)  # the same where a part may have another size: lengths from 0.6 to 1.6
_TALL_MM = 0.15  # by which what is not known of the camera's height moves an outline before it is fitted too
_ANOTHER_VIEW = 0.08  # a part's top moved by so much against its foot [mm] is seen anew
_FAR_WORSE = 3.0  # times the best rough miss: what misses more is not looked at finely
_MOST_FITS = 8
# Starts that are looked at finely. On a faint patch long outlines find most edges by chance, and true ones come late.
_MOST_TRIED, _MOST_TRIED_FAINT, _MOST_TRIED_SIZES = 8, 30, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """One explanation of a patch."""

    kind: int  # index of the kind
    pose: Pose
    at_mm: FloatArray  # (2,) of the part's middle, table frame
    turn_rad: float
    scale: float  # against the ordered size
    u_scale: float  # standard uncertainty from the edges alone
    says: float  # log likelihood ratio against something unknown lying there
    most_says: float  # what an outline of this length says when all of it is where it should be
    matched_ratio: float  # share of the outline that can be seen whose step is where it should be
    shown_ratio: float  # share of the outline that can be seen: no printing below, no other part before it
    rms_mm: float  # of those
    outline_mm: FloatArray  # (n, 2) predicted, table frame


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
    Returns: up to eight Fits of different kinds, poses and mirror images, by what they say.
    Raises: nothing of its own.
    Valid for: parts that do not overlap in the picture, and pieces of several that do (`part_joined`).
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
        if per_pose.get(id(pose), 0) >= 2:
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
    return tuple(sorted(found, key=lambda f: -f.says)[:_MOST_FITS])


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
    if partial and len(edge) < _LEAST_STEPS:
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
            least, most = _ANY_SIZE if free_scale else _CLEAR_AREA if patch.certain else _FAINT_AREA
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
    return area_mm2 > 0.9 * _CLEAR_AREA[0] * least and area_mm2 < 1.1 * _FAINT_AREA[1] * most


def refined(
    patch: Patch,
    flat: Flat,
    view: MatView,
    *,
    index: int,
    pose: Pose,
    at_mm: FloatArray,
    turn_rad: float,
    scale: float,
    free_scale: bool,
    base: float,
    settled: bool = False,
) -> Fit | None:
    """One explanation pulled onto the steps of light, and what it says.

    Parameters: patch; flat; view; index of the kind; pose; at_mm : (2,) float [mm]; turn_rad [rad]; scale [-] in
        printed millimetres; free_scale; base, the scale that stands for the ordered size [-]; settled, whether it
        has been pulled onto the steps before and only the size is to be freed.
    Returns: Fit, or None when hardly a step is near.
    Raises: nothing of its own.
    Valid for: starts within about 2 mm.
    Source: Gauss-Newton with weights of a Student's kind.
    Checked by: unit/test_vision_parts.py
    """
    # Far from the camera a pixel covers more.
    u_point = hypot(PRINT_MM, EDGE_PX / min(flat.px_per_mm, view.px_per_mm_at(at_mm)))
    u_scale = 0.0
    reaches = _SETTLED if settled else _CLEAR_REACHES if patch.certain else _FAINT_REACHES

    camera = view.at_mm
    lift = pose.height_mm / max(float(camera[2]) - pose.height_mm, 50.0)
    aside = float(np.linalg.norm(at_mm - camera[:2])) + 0.5 * pose_span_mm(pose)
    # What the camera's own height leaves open moves a tall part's upper edges: they say how high it stood.
    u_lift = view.u_height_ratio * lift * (1.0 + lift) * aside
    is_tall, height_off = u_lift > _TALL_MM, 0.0

    def predicted(height_ratio: float = 0.0) -> FloatArray:
        at = camera * [1.0, 1.0, 1.0 + height_off + height_ratio]
        return outline_seen(pose, at_mm=at_mm, turn_rad=turn_rad, camera_mm=at, scale=scale)

    outline, strayed = predicted(), 0.0
    for reach in reaches:
        # A small move carries the outline along; after a large one the camera sees another.
        if strayed > _ANOTHER_VIEW:
            outline, strayed = predicted(), 0.0
        points, normals = outline_points(outline)
        steps = steps_at(flat, patch, points, normals, reach)
        off, there = steps.off_mm, steps.there
        if there.sum() < _LEAST_STEPS:
            return None
        pivot = points.mean(0)
        arm = points - pivot
        rows = np.column_stack([normals, arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]])
        if free_scale:
            rows = np.column_stack([rows, (arm * normals).sum(1)])
        if is_tall:
            higher = predicted(view.u_height_ratio)
            rows = np.column_stack([rows, signed_to(points, higher)])
        scatter = max(u_point, 1.0 * float(np.median(np.abs(off[there]))))
        weight = there / (1.0 + (off / (2.0 * scatter)) ** 2)
        normal = rows.T @ (rows * weight[:, None]) + 1e-6 * np.eye(rows.shape[1])
        right = rows.T @ (weight * np.where(there, off, 0.0))
        if is_tall:  # in units of what is known of the height beforehand, counted as neighbours are
            known = scatter**2 * ONE_VOICE_MM / SPACING_MM
            normal[-1, -1] += known
            right[-1] -= known * height_off / view.u_height_ratio
        step = np.linalg.solve(normal, right)
        if is_tall:
            height_off += view.u_height_ratio * min(max(float(step[-1]), -1.5), 1.5)
            strayed = 2 * _ANOTHER_VIEW
        more = min(max(float(step[2]), -0.2), 0.2)
        grow = 1.0 + (min(max(float(step[3]), -0.08), 0.08) if free_scale else 0.0)
        way = grow * np.array([[np.cos(more), np.sin(more)], [-np.sin(more), np.cos(more)]])
        at_mm = pivot + step[:2] + (at_mm - pivot) @ way
        outline = pivot + step[:2] + (outline - pivot) @ way
        turn_rad, scale = turn_rad + more, scale * grow
        # How far the top of the part moves against its foot, as the camera sees it.
        strayed += lift * (float(np.linalg.norm(step[:2])) + aside * (abs(more) + abs(grow - 1.0)))
        if free_scale:
            share = ONE_VOICE_MM / SPACING_MM
            u_scale = sqrt(float(np.linalg.inv(normal)[3, 3]) * share) * scatter
    outline = predicted()
    points, normals = outline_points(outline)
    steps = steps_at(flat, patch, points, normals, _LAST_REACH)
    u_all = u_point if is_tall else hypot(u_point, 0.5 * u_lift)
    says, matched = said_of(steps, points, patch, flat, outline, u_all)
    return Fit(
        kind=index,
        pose=pose,
        at_mm=at_mm,
        turn_rad=float(turn_rad % (2 * pi)),
        scale=scale / base,
        u_scale=u_scale / base,
        says=says,
        most_says=most_said(steps, u_all, both=patch.certain),
        matched_ratio=matched,
        shown_ratio=float((~steps.silent).mean()),
        rms_mm=_rms(steps, u_all),
        outline_mm=outline,
    )


def _rms(steps: Steps, u: float) -> float:
    """How far off those steps are that are where they should be [mm]."""
    good = steps.off_mm[steps.there & (np.abs(steps.off_mm) < 3.0 * u)]
    return sqrt(float((good**2).mean())) if len(good) else 3.0 * u


def foot_of(fit: Fit, print_ratio: float) -> FloatArray:
    """What a fitted part covers of the paper seen from straight above: (n, 2) [mm], table frame."""
    c, s = np.cos(fit.turn_rad), np.sin(fit.turn_rad)
    foot: FloatArray = fit.scale / print_ratio * fit.pose.outline_mm @ np.array([[c, s], [-s, c]]) + fit.at_mm
    return foot


def pose_span_mm(pose: Pose) -> float:
    """Longest side of the upright box round a pose's outline [mm]."""
    return float(np.ptp(pose.outline_mm, axis=0).max())
