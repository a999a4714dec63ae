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
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from handsel.errors import HandselError
from handsel.vision.colour import lab_from_linear, linear_from_srgb
from handsel.vision.cuff_edge import COLOURED, Edge, find_tip, refined_edge, without_shadow
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
# Of the light beside them. The first does for cuffs with a colour, the others for those without.
_DEEPEST_SHADOWS = (0.05, 0.28, 0.12, 0.6, 0.42)
_NO_SHADOW = 0.85  # to see where anything lies that is darker, be it cuff or shadow
_SHARES = np.linspace(0.0, 1.15, 232)  # of a colour of the ground, from dark to a little lighter than it is
_LEAST_AREA = 0.0015  # of the picture; within its own surroundings it has far more
_LEAST_WIDTH_PX = 150.0
_MOST_SOLID = 0.80  # of its hull: more is no U
_LEAST_DEEP = 0.18  # of the width: a shallower mouth is no cuff
_MOST_BLUR = 0.018  # of the width: edges that take longer to cross
_PLAIN_DEG = 70.0  # a corner without any doubt
_SHARP_DEG, _NEARLY = 35.0, 0.74  # over about 3 mm before and after, and of the sharpest there is
_MOST_LOST = 0.25
_MOST_SOFT = 0.12  # where only lightness parts cuff and ground: soft edges are shadows
_CLEARLY_SHARPER = 0.08  # share of the outline by which a later way must be better
_NEAR_PX = 2.6  # in the small copy: how far off its outline is
_WIDE = 0.027  # of the width: how far off shadow may have led
_SMALL_REACH_PX = 2.0  # in the small copy
_TIP_REACH = 0.17  # of the way from tip to tip: what lies within it may be a tip, bends do not
RIM_RATIO = 0.04  # a cuff's thickness over its width: 3 mm of about 75
_U_ROUGH_TIP = 0.25  # of the thickness: how well a tip is known that was seen in the small copy only
_U_ROUND_TIP = 0.03  # of the thickness: how far a flank's end is from a straight cut


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
    u_edge_px: float  # standard deviation of one point of the outside
    u_place_px: FloatArray  # (n,) how far the edge itself is in doubt at each of them
    u_tips_px: tuple[float, float]  # of both ends along their flanks, first and last
    blur_px: float  # standard deviation of the blur across the edge
    lost_ratio: float  # share of the outside whose edge was not clear and was bridged
    coloured: bool  # cuff and ground differ in more than lightness, so that shadow is no cuff


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
    return replace(found, outside_px=found.outside_px + corner, inside_px=found.inside_px + corner)


def _surroundings(pixels: Pixels, cover: Sequence[FloatArray]) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom of a piece of the picture round what stands out most; None: all of it."""
    import cv2

    height, width = pixels.shape[:2]
    shrink = min(1.0, _FIRST_PX / max(height, width))
    small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    exact = np.array([small.shape[1] / width, small.shape[0] / height])
    covers = [(np.asarray(c, float) + 0.5) * exact - 0.5 for c in cover]
    seen = np.zeros(small.shape[:2], bool)
    ground = _Ground.of(np.asarray(small, np.uint8))
    for deepest in (
        *_DEEPEST_SHADOWS,
        _NO_SHADOW,
    ):  # a cuff that falls in pieces for one does not for another
        likely = _likely(ground, covers, deepest)
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
    wide = refined_edge(pixels, outside, _WIDE * reach, by_colour=True)
    blur = refined_edge(pixels, outside, _WIDE * reach).blur_px  # a wide look tells a wide blur
    edge = refined_edge(pixels, outside, _NEAR_PX / shrink)
    if wide.coloured:
        shadowed = without_shadow(pixels, edge, wide, outside)
        if shadowed is not None:
            edge = replace(edge, points=shadowed)
    if blur > _MOST_BLUR * reach:
        raise CuffRefused(
            CuffCause.BLURRED,
            "the photo is blurred",
            where=where,
            do="Rest the phone on something, wait until it is sharp, and take it again.",
        )
    unsure = edge.lost_ratio if edge.coloured else 1.0 - edge.sharp_ratio
    if unsure > (_MOST_LOST if edge.coloured else _MOST_SOFT):
        raise CuffRefused(
            CuffCause.FAINT,
            f"the cuff's edge does not stand out from ground and shadow over {100 * unsure:.0f} % of its way",
            where=where,
            do="Lay it on a plain sheet of quite another colour, away from hard shadows, and take it again.",
        )
    points, doubt, u_tips, told = _with_tips(pixels, edge, inside, reach, _NEAR_PX / shrink)
    if not (told or edge.coloured):
        raise CuffRefused(
            CuffCause.FAINT,
            "a flank's end does not stand out from ground and shadow",
            where=where,
            do="Lay it on a plain sheet of quite another colour, away from hard shadows, and take it again.",
        )
    return CuffOutline(
        outside_px=points,
        inside_px=inside,
        u_edge_px=edge.noise_px,
        u_place_px=doubt,
        u_tips_px=u_tips,
        blur_px=blur,
        lost_ratio=edge.lost_ratio,
        coloured=edge.coloured,
    )


def _with_tips(
    pixels: Pixels, edge: Edge, inside: FloatArray, across_px: float, reach_px: float
) -> tuple[FloatArray, FloatArray, tuple[float, float], bool]:
    """The outside from corner to corner, the doubt at each point, both corners' own along the flanks; and whether both
    are corners."""
    rim = RIM_RATIO * across_px
    points, doubt = edge.points, edge.u_place_px
    u_tips, told = [], True
    for stub in (inside, inside[::-1]):  # on from the last point; then both ways turned round
        found = find_tip(pixels, points, stub, rim_px=rim, reach_px=reach_px)
        if found is None:
            u_tips.append(_U_ROUGH_TIP * rim)
            told = False
        else:
            corner, u_tip = found
            way = points[-1] - points[-6]
            way /= np.linalg.norm(way)
            before = (points - corner) @ way < -0.1 * rim
            last = int(np.nonzero(before)[0].max()) + 1
            points, doubt = np.vstack([points[:last], corner]), np.append(doubt[:last], doubt[last - 1])
            u_tips.append(float(np.hypot(u_tip, _U_ROUND_TIP * rim)))
        points, doubt = points[::-1], doubt[::-1]
    return points, doubt, (u_tips[1], u_tips[0]), told


def _found(small: Pixels, covers: Sequence[FloatArray], where: str) -> tuple[Mask, _Mouth]:
    """The cuff in the small copy, and its mouth, however deep the shadows are.

    Where cuff and ground differ in colour the first way that shows a U is right. Where only lightness parts them, a way
    may take shadow for cuff or leave a flank off; then the outline is taken that has a sharp edge all along.
    """
    why = _nothing(where)
    ground = _Ground.of(small)
    best: tuple[Mask, _Mouth] | None = None
    most = -_CLEARLY_SHARPER
    for deepest in _DEEPEST_SHADOWS:
        try:
            mask = _part(ground, covers, deepest, where)
            mouth = _mouth(mask, where)
        except CuffRefused as refused:
            # What runs out of the picture says more than that nothing was found.
            if why.cause is CuffCause.NO_CUFF:
                why = refused
            continue
        if ground.parted_by_colour(mask):
            return mask, mouth
        sharp = refined_edge(small, _two_ways(*mouth)[0], _SMALL_REACH_PX).sharp_ratio
        if sharp > most + _CLEARLY_SHARPER:
            best, most = (mask, mouth), sharp
    if best is None:
        raise why
    return best


def _part(ground: _Ground, covers: Sequence[FloatArray], deepest_shadow: float, where: str) -> Mask:
    """The largest thing in the small copy that is unlike its ground."""
    import cv2

    likely = _likely(ground, covers, deepest_shadow)
    behind = ground.behind
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
        cv2.grabCut(_for_the_cut(ground.lab, start), plan, None, back, fore, 4, cv2.GC_INIT_WITH_MASK)  # type: ignore[call-overload]
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


def _likely(ground: _Ground, covers: Sequence[FloatArray], deepest_shadow: float) -> Mask:
    """What is clearly unlike the ground, in shadow or not, and no card."""
    import cv2

    likely = (ground.apart(deepest_shadow) > _CLEARLY).astype(np.uint8)
    for outline in covers:
        cv2.fillConvexPoly(likely, np.round(outline).astype(np.int32), 0)
    return np.asarray(cv2.morphologyEx(likely, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)


def _for_the_cut(lab: FloatArray, start: Mask) -> Pixels:
    """Colours in which a shadow weighs less than another plastic."""
    inside, beyond = (np.median(lab[start == k][:, 1:], axis=0) for k in (1, 0))
    by_light = 0.7 if float(np.linalg.norm(inside - beyond)) > COLOURED else 1.6
    lab = lab * [by_light, 1.5, 1.5] + [0.0, 128.0, 128.0]
    return np.ascontiguousarray(np.clip(np.round(lab), 0, 255).astype(np.uint8))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """The small copy, and the colours that lie at its rim."""

    lab: FloatArray  # (h, w, 3) each pixel
    behind: npt.NDArray[np.bool_]  # (h, w) the rim
    smooth_lab: FloatArray  # (h, w, 3) without grain
    total: FloatArray  # (h, w) light of the smooth copy, all channels
    colours: tuple[tuple[FloatArray, float], ...]  # linear light, and spread in colour differences

    @classmethod
    def of(cls, small: Pixels) -> _Ground:
        """Up to four colours; a cuff that runs out of the picture is none of them."""
        import cv2

        light = linear_from_srgb(small)
        smooth: FloatArray = np.stack(
            [np.asarray(cv2.GaussianBlur(light[..., k], (0, 0), 1.5), np.float64) for k in range(3)], -1
        )
        lab, behind = lab_from_linear(smooth), _margin(small)
        margin = lab[behind].astype(np.float32)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
        cv2.setRNGSeed(1)
        _, labels, _ = cv2.kmeans(margin, 4, None, stop, 2, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
        colours = []
        for k in range(4):
            mine = labels[:, 0] == k
            if mine.mean() < _LEAST_GROUND:
                continue
            middle = np.median(margin[mine], axis=0)
            spread = float(np.sqrt(np.median(((margin[mine] - middle) ** 2).sum(1))))
            colours.append((np.median(smooth[behind][mine], axis=0), spread))
        return cls(
            lab=lab_from_linear(light),
            behind=behind,
            smooth_lab=lab,
            total=smooth.sum(-1),
            colours=tuple(colours),
        )

    def parted_by_colour(self, mask: Mask) -> bool:
        """Whether cuff and ground differ in more than lightness, so that shadow is told from cuff."""
        inside, beyond = (np.median(self.lab[mask == k][:, 1:], axis=0) for k in (1, 0))
        return float(np.linalg.norm(inside - beyond)) > COLOURED

    def apart(self, deepest_shadow: float) -> FloatArray:
        """How unlike each pixel is to all that lies behind, be that in shadow or not."""
        least = np.full(self.total.shape, np.inf)
        for colour, spread in self.colours:
            share = np.clip(self.total / max(float(colour.sum()), 1e-6), deepest_shadow, _SHARES[-1])
            shadowed = lab_from_linear(_SHARES[:, None] * colour)
            nearest = np.round(share * ((len(_SHARES) - 1) / _SHARES[-1])).astype(np.intp)
            off = (self.smooth_lab - shadowed[nearest]) * [0.7, 1.0, 1.0]
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
    reach = round(_TIP_REACH * count)
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
