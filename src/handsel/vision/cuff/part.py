"""Which pixels of a small copy are the cuff: what is unlike its ground, however deep the shadows on it are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from handsel.vision.cuff.edge import COLOURED
from handsel.vision.cuff.ground import Ground
from handsel.vision.cuff.refused import CuffCause, CuffRefused, nothing_found

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.uint8]
Box = tuple[int, int, int, int]  # left, top, right and bottom [px]

# How deep a shadow may be, of the light beside it. The first does for cuffs with a colour, the others for those
# without: each was added for a cuff that fell in pieces with those before it (docs/studies/cuff.md, developed on).
DEEPEST_SHADOWS = (0.05, 0.28, 0.12, 0.6, 0.42)
_NO_SHADOW = 0.85  # to see where anything lies that is darker, be it cuff or shadow
_FIRST_PX = 280  # longest side of the copy in which it is looked for
_CLEARLY = 9.0  # colour difference (CIE76 with 0.7 of the say for lightness) of what is not behind
_LEAST_AREA = 0.0015  # of the picture; within its own surroundings it has far more
_SPARE = 0.4  # of its size: how much of its surroundings is kept on each side
_NEARLY_ALL = 0.6  # of the picture: then it is looked at as it is
_MOST_HOLE = 0.06  # of its area: a larger hole is no slot or highlight


def surroundings(pixels: Pixels, cover: Sequence[FloatArray]) -> Box | None:
    """A piece of the picture round what stands out most.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB; cover, outlines (n, 2) [px] of cards that are no part of the cuff.
    Returns: left, top, right and bottom [px]; None when it is nearly all of the picture.
    Raises: nothing of its own.
    Valid for: one thing before a ground of other colours.
    Source: own construction.
    Checked by: unit/test_vision_cuff.py
    """
    import cv2

    height, width = pixels.shape[:2]
    shrink = min(1.0, _FIRST_PX / max(height, width))
    small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    exact = np.array([small.shape[1] / width, small.shape[0] / height])
    covers = [(np.asarray(c, float) + 0.5) * exact - 0.5 for c in cover]
    seen = np.zeros(small.shape[:2], bool)
    ground = Ground.of(np.asarray(small, np.uint8))
    # A cuff that falls in pieces for one does not for another.
    for deepest in (*DEEPEST_SHADOWS, _NO_SHADOW):
        likely = _likely(ground, covers, deepest)
        start = _largest(
            np.asarray(cv2.morphologyEx(likely, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)), np.uint8)
        )
        if start is not None and start.mean() < 0.3:
            seen |= start > 0
    if not seen.any():
        return None
    y, x = np.nonzero(seen)
    spare = _SPARE * max(np.ptp(x), np.ptp(y)) + 4.0
    low = np.floor(np.maximum(([x.min(), y.min()] - np.full(2, spare)) / exact, 0)).astype(int)
    high = np.ceil(np.minimum(([x.max(), y.max()] + np.full(2, spare)) / exact, [width, height])).astype(int)
    if np.prod(high - low) > _NEARLY_ALL * width * height:
        return None
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def unlike_ground(ground: Ground, covers: Sequence[FloatArray], deepest_shadow: float, where: str) -> Mask:
    """The largest thing in the small copy that is unlike its ground.

    Parameters: ground; covers, outlines (n, 2) [px of the copy] of cards; deepest_shadow [-], of the light beside it;
        where, what the photo is called in messages.
    Returns: (h, w) uint8, 1 where it is; small holes are filled.
    Raises: CuffRefused when there is none, or it runs out of the picture.
    Valid for: as surroundings.
    Source: graph cut between two colour mixtures (Rother, Kolmogorov and Blake 2004, as OpenCV does it), started from
        the picture's margin.
    Checked by: unit/test_vision_cuff.py
    """
    import cv2

    likely = _likely(ground, covers, deepest_shadow)
    behind = ground.behind
    start = _largest(likely)
    if start is None:
        raise nothing_found(where)
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
        raise nothing_found(where) from None
    found = np.isin(plan, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    found = np.asarray(cv2.morphologyEx(found, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    part = _largest(found)
    if part is None:
        raise nothing_found(where)
    rim = np.asarray(cv2.dilate(behind.astype(np.uint8), np.ones((5, 5), np.uint8)), np.uint8)
    if (part & rim).any():
        raise CuffRefused(
            CuffCause.CUT_OFF,
            "what was found runs out of the picture",
            where=where,
            do="Keep all of the cuff, with some of the plain ground round it, inside the picture.",
        )
    return _filled(part)


def _likely(ground: Ground, covers: Sequence[FloatArray], deepest_shadow: float) -> Mask:
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
        if stats[k, cv2.CC_STAT_AREA] < _MOST_HOLE * part.sum():
            part = np.where(labels == k, 1, part).astype(np.uint8)
    return part
