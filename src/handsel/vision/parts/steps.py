"""Steps of light along a predicted outline: where they are, and what they say for it or against it.

Light is read along the normal of every point. Steps that other things make are told apart as far as they can be: a
part's own colour, or its darkness, names the step that is its edge and not its shadow's. Where printing lies below,
or another part in front, nothing is read: such a point is silent.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import NOISE, Patch
from handsel.vision.parts.kinds import even_points

FloatArray = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SPACING_MM = 0.7  # between points of an outline
ONE_VOICE_MM = 2.6  # neighbours nearer than this err together
PRINT_MM = 0.13  # by which printed edges stray: elephant's foot, layers
EDGE_PX = 0.30  # by which a read step strays
_REACH_MM = 2.2  # to either side of an outline that is searched
RANDOM_MM = 2 * _REACH_MM  # a step by chance may be anywhere in it
_STRAY = 0.06  # share of the points whose step belongs to something else
_NO_STEP = (-1.2, -0.35)  # what a point without any step says: on a clear outline, on a faint one
# Of the paper's light; noise asks for half of it. White on white: from 0.06 to 0.04 true outlines gain and others lose.
_LEAST_STEP = 0.04
_LUMA, _COLOUR_SAYS = np.array([0.299, 0.587, 0.114]), 0.8
_OUTSIDE = 0.55  # an outline point of the patch this far off [mm] is not explained
_BY_MASK_MM = 0.45  # a predicted point so near to what colour tells needs no step of light
# Where a thing's own colour ends, and how far from there its step of light may be: photo files keep colour at half the
# sharpness, so colour names the step and light says where it is.
_PEAK = 1  # places, half a pixel each, within which the slope of light has its own peak
_NAMED_MM, _NAMED_SHARE, _FULL_SHARE = 0.30, 0.21, 0.6
_SHADE, _DARKEST = 0.9, 2.6  # shadow and dark part, natural logarithms of light below the paper's
# As far inside what several things cover, and as near to printing, nothing is read.
_DEEP_MM, _CUT_MM = 1.0, 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """What was read at the points of an outline."""

    off_mm: FloatArray  # (n,) how far out along its normal each point's step is
    there: Flags  # (n,) whether there is one
    silent: Flags  # (n,) whether nothing can be read there


def outline_points(outline: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points at equal distances along an outline, and its outward normals there."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    return spread_along(outline, max(24, round(run / SPACING_MM)))[:2]


def spread_along(outline: FloatArray, count: int) -> tuple[FloatArray, FloatArray, float]:
    """Points at equal distances along an outline, its outward normals there, and its length [mm]."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    points = even_points(outline, count)
    along = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return points, np.column_stack([along[:, 1], -along[:, 0]]), run


def steps_at(flat: Flat, patch: Patch, points: FloatArray, normals: FloatArray, reach: float) -> Steps:
    """The step of light of each point of an outline.

    Parameters: flat; patch that the outline may be of; points, normals : (n, 2) float [mm], table frame; reach [mm],
        how far off a step may be and still count half.
    Returns: Steps.
    Raises: nothing of its own.
    Valid for: outlines within 2 mm of what they predict.
    Source: own construction: the strongest change of light nearby, its place from a parabola through three values.
    Checked by: unit/test_vision_parts.py
    """
    step = 0.5 / flat.px_per_mm
    offsets = np.arange(-_REACH_MM, _REACH_MM + step / 2, step)
    # In light itself, not its logarithm, a blurred step keeps its middle.
    light = flat.ratio_at(points[:, None] + offsets[None, :, None] * normals[:, None])
    light = 0.5 * light + 0.25 * (np.roll(light, 1, 0) + np.roll(light, -1, 0))
    gap = 2
    # Photo files keep colour at half the sharpness: it helps to see an edge, and says less of where it is.
    luma = light @ _LUMA
    own = light - luma[..., None]
    by_colour = np.linalg.norm(own[:, 2 * gap :] - own[:, : -2 * gap], axis=2) / sqrt(3.0)
    slope = np.hypot(luma[:, 2 * gap :] - luma[:, : -2 * gap], _COLOUR_SAYS * by_colour)
    # In shadow the same edge is a smaller step of light.
    lit = np.maximum(luma[:, 2 * gap :], luma[:, : -2 * gap])
    change = slope * 1.25 / (0.25 + np.clip(lit, 0.0, 1.0))
    at = offsets[gap:-gap]
    strong = _is_peak(change) & (change > max(_LEAST_STEP, 3.5 * flat.unlit / 2))
    near = np.exp(-0.5 * (at / reach) ** 2)
    likes = np.where(strong, np.minimum(change, 0.6) * near, 0.0)
    likes *= _named(light, patch, at, near, gap)
    there = likes.max(1) > 0
    off = _place_of(slope, likes.argmax(1), at)
    silent = silent_at(points, patch, flat)
    return Steps(off_mm=off, there=there & ~silent, silent=silent)


def _place_of(slope: FloatArray, near: npt.NDArray[np.intp], at: FloatArray) -> FloatArray:
    """Where the peak by a place is, between places, from the slope of light itself: (n,) [mm].

    What was made larger in shadow to find it leans to its dark side, by half a tenth of a millimetre.
    """
    rows = np.arange(len(slope))
    by = np.clip(near[:, None] + np.arange(-_PEAK, _PEAK + 1)[None], 1, slope.shape[1] - 2)
    k = by[rows, slope[rows[:, None], by].argmax(1)]
    a, b, c = slope[rows, k - 1], slope[rows, k], slope[rows, k + 1]
    bend = a - 2 * b + c
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (a - c) / np.where(np.abs(bend) > 1e-9, bend, 1.0), 0.0)
    return np.asarray(at[k] + np.clip(shift, -1, 1) * (at[1] - at[0]))


def _is_peak(values: FloatArray) -> Flags:
    peak = np.zeros_like(values, bool)
    peak[:, 1:-1] = (values[:, 1:-1] >= values[:, :-2]) & (values[:, 1:-1] > values[:, 2:])
    return peak


def _named(light: FloatArray, patch: Patch, at: FloatArray, near: FloatArray, gap: int) -> FloatArray:
    """How well each place agrees with where the thing's own colour ends, 1 where no colour tells: (n, k)."""
    if patch.tint is None and not patch.is_dark:
        return np.ones((len(light), len(at)))
    if patch.tint is not None:  # paper and its shadow have none of it
        most = float(np.linalg.norm(patch.tint))
        own = (light @ patch.tint) / most / (light.mean(2) + NOISE)  # the same on lit sides and on dark ones
    else:
        own = np.clip(-np.log(np.maximum(light.mean(2), 1e-3)), _SHADE, _DARKEST)
        most = _DARKEST - _SHADE
    ends = np.clip(own[:, : -2 * gap] - own[:, 2 * gap :], 0.0, _FULL_SHARE * most)
    ends = np.where(_is_peak(ends), ends, 0.0)
    there = ends.max(1) > _NAMED_SHARE * most
    spot = at[(ends * near).argmax(1)]
    named = np.exp(-0.5 * ((at[None] - spot[:, None]) / _NAMED_MM) ** 2)
    return np.where(there[:, None], named, 1.0)


def silent_at(points: FloatArray, patch: Patch, flat: Flat, *, beside: bool = False) -> Flags:
    """Where nothing can be read: on printing, and inside of what several things cover together.

    beside: of the points of what is seen, whose outline runs along such places where they cut it.
    """
    silent = flat.to_printing_mm(points) < (_CUT_MM if beside else 0.0)
    if patch.joined_mm is not None:
        deep = to_outline(points, patch.joined_mm) > _DEEP_MM
        silent |= deep & inside(points, patch.joined_mm)
    return np.asarray(silent)


def said_of(
    steps: Steps, points: FloatArray, patch: Patch, flat: Flat, outline: FloatArray, u: float
) -> tuple[float, float]:
    """Log likelihood ratio of a predicted outline against something unknown, and the share of it that is as predicted.

    Parameters: steps at points : (n, 2) float [mm] of the outline; patch; flat; outline : (m, 2) float [mm]; u [mm],
        standard uncertainty of one step.
    Returns: the ratio [-], and the share of the points not silent whose step, or whose colour's end, is there [-].
    Raises: nothing of its own.
    Valid for: refined explanations.
    Source: a normal step mixed with stray ones, against a step anywhere; neighbours counted once.
    Checked by: unit/test_vision_parts.py
    """
    read = ~steps.silent
    if not read.any():
        return 0.0, 0.0
    # Where colour has told the thing from its surroundings, a faint step there is no surprise.
    by_mask = np.zeros(len(points), bool)
    if patch.certain:
        dense = even_points(patch.outline_mm, max(200, 3 * len(points)))
        by_mask = to_outline(points, dense) < _BY_MASK_MM
    normal = np.exp(-0.5 * (steps.off_mm / u) ** 2) / (u * sqrt(2 * pi)) * RANDOM_MM
    each = np.where(steps.there, np.log((1 - _STRAY) * normal + _STRAY), _NO_STEP[0 if patch.certain else 1])
    each = np.where(by_mask, np.maximum(each, 0.0), each)
    says = float(each[read].sum()) * SPACING_MM / ONE_VOICE_MM
    if patch.certain:
        says = 0.5 * (says + _said_back(patch, flat, outline, u))
    good = steps.there & (np.abs(steps.off_mm) < 3.0 * u)
    return says, float((good | by_mask)[read].mean())


def most_said(steps: Steps, u: float, *, both: bool) -> float:
    """What all steps say when each is just where it should be.

    Parameters: steps; u [mm], standard uncertainty of one step; both, from the outline of what is seen too.
    Returns: the largest log likelihood ratio that `said_of` can give [-].
    Raises: nothing of its own.
    Valid for: u > 0.
    Source: as `said_of`, with every step at 0.
    Checked by: unit/test_vision_parts.py
    """
    mine = log((1 - _STRAY) * RANDOM_MM / (u * sqrt(2 * pi)) + _STRAY)
    back = log((1 - _STRAY) * RANDOM_MM / (hypot(u, _OUTSIDE) * sqrt(2 * pi)) + _STRAY)
    return float((~steps.silent).sum()) * SPACING_MM / ONE_VOICE_MM * (0.5 * (mine + back) if both else mine)


def _said_back(patch: Patch, flat: Flat, outline: FloatArray, u: float) -> float:
    """The same from what is seen of the thing itself: what lies outside the predicted outline is not explained."""
    ring = patch.outline_mm
    run = float(np.linalg.norm(np.roll(ring, -1, 0) - ring, axis=1).sum())
    mine = even_points(ring, max(24, round(0.85 * run / SPACING_MM)))
    off = to_outline(mine, even_points(outline, max(120, round(run / 0.25))))
    wide = hypot(u, _OUTSIDE)
    each = np.log(
        (1 - _STRAY) * np.exp(-0.5 * (off / wide) ** 2) / (wide * sqrt(2 * pi)) * RANDOM_MM + _STRAY
    )
    each = each[~silent_at(mine, patch, flat, beside=True)]
    return float(each.sum()) * SPACING_MM / ONE_VOICE_MM


def to_outline(points: FloatArray, outline: FloatArray) -> FloatArray:
    """Distance of points to the nearest of an outline's points.

    Parameters: points : (n, 2) float [mm]; outline : (m, 2) float [mm].
    Returns: (n,) float [mm].
    Raises: nothing of its own.
    Valid for: outlines with points so near each other as the distance must be good.
    Source: |a - b|^2 = a^2 + b^2 - 2 a b.
    Checked by: unit/test_vision_parts.py
    """
    square = (points**2).sum(1)[:, None] + (outline**2).sum(1)[None] - 2.0 * points @ outline.T
    result: FloatArray = np.sqrt(np.maximum(square.min(1), 0.0))
    return result


def signed_to(points: FloatArray, outline: FloatArray) -> FloatArray:
    """Distance from points to a closed line [mm], positive where the line runs outside of them."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    far = to_outline(points, even_points(outline, max(120, round(run / 0.25))))
    return np.where(inside(points, outline), far, -far)


def inside(points: FloatArray, ring: FloatArray) -> Flags:
    """Which points a closed line runs round."""
    (x, y), (xa, ya) = points.T[:, :, None], ring.T[:, None]
    xb, yb = np.roll(xa, -1, 1), np.roll(ya, -1, 1)
    spans = (ya > y) != (yb > y)
    rise = np.where(spans, yb - ya, 1.0)
    crossed = spans & (x < xa + (y - ya) * (xb - xa) / rise)
    return np.asarray(crossed.sum(1) % 2 == 1)
