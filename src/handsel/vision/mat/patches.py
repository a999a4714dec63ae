"""What lies on the paper, told from its shadow.

Shadow is paper with less light: darker, hardly another colour. A part is another colour, or much darker than any
shadow, or, when it is as white or grey as shadowed paper, only an outline; those places are kept as they are and left
to the fitting of outlines, which knows what it looks for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.edged import CLOSED, LEAST_MM2, Mask, cleaned, edged, fills_hull, hulls, steepness
from handsel.vision.mat.flat import LIGHT_FLOOR, Flat
from handsel.vision.mat.view import MatView

FloatArray = npt.NDArray[np.float64]
Picture = npt.NDArray[np.float32]

_TOLD_MM = 0.25  # smoothing before places are told apart
_CHROMA, _DARK, _BRIGHT = 0.22, -1.75, 0.16  # natural logarithms of light ratios
_GAP_MM = 2.4  # gaps in an edge that are closed
_NO_SHADOW = 2.0  # times as steep is some place on every thing: on renders 5 and more, on soft shadow alone 1.6
_STEEPER = (1.5, 2.2, 3.2)  # times as steep, to part things that soft shadow has joined
_LEAST_FAINT_MM2, _LEAST_HULL_MM2 = 25.0, 60.0
_AROUND_MM = 2.5  # by which the steeper edges of a faint thing may miss its outline
_SHADED, _SHADED_MM2 = 0.2, 3.0  # so dark, over so much, is some place on every real thing, or beside it
_OWN = 0.2  # share of a thing and its shadow that must be told apart for it to have an outline of its own
_SHADOW_MM = 6.0  # so far a small part's shadow under a lamp is taken to reach
_MARGIN_MM = 6.0  # round a thing, beyond all that is closed or grown below
_INNER = 0.4  # share of a thing's outline that must lie within the border line: what reaches in from outside is no part
NOISE = 0.03  # light against the paper's, added before colour is divided by it
_TINTED = 0.12  # a thing's colour against grey, light against the paper's, from which colour names its edge
_DARK_THING = -1.9  # mean natural logarithm of light from which darkness does


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """Something that lies on the paper."""

    outline_mm: FloatArray  # (n, 2) table frame, anticlockwise
    area_mm2: float
    certain: bool  # its outline is its own, not its shadow's
    tint: FloatArray | None = (
        None  # (3,) its colour against grey, as a share of its light; none when it has hardly any
    )
    is_dark: bool = False  # darker than any shadow on paper
    pieces: tuple[Patch, ...] = ()  # what it may be instead: things that their soft shadows have joined
    instead: Patch | None = None  # what it may be instead: all that its edges run round, with its shadow
    joined_mm: FloatArray | None = (
        None  # (n, 2) outer line of all that covers each other in the picture, it among them
    )
    is_partial: bool = False  # others hide some of it
    is_rest: bool = False  # what a part left over of a faint thing: several, and shadow


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Thing:
    """One thing with its shadow, and what is known round it: cut out of the sheet, which is mostly paper."""

    mask: Mask  # the thing and its shadow
    its_own: Mask  # what is told apart from shadow
    level: Picture  # (h, w) natural logarithm of light
    steep: Picture
    inner: Mask  # the sheet's free area
    origin_mm: FloatArray  # (2,) of the cut's upper left corner, table frame
    scale: float

    def outlined(self, mask: Mask) -> list[tuple[FloatArray, float]]:
        """`outlined` in the table frame."""
        return [(points + self.origin_mm, area) for points, area in outlined(mask, self.scale)]

    @property
    def is_shaded(self) -> bool:
        """Whether some of it is as dark as every real thing, or the paper beside it, is somewhere."""
        dark = np.abs(self.level[self.mask]) > _SHADED
        return bool(dark.sum() > _SHADED_MM2 * self.scale**2)


def patches(flat: Flat, view: MatView) -> tuple[Patch, ...]:
    """What lies on the paper.

    Parameters: flat; view, of the same photo.
    Returns: Patches; a thing that cannot be told from its shadow gives one for both, not `certain`.
    Raises: nothing of its own.
    Valid for: things at least 2 mm apart.
    Source: own rules.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    # Light is what blurs, not its logarithm: a pixel half on a part looks as half of both.
    blurred = cv2.GaussianBlur(flat.ratio, (0, 0), _TOLD_MM * flat.px_per_mm)
    soft = np.log(np.maximum(blurred, LIGHT_FLOOR)).astype(np.float32)
    # Channel by channel: numpy is slow along an axis of three.
    level = (soft[..., 0] + soft[..., 1] + soft[..., 2]) / np.float32(3)
    colour = np.maximum.reduce([np.abs(soft[..., k] - level) for k in range(3)])
    # In the dark, noise makes colours.
    sure = ((colour > _CHROMA) & (level > -3.0)) | (level < _DARK) | (level > _BRIGHT)
    sure &= flat.printing_mm > 0
    sure = cleaned(sure, flat.px_per_mm)
    steep = steepness(soft, flat)
    inner = _inner(view, flat.px_per_mm, sure.shape)
    found: list[Patch] = []
    for thing in _things(sure, level, steep, inner, flat.px_per_mm):
        # A part and its shadow; specks of colour in a shadow are no part.
        if float(thing.its_own.sum()) <= _OWN * float(thing.mask.sum()):
            if thing.is_shaded and thing.steep[thing.mask].max() > _NO_SHADOW:
                found += _all_within(thing, thing.mask, _parted(thing))
            continue
        own = [_own(outline, area, sure, flat) for outline, area in thing.outlined(thing.its_own)]
        found += _with_shadow(thing, own) if thing.is_shaded else own
    # A tall part seems to reach over the border line; what comes in from outside is a hand, a sheet, a ruler.
    return tuple(p for p in found if _inside_line(p.outline_mm, view) > _INNER)


def _things(sure: Mask, level: Picture, steep: Picture, inner: Mask, scale: float) -> Iterator[_Thing]:
    """What is told apart or has edges, piece by piece, where some of it is within the free area."""
    import cv2

    either = sure | edged((steep > 1.0) & inner, scale, _GAP_MM)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(either.astype(np.uint8))
    margin = round(_MARGIN_MM * scale)
    for k in range(1, count):
        x, y, wide, high = (int(v) for v in boxes[k, :4])
        left, upper = max(0, x - margin), max(0, y - margin)
        here = (slice(upper, y + high + margin), slice(left, x + wide + margin))
        mask = np.asarray(labels[here] == k)
        if (mask & inner[here]).any():
            yield _Thing(
                mask=mask,
                its_own=sure[here] & mask,
                level=level[here],
                steep=steep[here],
                inner=inner[here],
                origin_mm=np.array([left, -upper]) / scale,
                scale=scale,
            )


def _inside_line(outline_mm: FloatArray, view: MatView) -> float:
    """Share of an outline that is within the border line."""
    free, (x, y) = view.mat.free, outline_mm.T
    within = (x > free.x_mm) & (x < free.right_mm) & (-y > free.y_mm) & (-y < free.lower_mm)
    return float(within.mean())


def _inner(view: MatView, scale: float, shape: tuple[int, ...]) -> Mask:
    """The free area, with the border line."""
    free, edge = view.mat.free, 2.0  # the markers' white
    inner = np.zeros(shape, bool)
    inner[
        int((free.y_mm - edge) * scale) : int((free.lower_mm + edge) * scale),
        int((free.x_mm - edge) * scale) : int((free.right_mm + edge) * scale),
    ] = True
    return inner


def _own(outline_mm: FloatArray, area_mm2: float, mask: Mask, flat: Flat) -> Patch:
    """A thing that colour or darkness tells from its shadow."""
    import cv2

    ring = np.rint(outline_mm * [flat.px_per_mm, -flat.px_per_mm] - 0.5).astype(np.int32)
    low, high = ring.min(0), ring.max(0) + 1
    filled = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    cv2.fillPoly(filled, [ring - low], 1)
    here = (slice(low[1], high[1]), slice(low[0], high[0]))
    within = (filled > 0) & mask[here]
    mean = flat.ratio[here][within].mean(0).astype(float)
    colour = mean - mean.mean()
    is_tinted = float(np.linalg.norm(colour)) > _TINTED
    return Patch(
        outline_mm=outline_mm,
        area_mm2=area_mm2,
        certain=True,
        tint=colour / (mean.mean() + NOISE) if is_tinted else None,
        is_dark=not is_tinted and float(flat.light[here][within].mean()) < _DARK_THING,
    )


def _with_shadow(thing: _Thing, own: list[Patch]) -> list[Patch]:
    """Things with what each may be instead: without colour, lit sides may be as dark as shadow, and shadow as a part.

    own: what was told apart of the thing.
    """
    import cv2

    large = [p for p in own if p.area_mm2 > _LEAST_HULL_MM2]
    if len(large) <= 1:
        whole = _all_within(thing, thing.mask, [])
        first = max(own, key=lambda p: p.area_mm2, default=None)
        return [replace(p, instead=whole[0]) if whole and p is first and p.tint is None else p for p in own]
    _, labels = cv2.connectedComponents(thing.its_own.astype(np.uint8))
    k = round(_SHADOW_MM * thing.scale)
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    found = []
    for patch in own:
        if patch.tint is not None or patch.area_mm2 <= _LEAST_HULL_MM2:
            found.append(patch)
            continue
        x, y = np.rint((patch.outline_mm[0] - thing.origin_mm) * [thing.scale, -thing.scale] - 0.5).astype(
            int
        )
        this = labels == labels[y, x]
        around = cv2.dilate(this.astype(np.uint8), near) > 0
        whole = _all_within(thing, thing.mask & around & (~thing.its_own | this), [])
        largest = max(whole, key=lambda p: p.area_mm2, default=None)
        found.append(replace(patch, instead=largest))
    return found


def _all_within(thing: _Thing, mask: Mask, parted: list[Mask]) -> list[Patch]:
    """A thing and its shadow in one, with the pieces that it may be instead."""
    pieces = tuple(_faint(outline, area) for piece in parted for outline, area in thing.outlined(piece))
    return [
        replace(_faint(outline, area), pieces=pieces)
        for outline, area in thing.outlined(mask)
        if area > _LEAST_FAINT_MM2
    ]


def _parted(thing: _Thing) -> list[Mask]:
    """Faint things that soft shadow may have made one, as they are where only steeper edges are followed."""
    import cv2

    if fills_hull(thing.mask):
        return []
    k = round(_AROUND_MM * thing.scale)
    rim = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    for more in _STEEPER:
        steeper = (thing.steep > more) & thing.mask & thing.inner
        found = hulls(edged(steeper, thing.scale, _GAP_MM / 2) & thing.mask)
        found = [h for h in found if h.sum() > _LEAST_HULL_MM2 * thing.scale**2]
        if len(found) > 1:
            return [cv2.dilate(h.astype(np.uint8), rim).astype(bool) for h in found]
    return []


def _faint(outline_mm: FloatArray, area_mm2: float) -> Patch:
    """A thing of the paper's own lightness. Where its edges run round it only partly, all within reach is taken."""
    import cv2

    hull = cv2.convexHull(outline_mm.astype(np.float32))[:, 0].astype(float)
    x, y = hull.T
    whole = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    if area_mm2 > CLOSED * abs(whole):
        return Patch(outline_mm=outline_mm, area_mm2=area_mm2, certain=False)
    return Patch(outline_mm=hull if whole > 0 else hull[::-1], area_mm2=abs(whole), certain=False)


def outlined(mask: Mask, scale: float) -> list[tuple[FloatArray, float]]:
    """Outer edges of the pieces of a mask.

    Parameters: mask : (h, w) bool [-], on the straightened sheet; scale [px/mm], its pixels.
    Returns: for each piece its outline, (n, 2) float [mm], table frame, anticlockwise, and its area [mm2].
    Raises: nothing of its own.
    Valid for: pieces of at least 12 mm2; smaller ones are left out.
    Source: OpenCV's border following; the area inside a closed line for its sense.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    found = []
    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for ring in rings:
        area = cv2.contourArea(ring) / scale**2
        if area < LEAST_MM2 or len(ring) < 8:
            continue
        points = (ring[:, 0].astype(float) + 0.5) / scale * [1.0, -1.0]
        x, y = points.T
        if (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() < 0:
            points = points[::-1]
        found.append((points, float(area)))
    return found
