"""How symmetric a formed cuff is, from a photo that looks into it: millimetres, and how well they are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, hypot, sqrt
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from handsel.metrology.checks import number
from handsel.metrology.decision import Decision, Limits, decide
from handsel.metrology.quantity import Quantity
from handsel.vision.camera import DISTORTION_SD, Lens, focal_px
from handsel.vision.cards import CARD_MM, MARKER_MM
from handsel.vision.cuff_outline import CuffCause, CuffOutline, CuffRefused, find_outline
from handsel.vision.curves import even, smoothed
from handsel.vision.finding import Found, find_cards, foreshortening
from handsel.vision.mat_view import MatRefused, MatView, find_markers, view_of
from handsel.vision.mirror import Mirrored, mirrored

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

THICKNESS_MM = 3.0  # of a printed cuff
LENGTH_MM, U_LENGTH_MM = 92.0, 15.0  # along the arm, where nobody says
U_WIDTH_MM = 0.5  # of a caliper across flanks that give way

_CARD_DEPTH_MM = 10.0  # how far a card stands from the plane of the cuff's end, standard deviation
_LEAST_CARD_PX = 20.0
_MOST_CARD_SLANT = 0.85  # shorter way across over the longer one
_ASKEW = 0.80  # of the half width: then the outer face of a flank comes into view
_NOT_A_CUFF = 0.3  # of the width
_U_OFF = 0.10  # of what the flanks' inner faces say of where the camera stands, relative to the half width
_U_OFF_RATIO = 0.3
_FAR_TIP_MM = 2.0
_TIP_MM, _U_TIP_MM = 3.0, 0.6  # how near its end a flank counts as tip, and how well a tip is found
_U_GROUND_MM = 0.5  # shadow where the cuff stands, taken for cuff or cuff for shadow
_POINTS = 200
_SIDES = ("left", "right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Flank:
    """One side of the cuff, as the picture shows it."""

    height_mm: float  # from the lowest point of the back to the tip, along the axis
    lean_deg: float  # of its last part from the axis, + outward


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CuffSeen:
    """A cuff's symmetry read from one photo. Left and right are the picture's."""

    asymmetry_mm: float  # largest distance between the outer outline and its mirror image
    u_asymmetry_mm: float  # standard uncertainty
    low_mm: float  # between these it lies with a probability of 95 %
    high_mm: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [mm]
    width_mm: float  # greatest width across the axis
    u_width_mm: float
    left: Flank
    right: Flank
    scale_from: str  # width, card or mat
    scale_px_per_mm: float
    off_axis_ratio: float  # how far the camera stood beside the axis, over half the width; + to the right
    outline_px: FloatArray  # (n, 2) [px] outer outline, tip to tip
    mirror_px: FloatArray  # (n, 2) [px] its mirror image
    axis_px: FloatArray  # (2, 2) [px] the mirror axis across the cuff, mouth end first
    largest_px: FloatArray  # (2, 2) [px] where it is largest: on the outline, on the mirror image
    notes: tuple[str, ...]
    picture_px: tuple[int, int]  # width and height of the photo that the lines are in

    @property
    def quantity(self) -> Quantity:
        """The asymmetry with its uncertainty, for a decision."""
        return Quantity(
            value=self.asymmetry_mm, u=self.u_asymmetry_mm, unit="mm", origin="cuff, left against right"
        )

    @property
    def words(self) -> str:
        """What differs between the flanks, in the builder's words; empty when nothing to speak of does."""
        said = []
        higher = self.left.height_mm - self.right.height_mm
        wider = self.left.lean_deg - self.right.lean_deg
        if abs(higher) > max(1.0, 2.0 * self.u_asymmetry_mm):
            said.append(f"the {_SIDES[higher < 0]} flank reaches {abs(higher):.1f} mm further")
        if abs(wider) > 2.0:
            said.append(f"the {_SIDES[wider < 0]} flank leans {abs(wider):.0f}° further out")
        return "; ".join(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    px_per_mm: float | None  # None: from the width, once the outline is known
    u_ratio: float
    source: str
    cover: tuple[FloatArray, ...]
    within: tuple[int, int, int, int] | None = None  # the mat's free area, when the cuff stands on it


def look_at_cuff(
    pixels: Pixels,
    *,
    lens: Lens | None = None,
    width_mm: float | None = None,
    u_width_mm: float = U_WIDTH_MM,
    length_mm: float | None = None,
    where: str = "photo",
) -> CuffSeen:
    """Measure how far a formed cuff is from its own mirror image.

    The photo looks into the cuff from one end, along the arm it will hold. The scale comes from width_mm when it is
    given; else from one of the two printed cards held beside the end that faces the camera; else from the printed mat
    on which the cuff stands on end.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB, upright as shown; lens, what the file says of it; width_mm [mm],
        greatest outer width of the end that faces the camera, and its standard uncertainty u_width_mm [mm];
        length_mm [mm] of the cuff along the arm, which tells how high its end stands over the mat; where, what the
        photo is called in messages.
    Returns: CuffSeen.
    Raises: CuffRefused with its cause; OutOfRange for lengths that are none.
    Valid for: a cuff whose end lies in one plane, seen from within its own width, so that both flanks show their
        inner faces.
    Source: own construction; the account of the uncertainty follows JCGM 100:2008 5.1.
    Checked by: unit/test_vision_cuff.py, docs/studies/cuff.md
    """
    lens = lens or Lens()
    if width_mm is not None:
        width_mm = number(width_mm, "width", where=where, low=15.0, high=300.0)
    u_width_mm = number(u_width_mm, "uncertainty of the width", where=where, low=0.0, high=50.0)
    if length_mm is not None:
        length_mm = number(length_mm, "length", where=where, low=15.0, high=400.0)
    height_px, across_px = pixels.shape[:2]
    size = (int(across_px), int(height_px))
    scale = _scale(pixels, lens, width_mm, u_width_mm, length_mm, where)
    outline = find_outline(pixels, cover=scale.cover, within=scale.within, where=where)
    path = even(smoothed(outline.outside_px, 5), _POINTS)

    rough = mirrored(path)
    off = _off_axis(outline, rough, path)
    if abs(off) > _ASKEW:
        raise CuffRefused(
            CuffCause.ASKEW,
            f"the camera stood too far to the {_SIDES[off > 0]}: one flank shows its outer face",
            where=where,
            do="Look straight into the cuff, so that both flanks show as much of their inner faces, "
            "and take it again.",
        )
    middle = path.mean(0)
    bend, u_bend = _bend(path, rough, off, lens, size)
    straight = _straightened(path, middle, rough.normal, bend)
    fit = mirrored(straight)
    width_px = float(np.ptp(straight @ fit.normal))
    px_per_mm = width_px / width_mm if width_mm is not None else scale.px_per_mm
    if px_per_mm is None:
        raise _no_scale(where)
    if fit.largest > _NOT_A_CUFF * width_px:
        raise CuffRefused(
            CuffCause.NO_CUFF,
            "what stands out in the photo has no two sides that are alike",
            where=where,
            do="Look into the cuff from one end, on a plain sheet of another colour with nothing else on it.",
        )
    value_px, beyond_px = _largest(fit, straight, px_per_mm)
    contributions = _account(
        outline, path, rough.normal, (bend, u_bend), value_px, beyond_px, px_per_mm, scale.u_ratio, lens, size
    )
    u = hypot(*contributions.values())
    asymmetry = value_px / px_per_mm
    worst = int(fit.gaps.argmax())
    back = _bent(np.vstack([fit.image, fit.nearest[worst][None]]), middle, rough.normal, bend)
    left, right = _flanks(straight, fit, px_per_mm)
    return CuffSeen(
        asymmetry_mm=asymmetry,
        u_asymmetry_mm=u,
        low_mm=max(0.0, asymmetry - 1.96 * u),
        high_mm=asymmetry + 1.96 * u,
        contributions=MappingProxyType(contributions),
        width_mm=width_px / px_per_mm,
        u_width_mm=hypot(scale.u_ratio * width_px, outline.u_edge_px) / px_per_mm,
        left=left,
        right=right,
        scale_from=scale.source,
        scale_px_per_mm=px_per_mm,
        off_axis_ratio=off,
        outline_px=path,
        mirror_px=back[:-1],
        axis_px=_bent(_axis(straight, fit), middle, rough.normal, bend),
        largest_px=np.vstack([path[worst], back[-1]]),
        notes=_notes(lens, scale, outline, off, beyond_px / px_per_mm),
        picture_px=size,
    )


def judge_cuff(seen: CuffSeen, limits: Limits, *, accept_p: float = 0.90) -> Decision:
    """The verdict on a cuff's symmetry.

    Parameters: seen; limits [mm], the protocol's for what a photo measures; accept_p [-], the probability asked for.
    Returns: Decision: conforms, does not conform, or undecided, with the probability behind it.
    Raises: OutOfRange for limits in another unit.
    Valid for: as look_at_cuff.
    Source: as metrology.decision.
    Checked by: unit/test_vision_cuff.py
    """
    return decide(seen.quantity, limits, accept_p=accept_p)


# ---- scale ---------------------------------------------------------------------------------------


def _scale(
    pixels: Pixels,
    lens: Lens,
    width_mm: float | None,
    u_width_mm: float,
    length_mm: float | None,
    where: str,
) -> _Scale:
    """Where the millimetres come from, and what of the picture is card or mat and not cuff."""
    import cv2

    gray = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    cards = find_cards(gray)
    marks = {} if cards else find_markers(gray)
    cover = [_grown(c.corners_px, 1.12 * CARD_MM / MARKER_MM) for c in cards]
    cover += [_grown(corners, 1.5) for places in marks.values() for corners in places]
    if width_mm is not None:
        return _Scale(
            px_per_mm=None,
            u_ratio=hypot(u_width_mm / width_mm, 0.004),
            source="width",
            cover=tuple(cover),
            within=_inside(marks),
        )
    size = (int(pixels.shape[1]), int(pixels.shape[0]))
    usable = [c for c in cards if c.side_px > _LEAST_CARD_PX and foreshortening(c) > _MOST_CARD_SLANT]
    if usable:
        return _by_card(usable, lens, size, tuple(cover))
    if marks:
        try:
            view = view_of(gray, lens=lens, where=where)
        except MatRefused as error:
            raise CuffRefused(CuffCause.NO_SCALE, error.what, where=where, do=error.do) from None
        return replace(_by_mat(view, length_mm, tuple(cover)), within=_inside(marks))
    if cards:
        raise CuffRefused(
            CuffCause.NO_SCALE,
            "the card is too small or too slanted to give the scale",
            where=where,
            do="Hold the card flat beside the end that faces the camera, facing the camera as that end does; or give "
            "the cuff's width.",
        )
    raise _no_scale(where)


def _no_scale(where: str) -> CuffRefused:
    return CuffRefused(
        CuffCause.NO_SCALE,
        "nothing in the photo tells millimetres",
        where=where,
        do="Measure the cuff's width at the end that faces the camera and give it (--width-mm), or hold a printed card "
        "beside that end.",
    )


def _inside(marks: Mapping[int, list[FloatArray]]) -> tuple[int, int, int, int] | None:
    """The free area between a mat's markers, when they are seen on all its sides and it lies nearly upright."""
    if len(marks) < 6:
        return None
    points = np.vstack([corners for places in marks.values() for corners in places])
    low, high = points.min(0), points.max(0)
    near, far = low + 0.25 * (high - low), high - 0.25 * (high - low)
    box = []
    for k in range(2):
        box.append(int(np.ceil(points[points[:, k] < near[k], k].max())) + 2)
        box.append(int(points[points[:, k] > far[k], k].min()) - 2)
    left, right, top, bottom = box
    wide_enough = right - left > 0.4 * (high[0] - low[0]) and bottom - top > 0.4 * (high[1] - low[1])
    return (max(left, 0), max(top, 0), right, bottom) if wide_enough else None


def _grown(corners: FloatArray, ratio: float) -> FloatArray:
    middle = corners.mean(0)
    return np.asarray(middle + (corners - middle) * ratio)


def _by_card(cards: list[Found], lens: Lens, size: tuple[int, int], cover: tuple[FloatArray, ...]) -> _Scale:
    """A card in the plane of the end, or not quite: what is nearer looks larger."""
    scales = []
    for card in cards:
        # Slanted a little, a square keeps its longer way across.
        ways = [np.linalg.norm(card.corners_px[k] - card.corners_px[k - 1]) for k in range(4)]
        scales.append(max((ways[0] + ways[2]) / 2, (ways[1] + ways[3]) / 2) / MARKER_MM)
    px_per_mm = float(np.mean(scales))
    f35 = exp(max(lens.guesses(), key=lambda g: g.weight).log_f35)
    distance_mm = focal_px(f35, *size) / px_per_mm
    u_ratio = hypot(_CARD_DEPTH_MM / distance_mm, 0.01, 0.5 / (px_per_mm * MARKER_MM))
    return _Scale(px_per_mm=px_per_mm, u_ratio=u_ratio, source="card", cover=cover)


def _by_mat(view: MatView, length_mm: float | None, cover: tuple[FloatArray, ...]) -> _Scale:
    """The mat lies a cuff's length below the end that is measured."""
    length, u_length = (LENGTH_MM, U_LENGTH_MM) if length_mm is None else (length_mm, 2.0)
    high = float(view.at_mm[2])
    above = max(high - length, 0.2 * high)
    u_ratio = hypot(u_length / above, view.u_height_ratio * length / above, 0.01)
    return _Scale(px_per_mm=view.px_per_mm * high / above, u_ratio=u_ratio, source="mat", cover=cover)


# ---- the view ------------------------------------------------------------------------------------


def _off_axis(outline: CuffOutline, rough: Mirrored, path: FloatArray) -> float:
    """How far beside the axis the camera stood, over half the width; + to the right along the normal.

    Each limb shows its edge and, behind it, the flank's inner face. From the middle both show alike; from the right
    more of the left flank is seen. Once a flank shows its outer face the difference stays as it is, about 1.
    """
    way = np.gradient(path, axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    inward = np.column_stack([-way[:, 1], way[:, 0]])
    if ((path.mean(0) - path) * inward).sum() < 0:
        inward = -inward
    n = len(path)
    first, last = slice(round(0.08 * n), round(0.32 * n)), slice(round(0.68 * n), round(0.92 * n))
    thick = [_thickness(outline, path[part], inward[part]) for part in (first, last)]
    width = float(np.ptp(path @ rough.normal))
    # The printed thickness is no face; a cuff is about 75 mm wide.
    edge = THICKNESS_MM / 75.0 * width
    faces = max(thick[0] + thick[1] - 2.0 * edge, 0.06 * width)
    difference = (thick[0] - thick[1]) / faces
    first_is_low = float((path[0] - path[-1]) @ rough.normal) < 0.0
    return float(np.clip(difference if first_is_low else -difference, -1.5, 1.5))


def _thickness(outline: CuffOutline, points: FloatArray, inward: FloatArray) -> float:
    """How far one walks inward from the outside until the cuff ends, in pixels of the picture (median)."""
    mask, shrink = outline.mask, outline.shrink
    steps = np.arange(0.0, 0.6 * max(mask.shape), 0.5)
    start = (points - outline.corner_px + 0.5) * shrink - 0.5 + 1.5 * inward
    spots = np.round(start[:, None] + steps[None, :, None] * inward[:, None]).astype(int)
    x, y = np.clip(spots[..., 0], 0, mask.shape[1] - 1), np.clip(spots[..., 1], 0, mask.shape[0] - 1)
    inside = mask[y, x] > 0
    ends = np.where(inside.all(1), len(steps) - 1, inside.argmin(1))
    return float(np.median(steps[ends] + 1.5)) / shrink


def _bend(
    path: FloatArray, rough: Mirrored, off: float, lens: Lens, size: tuple[int, int]
) -> tuple[float, float]:
    """How much larger one side looks than the other, per pixel across, and its standard uncertainty [1/px].

    From the right, the right side is nearer. A camera that is `off` half widths beside the axis at the distance D
    turns the end by off * half / D, and D is the focal length over the scale.
    """
    half = float(np.ptp(path @ rough.normal)) / 2.0
    guesses = lens.guesses()
    total = sum(g.weight for g in guesses)
    inverse = [focal_px(exp(g.log_f35), *size) ** -2 for g in guesses]
    mean = sum(g.weight * v for g, v in zip(guesses, inverse, strict=True)) / total
    between = sum(g.weight * (v - mean) ** 2 for g, v in zip(guesses, inverse, strict=True)) / total
    within = sum(g.weight * (2.0 * g.sd * v) ** 2 for g, v in zip(guesses, inverse, strict=True)) / total
    u_off = hypot(_U_OFF, _U_OFF_RATIO * off)
    return -off * half * mean, half * hypot(u_off * mean, off * sqrt(between + within))


def _straightened(path: FloatArray, middle: FloatArray, normal: FloatArray, bend: float) -> FloatArray:
    """The outline as seen from straight ahead, both sides equally near."""
    across = (path - middle) @ normal
    return np.asarray(middle + (path - middle) / (1.0 - bend * across)[:, None])


def _bent(points: FloatArray, middle: FloatArray, normal: FloatArray, bend: float) -> FloatArray:
    """Back from straight ahead to the picture."""
    across = (points - middle) @ normal
    return np.asarray(middle + (points - middle) / (1.0 + bend * across)[:, None])


# ---- numbers -------------------------------------------------------------------------------------


def _account(
    outline: CuffOutline,
    path: FloatArray,
    normal: FloatArray,
    bend: tuple[float, float],
    largest_px: float,
    beyond_px: float,
    px_per_mm: float,
    u_scale_ratio: float,
    lens: Lens,
    size: tuple[int, int],
) -> dict[str, float]:
    """Standard uncertainties of the asymmetry by source [mm]."""
    middle = path.mean(0)
    value, u_bend = bend
    turned = [mirrored(_straightened(path, middle, normal, value + s * u_bend)).largest for s in (-1, 1)]
    # Past the axis the largest gap falls and rises again; then the difference alone would say too little.
    straight = mirrored(_straightened(path, middle, normal, value)).largest
    view = max(abs(turned[1] - turned[0]), abs(turned[0] - straight), abs(turned[1] - straight)) / 2.0
    centre = (np.array(size, dtype=float) - 1.0) / 2.0
    f_px = focal_px(exp(max(lens.guesses(), key=lambda g: g.weight).log_f35), *size)
    bulged = []
    for k1 in (-DISTORTION_SD, DISTORTION_SD):
        flat = (path - centre) / f_px
        seen = centre + f_px * flat * (1.0 + k1 * (flat**2).sum(1, keepdims=True))
        bulged.append(mirrored(_straightened(seen, middle, normal, value)).largest)
    edges = hypot(outline.u_edge_px, 0.3 * outline.blur_px, 0.4)
    return {
        "edges": edges / px_per_mm,
        "view": view / px_per_mm,
        "lens": abs(bulged[1] - bulged[0]) / 2.0 / px_per_mm,
        "scale": u_scale_ratio * largest_px / px_per_mm,
        "tips": _U_TIP_MM if beyond_px > 0.0 else 0.0,
        "ground": _U_GROUND_MM,
        "end not flat": hypot(0.1, 0.04 * largest_px / px_per_mm),
    }


def _largest(fit: Mirrored, points: FloatArray, px_per_mm: float) -> tuple[float, float]:
    """The largest gap [px], and by how much a tip's is above all others.

    Where a flank ends is known less well than where it runs, and a gap is never negative: of a tip's gap, what its own
    error makes on average is taken off, in squares.
    """
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]) / px_per_mm
    tip = (walked < _TIP_MM) | (walked > walked[-1] - _TIP_MM)
    body = float(fit.gaps[~tip].max())
    ends = float(fit.gaps[tip].max())
    ends = sqrt(max(ends**2 - (_U_TIP_MM * px_per_mm) ** 2, 0.0))
    return max(body, ends), max(ends - body, 0.0)


def _axis(points: FloatArray, fit: Mirrored) -> FloatArray:
    """The mirror axis from beyond the mouth to beyond the back."""
    along = np.array([-fit.normal[1], fit.normal[0]])
    if (points[0] + points[-1] - 2.0 * points.mean(0)) @ along < 0:
        along = -along
    reach = points @ along
    low, high = float(reach.min()), float(reach.max())
    spare = 0.12 * (high - low)
    return np.array([fit.offset * fit.normal + s * along for s in (high + spare, low - spare)])


def _flanks(points: FloatArray, fit: Mirrored, px_per_mm: float) -> tuple[Flank, Flank]:
    """Left and right flank as the picture shows them."""
    along = np.array([-fit.normal[1], fit.normal[0]])
    if (points[0] + points[-1] - 2.0 * points.mean(0)) @ along < 0:
        along = -along
    lowest = float((points @ along).min())
    n = max(8, len(points) // 8)
    flanks = []
    for tip in (points[:n][::-1], points[-n:]):  # each toward its tip
        way = tip - tip.mean(0)
        direction = np.linalg.svd(way, full_matrices=False)[2][0]
        if (tip[-1] - tip[0]) @ direction < 0:
            direction = -direction
        outward = np.sign(float(tip.mean(0) @ fit.normal) - fit.offset) * fit.normal
        lean = np.degrees(np.arctan2(direction @ outward, direction @ along))
        height = (float(tip[-1] @ along) - lowest) / px_per_mm
        flanks.append(Flank(height_mm=height, lean_deg=float(lean)))
    first, last = flanks
    return (first, last) if points[0, 0] <= points[-1, 0] else (last, first)


def _notes(lens: Lens, scale: _Scale, outline: CuffOutline, off: float, beyond_mm: float) -> tuple[str, ...]:
    found = []
    if beyond_mm > _FAR_TIP_MM:
        found.append(
            "one flank's end alone makes the difference: see on the picture whether the line ends there"
        )
    if scale.source == "card":
        found.append("the scale is the card's, as far as it is in the plane of the cuff's end")
    if scale.source == "mat":
        found.append("the scale is the mat's, carried up by the cuff's length")
    if abs(off) > 0.5:
        found.append("the camera stood to one side; looking straight in is surer")
    if outline.lost_ratio > 0.1:
        found.append(f"the edge is faint over {100 * outline.lost_ratio:.0f} % of its way")
    if lens.f35_mm is None:
        found.append("the file does not say the focal length; a phone's main lens is taken")
    return tuple(found)
