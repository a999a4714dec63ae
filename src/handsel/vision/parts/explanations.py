"""What may explain a patch at the ordered size, the best first.

A patch with an outline of its own is explained by that alone. Of a faint one, what is seen within the outline is asked
too, and what the search has missed is tried in the place of the best: its other faces, and kinds that are like it.
"""

from __future__ import annotations

from math import pi

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.fit import fits_of
from handsel.vision.parts.inside import looked_inside
from handsel.vision.parts.kinds import Kind, Pose, even_points
from handsel.vision.parts.print_size import PrintScale
from handsel.vision.parts.pull import Fit, as_ordered, pose_span_mm
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.slide import long_axis

FloatArray = npt.NDArray[np.float64]

LEAST_SAID = 12.0  # by an outline that is to be any part's
HOPELESS = 25.0  # an explanation this far behind needs no size of its own
SAYS_ALL = 0.6  # of what an outline can say at most, from which nothing else is tried
_LOOKED_INSIDE = 12  # explanations whose inside is looked at
_TURNED_OVER = 3  # explanations that are tried on the part's other faces
_LIKE_AREA = (0.6, 1.6)  # areas of another kind that may be taken for it, as a share
_ALIKE_AREA = (0.75, 1.33)  # the same of faces of one part that look alike
_ONE_PLACE_MM = 1.5  # nearer than this, at a part's end, it is found already


def explanations(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Fit]:
    """What may explain a patch at the ordered size.

    Parameters: patch; kinds of the kit; flat, view and printed of the same photo.
    Returns: Fits, those that say most first.
    Raises: nothing of its own.
    Valid for: parts that stand apart, and pieces of several that do.
    Source: own construction; see the module.
    Checked by: unit/test_vision_parts.py
    """
    found = list(fits_of(patch, kinds, flat, view, print_ratio=printed.ratio))
    if patch.certain or not found:
        return found
    found += _turned_over(patch, found, kinds, flat, view, printed)
    found.sort(key=lambda f: -f.says)
    best = found[0].says
    looked = [
        looked_inside(f, patch, flat, view, print_ratio=printed.ratio) if f.says > best - HOPELESS else f
        for f in found[:_LOOKED_INSIDE]
    ]
    # Where no explanation has its lines, light may have washed them out: then outlines are all there is.
    shows_inside = any(f.inside_says > 0.0 for f in looked)
    if not shows_inside:
        looked = found[:_LOOKED_INSIDE]
    first = max(looked, key=lambda f: f.says)
    if LEAST_SAID < first.says < SAYS_ALL * first.most_says:
        like = _like_it(patch, first, kinds, flat, view, printed)
        if shows_inside:
            like = [looked_inside(f, patch, flat, view, print_ratio=printed.ratio) for f in like]
        looked += like
    return sorted(looked + found[_LOOKED_INSIDE:], key=lambda f: -f.says)


def _like_it(
    patch: Patch, first: Fit, kinds: tuple[Kind, ...], flat: Flat, view: MatView, printed: PrintScale
) -> list[Fit]:
    """Other kinds in the place of an explanation that does not say all, at either end of it and in its middle.

    A short tip fits half of a long one's outline: where the search missed the one, the other must not stand alone.
    """
    base = 1.0 / printed.ratio
    own_axis, own_mm = _length(first.pose)
    more: list[Fit] = []
    for index, kind in enumerate(kinds):
        for pose in kind.poses if index != first.kind else ():
            if not _LIKE_AREA[0] < _area_ratio(pose, first.pose) < _LIKE_AREA[1]:
                continue
            axis, length_mm = _length(pose)
            along = np.array([np.cos(first.turn_rad + own_axis), np.sin(first.turn_rad + own_axis)])
            for turn in (first.turn_rad + own_axis - axis + half for half in (0.0, pi)):
                for end in (-0.5, 0.0, 0.5):
                    at = first.at_mm + end * base * (own_mm - length_mm) * along
                    one = as_ordered(
                        patch, flat, view, index=index, pose=pose, at_mm=at, turn_rad=turn, base=base
                    )
                    if one is not None and one.says > 0.0:
                        more.append(one)
    return more


def _turned_over(
    patch: Patch,
    found: list[Fit],
    kinds: tuple[Kind, ...],
    flat: Flat,
    view: MatView,
    printed: PrintScale,
) -> list[Fit]:
    """The best explanations once more on the part's other faces: one may have found the place, and another be true."""
    base = 1.0 / printed.ratio
    more: list[Fit] = []
    for fit in sorted(found, key=lambda f: -f.says)[:_TURNED_OVER]:
        reach = pose_span_mm(fit.pose) / 2
        for pose in kinds[fit.kind].poses:
            if pose is fit.pose or not _ALIKE_AREA[0] < _area_ratio(pose, fit.pose) < _ALIKE_AREA[1]:
                continue
            level = fit.turn_rad + _axis_rad(fit.pose) - _axis_rad(pose)
            for turn in (level, level + pi):
                known = [f for f in (*found, *more) if f.pose is pose]
                if any(_at_one_place(f, fit.at_mm, turn, reach) for f in known):
                    continue
                one = as_ordered(
                    patch, flat, view, index=fit.kind, pose=pose, at_mm=fit.at_mm, turn_rad=turn, base=base
                )
                if one is not None:
                    more.append(one)
    return more


def _axis_rad(pose: Pose) -> float:
    return long_axis(even_points(pose.outline_mm, 120))[0]


def _length(pose: Pose) -> tuple[float, float]:
    """Direction of a pose's longer axis, and how long it is along it [mm]."""
    axis = _axis_rad(pose)
    return axis, float(np.ptp(pose.outline_mm @ np.array([np.cos(axis), np.sin(axis)])))


def _area_ratio(pose: Pose, other: Pose) -> float:
    return ring_area_mm2(pose.outline_mm) / ring_area_mm2(other.outline_mm)


def _at_one_place(fit: Fit, at_mm: FloatArray, turn_rad: float, reach_mm: float) -> bool:
    turned = abs((fit.turn_rad - turn_rad + pi) % (2 * pi) - pi)
    return float(np.linalg.norm(fit.at_mm - at_mm)) + reach_mm * turned < _ONE_PLACE_MM
