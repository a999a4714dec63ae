"""The outline of a cuff in a photo that looks into it, measured: from tip to tip, and the inner one.

Picture frame: px, x right, y down. A cuff seen along its axis is a U or an arch with one mouth (cuff_mouth). The
outside is the edge of the end that faces the camera, as long as neither flank shows its outer face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from handsel.vision.cuff.edge import Edge, find_tip, refined_edge, without_shadow
from handsel.vision.cuff.ground import Ground
from handsel.vision.cuff.mouth import Mouth, find_mouth, two_ways
from handsel.vision.cuff.part import DEEPEST_SHADOWS, Box, surroundings, unlike_ground
from handsel.vision.cuff.refused import CuffCause, CuffRefused, nothing_found

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

# All chosen on the photos that docs/studies/cuff.md calls developed on, but for those that are a thickness.
_SMALL_PX = 480  # longest side of the copy of its surroundings in which its outline is found
_SMALL_REACH_PX = 2.0  # in that copy: how far off its outline may be while ways of finding it are compared
_NEAR_PX = 2.6  # and when it is read
_WIDE = 0.027  # of the width: how far off shadow may have led
_LEAST_WIDTH_PX = 150.0
_MOST_BLUR = 0.018  # of the width: edges that take longer to cross
_MOST_LOST = 0.25
_MOST_SOFT = 0.12  # where only lightness parts cuff and ground: soft edges are shadows
_CLEARLY_SHARPER = 0.08  # share of the outline by which a later way must be better
RIM_RATIO = 0.04  # a cuff's thickness over its width: 3 mm of about 75
_U_ROUGH_TIP = 0.25  # of the thickness: how well a tip is known that was seen in the small copy only
_U_ROUND_TIP = 0.03  # of the thickness: how far a flank's end is from a straight cut


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
    within: Box | None = None,
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
        box = surroundings(pixels, cover) if again else within
        if box is not None:
            left, top, right, bottom = box
            step = np.array([left, top], dtype=np.float64)
            pixels = np.ascontiguousarray(pixels[top:bottom, left:right])
            cover = [np.asarray(c) - step for c in cover]
            corner = corner + step
    found = _outline_in(pixels, cover, where)
    return replace(found, outside_px=found.outside_px + corner, inside_px=found.inside_px + corner)


def _outline_in(pixels: Pixels, cover: Sequence[FloatArray], where: str) -> CuffOutline:
    """The outline in a picture, or in the piece of it that the cuff is in."""
    import cv2

    height, width = pixels.shape[:2]
    shrink = min(1.0, _SMALL_PX / max(height, width))
    small = np.asarray(cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
    exact = np.array([small.shape[1] / width, small.shape[0] / height])
    covers = [(np.asarray(c, float) + 0.5) * exact - 0.5 for c in cover]
    rough_out, rough_in = two_ways(_found(small, covers, where))
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


def _found(small: Pixels, covers: Sequence[FloatArray], where: str) -> Mouth:
    """The cuff in the small copy, by its outline and its mouth, however deep the shadows are.

    Where cuff and ground differ in colour the first way that shows a U is right. Where only lightness parts them, a way
    may take shadow for cuff or leave a flank off; then the outline is taken that has a sharp edge all along.
    """
    why = nothing_found(where)
    ground = Ground.of(small)
    best: Mouth | None = None
    most = -_CLEARLY_SHARPER
    for deepest in DEEPEST_SHADOWS:
        try:
            mask = unlike_ground(ground, covers, deepest, where)
            mouth = find_mouth(mask, where)
        except CuffRefused as refused:
            # What runs out of the picture says more than that nothing was found.
            if why.cause is CuffCause.NO_CUFF:
                why = refused
            continue
        if ground.parted_by_colour(mask):
            return mouth
        sharp = refined_edge(small, two_ways(mouth)[0], _SMALL_REACH_PX).sharp_ratio
        if sharp > most + _CLEARLY_SHARPER:
            best, most = mouth, sharp
    if best is None:
        raise why
    return best
