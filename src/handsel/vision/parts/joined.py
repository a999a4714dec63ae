"""Several parts that cover each other in the picture, taken apart; and one that came in pieces, put together.

A palm stands a hand's breadth high, and from a camera near by its picture falls over what lies beside it. All of them
make one patch. The part whose outline runs along most of the outer line is found first; what it does not cover is one
piece for each thing that looks out from behind it, or lies before it. Each piece then has its own explanations
(`fit`), in which the inside of the whole patch says nothing, since edges between parts of one colour are faint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch, outlined
from handsel.vision.mat.view import MatView
from handsel.vision.parts.field import field_of
from handsel.vision.parts.kinds import Kind, Pose, even_points, outline_seen
from handsel.vision.parts.pull import Fit, as_ordered
from handsel.vision.parts.search import along_joined
from handsel.vision.parts.silhouette import ring_area_mm2
from handsel.vision.parts.steps import SPACING_MM, inside, to_outline

FloatArray = npt.NDArray[np.float64]

_FRONT = (0.35, 1.10)  # area of the first part against the whole
_TRIED = 6  # starts that are looked at finely
_BESIDE_MM = 0.9  # round the first part that may still be its own rim
_LEAST_MM2 = 12.0  # a smaller piece is a rim that was missed
_ONE_THING_MM, _GAP_POINTS = 4.0, 200  # pieces of one thing are nearer; places along an outline to tell it
_ROUND_MM = 30.0  # round a strip of a part, so that most parts lie within
_WELL = 0.85  # share of the outline that can be seen, from which the first part is found


def taken_apart(
    patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, *, print_ratio: float
) -> tuple[Patch, ...]:
    """The pieces of a patch that several parts make together.

    Parameters: patch, with an outline of its own; kinds of the kit; flat; view, of the same photo; print_ratio, size
        of the printed mat against what it should be [-].
    Returns: the first part's piece, then what it leaves over; none when no part is found to be the first, or nothing is
        left over.
    Raises: nothing of its own.
    Valid for: parts that stand apart; the first shows at least a third of the whole.
    Source: own construction.
    Checked by: unit/test_vision_parts_joined.py
    """
    front = _front(patch, kinds, flat, view, 1.0 / print_ratio)
    return () if front is None else left_over(patch, front, flat)


def left_over(patch: Patch, front: Fit, flat: Flat) -> tuple[Patch, ...]:
    """The pieces of a patch of which one part is known.

    Parameters: patch, with an outline of its own; front, an explanation of one part of it; flat.
    Returns: the part's own piece, then what it leaves over; none when it leaves nothing.
    Raises: nothing of its own.
    Valid for: as `taken_apart`.
    Source: what the part hides of the paper taken out of the patch.
    Checked by: unit/test_vision_parts_joined.py
    """
    pieces = _cut(patch, front.outline_mm, flat.px_per_mm)
    if len(pieces) < 2:
        return ()
    joined = patch.outline_mm
    first, *rest = (replace(p, joined_mm=joined) for p in pieces)
    return (first, *(replace(p, is_partial=True) for p in rest))


def put_together(patches: Sequence[Patch]) -> list[tuple[tuple[int, ...], Patch]]:
    """Patches that lie so near each other that they may be one part, cut in pieces by its light and dark sides.

    Parameters: patches, without a colour of their own.
    Returns: for each such heap the indices of its patches, and one faint patch round them and their shadows.
    Raises: nothing of its own.
    Valid for: patches that nothing explains by itself.
    Source: own construction; the convex hull of all of a heap.
    Checked by: unit/test_vision_parts_joined.py
    """
    import cv2

    left, found = list(range(len(patches))), []
    while left:
        heap, waiting = [], [left.pop(0)]
        while waiting:
            one = waiting.pop()
            heap.append(one)
            near = [k for k in left if _gap_mm(patches[one], patches[k]) < _ONE_THING_MM]
            left = [k for k in left if k not in near]
            waiting += near
        if len(heap) > 1:
            each = [patches[k].instead or patches[k] for k in heap]
            points = np.vstack([p.outline_mm for p in each]).astype(np.float32)
            hull = cv2.convexHull(points)[:, 0].astype(float)
            area = ring_area_mm2(hull)
            whole = hull if area > 0 else hull[::-1]
            found.append((tuple(sorted(heap)), Patch(outline_mm=whole, area_mm2=abs(area), certain=False)))
    return found


def widened(patch: Patch) -> Patch:
    """A patch with all round it, for a part of which only a strip was seen.

    Parameters: patch, without an outline of its own.
    Returns: a faint patch that may hold several parts and their shadows.
    Raises: nothing of its own.
    Valid for: strips along one side of a part no wider than 30 mm.
    Source: own construction.
    Checked by: unit/test_vision_parts_joined.py
    """
    from manifold3d import CrossSection, FillRule, JoinType

    grown = CrossSection([patch.outline_mm], FillRule.Positive).hull().offset(_ROUND_MM, JoinType.Round)
    ring = max((np.asarray(r, float) for r in grown.to_polygons()), key=ring_area_mm2)
    return Patch(outline_mm=ring, area_mm2=ring_area_mm2(ring), certain=False, is_rest=True)


def _gap_mm(one: Patch, other: Patch) -> float:
    """How far two patches are apart; none where one lies in the other."""
    middle = other.outline_mm.mean(0)[None]
    if inside(middle, one.outline_mm)[0]:
        return 0.0
    return float(to_outline(one.outline_mm, even_points(other.outline_mm, _GAP_POINTS)).min())


def _front(patch: Patch, kinds: tuple[Kind, ...], flat: Flat, view: MatView, base: float) -> Fit | None:
    """The part whose outline runs along most of a patch's own."""
    field = field_of(flat, patch.outline_mm)
    run = float(np.linalg.norm(np.roll(patch.outline_mm, -1, 0) - patch.outline_mm, axis=1).sum())
    edge = even_points(patch.outline_mm, max(24, round(run / SPACING_MM)))
    middle = (patch.outline_mm.min(0) + patch.outline_mm.max(0)) / 2
    starts: list[tuple[float, int, Pose, FloatArray, float]] = []
    for index, kind in enumerate(kinds):
        for pose in kind.poses:
            outline = outline_seen(
                pose, at_mm=middle, turn_rad=0.0, camera_mm=view.at_mm, scale=base, rough=True
            )
            if not _FRONT[0] < ring_area_mm2(outline) / patch.area_mm2 < _FRONT[1]:
                continue
            found = along_joined(field, edge, pose, base, view)
            starts += [(cost, index, pose, at, turn) for cost, at, turn in found]
    starts.sort(key=lambda s: s[0])
    whole = replace(patch, joined_mm=patch.outline_mm)
    best: Fit | None = None
    for _, index, pose, at, turn in starts[:_TRIED]:
        fit = as_ordered(
            whole, flat, view, index=index, pose=pose, at_mm=at, turn_rad=turn, base=base
        )
        if fit is not None and (best is None or fit.says > best.says):
            best = fit
    return best if best is not None and best.matched_ratio > _WELL else None


def _cut(patch: Patch, front_mm: FloatArray, per_mm: float) -> list[Patch]:
    """What a part covers of a patch, then the pieces that it leaves over."""
    import cv2

    # On a grid of the patch's own, which begins where the sheet's grid has a pixel.
    low = np.floor((patch.outline_mm.min(0) - 3.0) * per_mm) / per_mm
    wide, high = np.ceil((np.ptp(patch.outline_mm, axis=0) + 6.0) * per_mm).astype(int)

    def filled(ring: FloatArray) -> npt.NDArray[np.uint8]:
        mask = np.zeros((high, wide), np.uint8)
        # Rows run down as the sheet's do.
        px = (ring - low) * per_mm * [1.0, -1.0] + [0.0, high]
        cv2.fillPoly(mask, [np.rint(px - 0.5).astype(np.int32)], 1)
        return mask

    whole, front = filled(patch.outline_mm) > 0, filled(front_mm) > 0
    k = max(1, round(_BESIDE_MM * per_mm))
    rim = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    left = whole & (cv2.dilate(front.astype(np.uint8), rim) == 0)
    origin = low + [0.0, high / per_mm]
    rest = [(o + origin, a) for o, a in outlined(left, per_mm) if a >= _LEAST_MM2]
    first = max(outlined(whole & front, per_mm), key=lambda f: f[1], default=None)
    if first is None:
        return []
    return [replace(patch, outline_mm=o, area_mm2=a) for o, a in [(first[0] + origin, first[1]), *rest]]
