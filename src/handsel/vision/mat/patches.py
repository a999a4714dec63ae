"""What lies on the paper, told from its shadow.

Shadow is paper with less light: darker, hardly another colour. A part is another colour, or much darker than any
shadow, or, when it is as white or grey as shadowed paper, only an outline; those places are kept as they are and left
to the fitting of outlines, which knows what it looks for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import LIGHT_FLOOR, Flat
from handsel.vision.mat.view import MatView

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

_TOLD_MM = 0.25  # smoothing before places are told apart
_CHROMA, _DARK, _BRIGHT = 0.22, -1.75, 0.16  # natural logarithms of light ratios
_SHARP_PER_MM, _GAP_MM = 0.085, 2.4  # slope of an edge [1/mm]; gaps in one that are closed
_CLOSED = 0.72  # of its hull that a thing fills whose edges were followed all round
_STEEPER = (1.5, 2.2, 3.2)  # times as steep, to part things that soft shadow has joined
_LEAST_FAINT_MM2, _LEAST_HULL_MM2 = 25.0, 60.0
_AROUND_MM = 2.5  # by which the steeper edges of a faint thing may miss its outline
_SHADED, _SHADED_MM2 = 0.2, 3.0  # so dark, over so much, is some place on every real thing, or beside it
_LEAST_MM2 = 12.0  # smaller specks are dust, or printing
_OWN = 0.2  # share of a thing and its shadow that must be told apart for it to have an outline of its own
_SHADOW_MM = 6.0  # so far a small part's shadow under a lamp is taken to reach
_LINE_MM = 0.8  # thinner things are printed lines
_THIN_MM = 0.4  # what is steep over less is a hairline on the sheet, and may join what lies beside it
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
    level = soft.mean(2)
    colour = np.abs(soft - level[..., None]).max(2)
    # In the dark, noise makes colours.
    sure = ((colour > _CHROMA) & (level > -3.0)) | (level < _DARK) | (level > _BRIGHT)
    sure &= flat.printing_mm > 0
    sure = _cleaned(sure, flat.px_per_mm)
    steep = _steepness(soft, flat)
    edged = _edged(steep > 1.0, view, flat.px_per_mm, _GAP_MM)
    inner = _inner(view, flat.px_per_mm, sure.shape)
    found: list[Patch] = []
    count, labels = cv2.connectedComponents((edged | sure).astype(np.uint8))
    for k in range(1, count):
        mine = labels == k
        whole = float(mine.sum())
        if not (mine & inner).any():
            continue
        is_shaded = (np.abs(level[mine]) > _SHADED).sum() > _SHADED_MM2 * flat.px_per_mm**2
        its_own = sure & mine
        # A part and its shadow; specks of colour in a shadow are no part.
        if float(its_own.sum()) <= _OWN * whole:
            if is_shaded:
                found += _all_within(mine, _parted(mine, steep, view, flat.px_per_mm), flat.px_per_mm)
            continue
        own = [_own(outline, area, its_own, flat) for outline, area in outlined(its_own, flat.px_per_mm)]
        if is_shaded:
            own = _with_shadow(own, mine, its_own, flat.px_per_mm)
        found += own
    # A tall part seems to reach over the border line; what comes in from outside is a hand, a sheet, a ruler.
    return tuple(p for p in found if _inside_line(p.outline_mm, view) > _INNER)


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


def _with_shadow(own: list[Patch], mine: Mask, its_own: Mask, scale: float) -> list[Patch]:
    """Things with what each may be instead: without colour, lit sides may be as dark as shadow, and shadow as a part.

    own: what was cut out of a mask `mine`, of which `its_own` was told apart.
    """
    import cv2

    large = [p for p in own if p.area_mm2 > _LEAST_HULL_MM2]
    if len(large) <= 1:
        whole = _all_within(mine, [], scale)
        first = max(own, key=lambda p: p.area_mm2, default=None)
        return [replace(p, instead=whole[0]) if whole and p is first and p.tint is None else p for p in own]
    _, labels = cv2.connectedComponents(its_own.astype(np.uint8))
    k = round(_SHADOW_MM * scale)
    near = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    found = []
    for patch in own:
        if patch.tint is not None or patch.area_mm2 <= _LEAST_HULL_MM2:
            found.append(patch)
            continue
        x, y = np.rint(patch.outline_mm[0] * [scale, -scale] - 0.5).astype(int)
        this = labels == labels[y, x]
        around = cv2.dilate(this.astype(np.uint8), near) > 0
        whole = _all_within(mine & around & (~its_own | this), [], scale)
        largest = max(whole, key=lambda p: p.area_mm2, default=None)
        found.append(replace(patch, instead=largest))
    return found


def _all_within(mine: Mask, parted: list[Mask], scale: float) -> list[Patch]:
    """A thing and its shadow in one, with the pieces that it may be instead."""
    pieces = tuple(_faint(outline, area) for piece in parted for outline, area in outlined(piece, scale))
    return [
        replace(_faint(outline, area), pieces=pieces)
        for outline, area in outlined(mine, scale)
        if area > _LEAST_FAINT_MM2
    ]


def _parted(mask: Mask, steep: npt.NDArray[np.float32], view: MatView, scale: float) -> list[Mask]:
    """Faint things that soft shadow may have made one, as they are where only steeper edges are followed."""
    import cv2

    if _fills_hull(mask):
        return []
    k = round(_AROUND_MM * scale)
    rim = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    for more in _STEEPER:
        hulls = _apart(_edged((steep > more) & mask, view, scale, _GAP_MM / 2) & mask)
        hulls = [h for h in hulls if h.sum() > _LEAST_HULL_MM2 * scale**2]
        if len(hulls) > 1:
            return [cv2.dilate(h.astype(np.uint8), rim).astype(bool) for h in hulls]
    return []


def _apart(mask: Mask) -> list[Mask]:
    """The hulls of a mask's pieces, those that overlap as one."""
    import cv2

    joined = mask.astype(np.uint8)
    while True:
        rings, _ = cv2.findContours(joined, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        hulled = np.zeros_like(joined)
        for ring in rings:
            cv2.drawContours(hulled, [cv2.convexHull(ring)], -1, 1, cv2.FILLED)
        if (hulled == joined).all():
            break
        joined = hulled
    count, labels = cv2.connectedComponents(joined)
    return [labels == k for k in range(1, count)]


def _fills_hull(mask: Mask) -> bool:
    """Whether the largest piece of a mask is most of what its hull covers: its edges were followed all round."""
    import cv2

    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(rings, key=cv2.contourArea)
    return cv2.contourArea(ring) > _CLOSED * cv2.contourArea(cv2.convexHull(ring))


def _faint(outline_mm: FloatArray, area_mm2: float) -> Patch:
    """A thing of the paper's own lightness. Where its edges run round it only partly, all within reach is taken."""
    import cv2

    hull = cv2.convexHull(outline_mm.astype(np.float32))[:, 0].astype(float)
    x, y = hull.T
    whole = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    if area_mm2 > _CLOSED * abs(whole):
        return Patch(outline_mm=outline_mm, area_mm2=area_mm2, certain=False)
    return Patch(outline_mm=hull if whole > 0 else hull[::-1], area_mm2=abs(whole), certain=False)


def _steepness(soft: npt.NDArray[np.float32], flat: Flat) -> npt.NDArray[np.float32]:
    """How steeply light changes, against what an edge must show: soft shadow stays below 1."""
    import cv2

    scale = flat.px_per_mm
    slope = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)).max(2) / 8 * scale
    return np.asarray(slope / max(_SHARP_PER_MM, 3.0 * flat.unlit * scale / 4), np.float32)


def _edged(steep: Mask, view: MatView, scale: float, gap_mm: float) -> Mask:
    """What sharp edges run round: parts of any colour, and the shadows of small lamps; soft shadow has no edge."""
    import cv2

    mask = steep & _inner(view, scale, steep.shape)
    k = max(1, round(gap_mm * scale / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    thin = max(2, round(_THIN_MM * scale))
    work = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    work = cv2.morphologyEx(work, cv2.MORPH_CLOSE, disc)
    return _cleaned(work > 0, scale)


def _cleaned(mask: Mask, scale: float) -> Mask:
    """Thin lines taken out, small gaps closed, holes filled."""
    import cv2

    k = max(1, round(_LINE_MM * scale / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    small = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    work = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, small)
    work = cv2.morphologyEx(work, cv2.MORPH_OPEN, disc)
    rings, _ = cv2.findContours(work, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(work)
    for ring in rings:
        if cv2.contourArea(ring) / scale**2 >= _LEAST_MM2:
            cv2.drawContours(filled, [ring], -1, 1, cv2.FILLED)
    return np.asarray(filled, bool)


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
        if area < _LEAST_MM2 or len(ring) < 8:
            continue
        points = (ring[:, 0].astype(float) + 0.5) / scale * [1.0, -1.0]
        x, y = points.T
        if (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() < 0:
            points = points[::-1]
        found.append((points, float(area)))
    return found
