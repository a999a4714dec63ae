"""Where the cuff is in a photo that looks into it: its outline from tip to tip, and the inner one.

Picture frame: px, x right, y down. A cuff seen along its axis is a U or an arch with one mouth:

    tip a       tip b        outside: from tip a round the back to tip b
      |  mouth   |           inside: the same way along what is seen through the cuff
      |          |
      '----------'

The outside is the edge of the end that faces the camera, as long as neither flank shows its outer face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from handsel.errors import HandselError
from handsel.vision.colour import lab_from_linear, linear_from_srgb
from handsel.vision.cuff_edge import COLOURED, refined_edge
from handsel.vision.curves import even, smoothed

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.uint8]
_Mouth = tuple[npt.NDArray[np.int32], int, int, int]

_FIRST_PX = 280  # longest side of the copy in which it is looked for
_SMALL_PX = 480  # longest side of the copy of its surroundings in which its outline is found
_FINER = 4
_LEAST_GROUND = 0.08  # share of the rim that a colour of the ground has at least
_RING = 0.05  # of the copy's shorter side, taken for what lies behind
_CLEARLY = 9.0  # colour difference (CIE76 with half the say for lightness) of what is not behind
_DEEPEST_SHADOWS = (
    0.05,
    0.28,
    0.12,
    0.6,
    0.42,
)  # of the light beside them; the first does for cuffs with a colour
_LEAST_AREA = 0.0015  # of the picture; within its own surroundings it has far more
_LEAST_WIDTH_PX = 150.0
_MOST_SOLID = 0.80  # of its hull: more is no U
_LEAST_DEEP = 0.18  # of the width: a shallower mouth is no cuff
_MOST_BLUR = 0.018  # of the width: edges that take longer to cross
_PLAIN_DEG = 70.0  # a corner without any doubt
_SHARP_DEG, _NEARLY = 35.0, 0.74  # over about 3 mm before and after, and of the sharpest there is
_MOST_LOST = 0.25


class CuffCause(StrEnum):
    """What keeps a photo of a cuff from being measured."""

    NO_CUFF = "no cuff found"
    SMALL = "cuff too small"
    CUT_OFF = "cut off by the frame"
    BLURRED = "blurred"
    ASKEW = "seen from one side"
    NO_SCALE = "no scale"
    FAINT = "too like its background"


class CuffRefused(HandselError):
    """A photo of a cuff that cannot be measured: `cause` for programs, the message for people."""

    def __init__(self, cause: CuffCause, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where=where, do=do)
        self.cause = cause


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CuffOutline:
    """A cuff's edges in the picture."""

    outside_px: FloatArray  # (n, 2) evenly spaced from tip to tip round the back
    inside_px: FloatArray  # (m, 2) the way back along the inner edge, from the second tip to the first
    mask: Mask  # (h, w) of a smaller copy of a piece of the picture, 1 is cuff
    corner_px: FloatArray  # (2,) the piece's top left corner in the picture
    shrink: float  # that copy's size over the piece's
    u_edge_px: float  # standard deviation of one point of the outside
    blur_px: float  # standard deviation of the blur across the edge
    lost_ratio: float  # share of the outside whose edge was not clear and was bridged


def find_outline(
    pixels: Pixels,
    *,
    cover: Sequence[FloatArray] = (),
    within: tuple[int, int, int, int] | None = None,
    where: str = "photo",
) -> CuffOutline:
    """Find the cuff and measure its outline.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB, upright as shown; cover, outlines (n, 2) [px] of cards that are no
        part of the cuff; within, left, top, right and bottom [px] of the piece in which it lies; where, what the
        photo is called in messages.
    Returns: CuffOutline.
    Raises: CuffRefused.
    Valid for: one cuff before a ground of other colours, its mouth open.
    Source: graph cut between two colour mixtures (Rother, Kolmogorov and Blake 2004, as OpenCV does it), started from
        the picture's margin; edges then where the colour is half way between both sides.
    Checked by: unit/test_vision_cuff.py, docs/studies/cuff.md
    """

    corner = np.zeros(2)
    for again in (False, True):  # where the caller says, then closer still
        box = _surroundings(pixels, cover) if again else within
        if box is not None:
            left, top, right, bottom = box
            step = np.array([left, top], dtype=np.float64)
            pixels = np.ascontiguousarray(pixels[top:bottom, left:right])
            cover = [np.asarray(c) - step for c in cover]
            corner = corner + step
    found = _outline_in(pixels, cover, where)
    return CuffOutline(
        outside_px=found.outside_px + corner,
        inside_px=found.inside_px + corner,
        mask=found.mask,
        corner_px=corner,
        shrink=found.shrink,
        u_edge_px=found.u_edge_px,
        blur_px=found.blur_px,
        lost_ratio=found.lost_ratio,
    )


def _surroundings(pixels: Pixels, cover: Sequence[FloatArray]) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom of a piece of the picture round what stands out most; None: all of it."""
    import cv2

    height, width = pixels.shape[:2]
    shrink = min(1.0, _FIRST_PX / max(height, width))
    small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    exact = np.array([small.shape[1] / width, small.shape[0] / height])
    covers = [(np.asarray(c, float) + 0.5) * exact - 0.5 for c in cover]
    seen = np.zeros(small.shape[:2], bool)
    for deepest in _DEEPEST_SHADOWS:  # a cuff that falls in pieces for one does not for another
        likely = _likely(np.asarray(small, np.uint8), covers, deepest)
        start = _largest(
            np.asarray(cv2.morphologyEx(likely, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)), np.uint8)
        )
        if start is not None and start.mean() < 0.3:
            seen |= start > 0
    if not seen.any():
        return None
    y, x = np.nonzero(seen)
    spare = 0.4 * max(np.ptp(x), np.ptp(y)) + 4.0
    low = np.floor(np.maximum(([x.min(), y.min()] - np.full(2, spare)) / exact, 0)).astype(int)
    high = np.ceil(np.minimum(([x.max(), y.max()] + np.full(2, spare)) / exact, [width, height])).astype(int)
    if np.prod(high - low) > 0.6 * width * height:
        return None
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _outline_in(pixels: Pixels, cover: Sequence[FloatArray], where: str) -> CuffOutline:
    """The outline in a picture, or in the piece of it that the cuff is in."""
    import cv2

    height, width = pixels.shape[:2]
    shrink = min(1.0, _SMALL_PX / max(height, width))
    small = np.asarray(cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
    exact = np.array([small.shape[1] / width, small.shape[0] / height])
    covers = [(np.asarray(c, float) + 0.5) * exact - 0.5 for c in cover]
    mask, (contour, first, second, deepest) = _found(small, covers, where)
    rough_out, rough_in = _two_ways(contour, first, second, deepest)
    to_whole = 1.0 / exact
    outside = (rough_out + 0.5) * to_whole - 0.5
    inside = (rough_in + 0.5) * to_whole - 0.5
    reach = float(np.ptp(outside, axis=0).max())
    if reach < _LEAST_WIDTH_PX:
        raise CuffRefused(
            CuffCause.SMALL,
            f"the cuff is only {reach:.0f} pixels across",
            where=where,
            do="Go closer, until it fills a third of the picture or more, and take it again.",
        )
    _, _, blur, _ = refined_edge(pixels, outside, 0.027 * reach)  # a wide look tells a wide blur
    fine, u_px, _, lost = refined_edge(pixels, outside, 1.6 / shrink)
    if blur > _MOST_BLUR * reach:
        raise CuffRefused(
            CuffCause.BLURRED,
            "the photo is blurred",
            where=where,
            do="Rest the phone on something, wait until it is sharp, and take it again.",
        )
    if lost > _MOST_LOST:
        raise CuffRefused(
            CuffCause.FAINT,
            f"the cuff's edge does not stand out over {100 * lost:.0f} % of its way",
            where=where,
            do="Lay it on a plain sheet of quite another colour, away from hard shadows, and take it again.",
        )
    return CuffOutline(
        outside_px=fine,
        inside_px=inside,
        mask=mask,
        corner_px=np.zeros(2),
        shrink=float(exact[0]),
        u_edge_px=u_px,
        blur_px=blur,
        lost_ratio=lost,
    )


def _found(small: Pixels, covers: Sequence[FloatArray], where: str) -> tuple[Mask, _Mouth]:
    """The cuff in the small copy, and its mouth, however deep the shadows are."""
    why = _nothing(where)
    for deepest in _DEEPEST_SHADOWS:
        try:
            mask = _part(small, covers, deepest, where)
            return mask, _mouth(mask, where)
        except CuffRefused as refused:
            # What runs out of the picture says more than that nothing was found.
            if why.cause is CuffCause.NO_CUFF:
                why = refused
    raise why


def _part(small: Pixels, covers: Sequence[FloatArray], deepest_shadow: float, where: str) -> Mask:
    """The largest thing in the small copy that is unlike its ground."""
    import cv2

    likely = _likely(small, covers, deepest_shadow)
    light = linear_from_srgb(small)
    behind = _margin(small)
    start = _largest(likely)
    if start is None:
        raise _nothing(where)
    wide = np.asarray(cv2.dilate(start, np.ones((9, 9), np.uint8)), np.uint8)
    plan = np.where(start > 0, cv2.GC_PR_FGD, np.where(wide > 0, cv2.GC_PR_BGD, cv2.GC_BGD)).astype(np.uint8)
    if (start[behind] > 0).mean() < 0.02:
        plan[behind] = cv2.GC_BGD
    for outline in covers:
        cv2.fillConvexPoly(plan, np.round(outline).astype(np.int32), cv2.GC_BGD)
    back, fore = np.zeros((1, 65)), np.zeros((1, 65))
    try:
        cv2.grabCut(_for_the_cut(light, start), plan, None, back, fore, 4, cv2.GC_INIT_WITH_MASK)  # type: ignore[call-overload]
    except cv2.error:
        raise _nothing(where) from None
    found = np.isin(plan, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    found = np.asarray(cv2.morphologyEx(found, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    part = _largest(found)
    if part is None:
        raise _nothing(where)
    rim = np.asarray(cv2.dilate(behind.astype(np.uint8), np.ones((5, 5), np.uint8)), np.uint8)
    if (part & rim).any():
        raise CuffRefused(
            CuffCause.CUT_OFF,
            "what was found runs out of the picture",
            where=where,
            do="Keep all of the cuff, with some of the plain ground round it, inside the picture.",
        )
    return _filled(part)


def _margin(small: Pixels) -> npt.NDArray[np.bool_]:
    """The rim of the copy, where the ground is."""
    height, width = small.shape[:2]
    ring = max(3, round(_RING * min(height, width)))
    behind = np.ones((height, width), bool)
    behind[ring:-ring, ring:-ring] = False
    return behind


def _likely(small: Pixels, covers: Sequence[FloatArray], deepest_shadow: float) -> Mask:
    """What is clearly unlike the ground, in shadow or not, and no card."""
    import cv2

    light = linear_from_srgb(small)
    smooth = np.stack([cv2.GaussianBlur(light[..., k], (0, 0), 1.5) for k in range(3)], -1)
    likely = (_apart(smooth, _margin(small), deepest_shadow) > _CLEARLY).astype(np.uint8)
    for outline in covers:
        cv2.fillConvexPoly(likely, np.round(outline).astype(np.int32), 0)
    return np.asarray(cv2.morphologyEx(likely, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)


def _for_the_cut(light: FloatArray, start: Mask) -> Pixels:
    """Colours in which a shadow weighs less than another plastic."""
    lab = lab_from_linear(light)
    inside, beyond = (np.median(lab[start == k][:, 1:], axis=0) for k in (1, 0))
    by_light = 0.7 if float(np.linalg.norm(inside - beyond)) > COLOURED else 1.6
    lab = lab * [by_light, 1.5, 1.5] + [0.0, 128.0, 128.0]
    return np.ascontiguousarray(np.clip(np.round(lab), 0, 255).astype(np.uint8))


def _apart(light: npt.NDArray[Any], behind: npt.NDArray[np.bool_], deepest_shadow: float) -> FloatArray:
    """How unlike each pixel is to all that lies behind, be that in shadow or not."""
    import cv2

    lab = lab_from_linear(light)
    margin = lab[behind].astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(1)
    _, labels, _ = cv2.kmeans(margin, 4, None, stop, 2, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
    least = np.full(light.shape[:2], np.inf)
    for k in range(4):
        mine = labels[:, 0] == k
        if mine.mean() < _LEAST_GROUND:  # a cuff that runs out of the picture is no ground
            continue
        colour = np.median(light[behind][mine], axis=0)
        spread = float(np.sqrt(np.median(((margin[mine] - np.median(margin[mine], axis=0)) ** 2).sum(1))))
        share = np.clip(light.sum(-1) / max(float(colour.sum()), 1e-6), deepest_shadow, 1.15)
        off = (lab - lab_from_linear(share[..., None] * colour)) * [0.7, 1.0, 1.0]
        # In the dark, chroma is noise.
        least = np.minimum(least, np.linalg.norm(off, axis=-1) / max(1.0, spread / 3.0))
    return least


def _largest(mask: Mask) -> Mask | None:
    """The piece that is largest for its distance from the middle of the picture."""
    import cv2

    count, labels, stats, middles = cv2.connectedComponentsWithStats(mask, connectivity=8)
    height, width = mask.shape
    best, best_score = None, 0.0
    for k in range(1, count):
        area = float(stats[k, cv2.CC_STAT_AREA])
        off = np.hypot((middles[k][0] - width / 2) / width, (middles[k][1] - height / 2) / height)
        score = area * float(np.exp(-((off / 0.35) ** 2)))
        if area > _LEAST_AREA * mask.size and score > best_score:
            best, best_score = k, score
    return None if best is None else (labels == best).astype(np.uint8)


def _filled(part: Mask) -> Mask:
    """Without its small holes: slots, openings and highlights."""
    import cv2

    count, labels, stats, _ = cv2.connectedComponentsWithStats(1 - part, connectivity=4)
    for k in range(1, count):
        if stats[k, cv2.CC_STAT_AREA] < 0.06 * part.sum():
            part = np.where(labels == k, 1, part).astype(np.uint8)
    return part


def _nothing(where: str) -> CuffRefused:
    return CuffRefused(
        CuffCause.NO_CUFF,
        "no cuff stands out in the photo",
        where=where,
        do="Lay the cuff on a plain sheet of quite another colour, look into it from one end so that it is a U in "
        "the picture's middle, and take it again.",
    )


def _mouth(mask: Mask, where: str) -> _Mouth:
    """The outline of the piece, and the places on it of both sides and the bottom of its mouth."""
    import cv2

    # Four times as fine and smoothed, the outline loses the steps of the pixels.
    fine = cv2.resize(255 * mask, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR)
    fine = np.asarray(cv2.GaussianBlur(fine, (0, 0), 0.9 * _FINER) > 127, np.uint8)
    contours, _ = cv2.findContours(fine, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        raise _no_u(where)
    contour = np.asarray(max(contours, key=cv2.contourArea), np.int32)
    hull = cv2.convexHull(contour, returnPoints=False)
    solid = float(cv2.contourArea(contour)) / max(float(cv2.contourArea(contour[hull.ravel()])), 1.0)
    defects: Any = cv2.convexityDefects(contour, np.sort(hull, axis=0)[::-1]) if len(hull) > 3 else None
    if defects is None or solid > _MOST_SOLID:
        raise _no_u(where)
    first, second, deepest, depth = max(np.asarray(defects).reshape(-1, 4), key=lambda d: d[3])
    across = float(np.ptp(contour[:, 0], axis=0).max())
    chord = float(np.linalg.norm(contour[first, 0] - contour[second, 0]))
    if depth / 256.0 < _LEAST_DEEP * across or chord < 0.25 * across:
        raise _no_u(where)
    return contour[:, 0], int(first), int(second), int(deepest)


def _no_u(where: str) -> CuffRefused:
    return CuffRefused(
        CuffCause.NO_CUFF,
        "what stands out in the photo is not a U, as a cuff is when one looks into it",
        where=where,
        do="Look into the cuff from one end, with its mouth open to the picture, on a plain sheet of another colour.",
    )


def _two_ways(
    contour: npt.NDArray[np.int32], first: int, second: int, deepest: int
) -> tuple[FloatArray, FloatArray]:
    """The outline cut in two: outside from tip to tip, and the inner way back; pixels of the small copy."""
    n = len(contour)
    if (deepest - first) % n < (second - first) % n:
        first, second = second, first  # now the mouth lies on the way from second to first
    length = (second - first) % n
    # The corner may lie a little past the point that a straight edge over the mouth touches.
    spare = max(2, round(0.04 * length))
    at = (first - spare + np.arange(length + 2 * spare + 1)) % n
    points = (contour[at].astype(np.float64) + 0.5) / _FINER - 0.5
    begin, end = _corners(points)
    outside = points[begin:end]
    rest = (at[0] + np.arange(end - 1, begin + n + 1)) % n
    return outside, (contour[rest].astype(np.float64) + 0.5) / _FINER - 0.5


def _corners(points: FloatArray) -> tuple[int, int]:
    """Where the outside ends: at the first sharp corner on the way from the back to either tip."""
    count = 500
    path = even(points, count)
    step = round(0.016 * count)
    turn = _turns(smoothed(path, 4), step)
    reach = round(0.30 * count)
    begin = _corner(turn[:reach][::-1], step)
    end = _corner(turn[-reach:], step)
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    share = walked / walked[-1] * (count - 1)
    first = 0 if begin is None else int(np.searchsorted(share, reach - 1 - begin))
    last = len(points) if end is None else int(np.searchsorted(share, count - reach + end)) + 1
    return first, last


def _turns(points: FloatArray, step: int) -> FloatArray:
    """How sharply the way turns at each point over some steps before and after [rad]."""
    n = len(points)
    at = np.arange(n)
    before = points - points[np.maximum(at - step, 0)]
    after = points[np.minimum(at + step, n - 1)] - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.abs(np.arctan2(cross, (before * after).sum(1))), dtype=np.float64)


def _corner(turn: FloatArray, step: int) -> int | None:
    """The first sharp corner on the way toward the tip; turn starts at the flank and ends beyond the mouth.

    A tight bend turns sharply too, but not as sharply as the sharpest corner there is.
    """
    sharp = np.nonzero(
        turn > max(np.radians(_SHARP_DEG), _NEARLY * min(float(turn.max()), np.radians(_PLAIN_DEG)))
    )[0]
    if sharp.size == 0:
        return None
    group = sharp[sharp <= sharp[0] + step]
    return int(group[np.argmax(turn[group])])
