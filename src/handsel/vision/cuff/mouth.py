"""Where a cuff's mouth is on the outline of the piece it was found as, and where its flanks end there.

How a cuff is seen along its axis:

    tip a       tip b        outside: from tip a round the back to tip b
      |  mouth   |           inside: the same way along what is seen through the cuff
      |          |
      '----------'

The limits are of renders called developed on in docs/studies/cuff.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from handsel.vision.cuff.curves import even, smoothed
from handsel.vision.cuff.refused import CuffCause, CuffRefused

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.uint8]

_FINER = 4  # times as fine as the mask: its outline loses the steps of the pixels
_MOST_SOLID = 0.80  # of its hull: more is no U
_LEAST_DEEP = 0.18  # of the width: a shallower mouth is no cuff
_LEAST_WIDE = 0.25  # of the width: a narrower mouth is a gap
_SPARE = 0.04  # of the outside: how far past the point that a straight edge over the mouth touches a corner may lie
_STEPS = 500  # points of the outside
_STEP = 0.016  # of it, about 3 mm: how far before and after a point its turn is told
_SHARP_DEG = 35.0  # a corner turns by so much over a step before and after
_NEARLY = 0.74  # and by so much of the sharpest corner there is
_PLAIN_DEG = 70.0  # a corner without any doubt
_TIP_REACH = 0.17  # of the way from tip to tip: what lies within it may be a tip, bends do not


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mouth:
    """The outline of a piece, and the places on it of both sides and the bottom of its mouth."""

    contour: npt.NDArray[np.int32]  # (n, 2) pixels of a copy that is _FINER times as fine
    first: int
    second: int
    deepest: int


def find_mouth(mask: Mask, where: str) -> Mouth:
    """The mouth of a piece that is a U.

    Parameters: mask : (h, w) uint8, 1 where the piece is; where, what the photo is called in messages.
    Returns: Mouth.
    Raises: CuffRefused when it is no U.
    Valid for: one piece.
    Source: own construction: the deepest gap between the outline and its hull.
    Checked by: unit/test_vision_cuff.py
    """
    import cv2

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
    if depth / 256.0 < _LEAST_DEEP * across or chord < _LEAST_WIDE * across:
        raise _no_u(where)
    return Mouth(contour=contour[:, 0], first=int(first), second=int(second), deepest=int(deepest))


def _no_u(where: str) -> CuffRefused:
    return CuffRefused(
        CuffCause.NO_CUFF,
        "what stands out in the photo is not a U, as a cuff is when one looks into it",
        where=where,
        do="Look into the cuff from one end, its mouth open to the picture, on a plain sheet of another colour, and go "
        "so close that it fills a third of the picture.",
    )


def two_ways(mouth: Mouth) -> tuple[FloatArray, FloatArray]:
    """The outline cut in two at the flanks' ends.

    Parameters: mouth.
    Returns: (n, 2) float [px of the mask], outside from tip to tip; (m, 2) float [px of the mask], the inner way back.
    Raises: nothing of its own.
    Valid for: as find_mouth.
    Source: own construction: a flank ends at the first sharp corner on the way from the back.
    Checked by: unit/test_vision_cuff.py
    """
    contour, first, second = mouth.contour, mouth.first, mouth.second
    n = len(contour)
    if (mouth.deepest - first) % n < (second - first) % n:
        first, second = second, first  # now the mouth lies on the way from second to first
    length = (second - first) % n
    spare = max(2, round(_SPARE * length))
    at = (first - spare + np.arange(length + 2 * spare + 1)) % n
    points = (contour[at].astype(np.float64) + 0.5) / _FINER - 0.5
    begin, end = _corners(points)
    outside = points[begin:end]
    rest = (at[0] + np.arange(end - 1, begin + n + 1)) % n
    return outside, (contour[rest].astype(np.float64) + 0.5) / _FINER - 0.5


def _corners(points: FloatArray) -> tuple[int, int]:
    """Where the outside ends: at the first sharp corner on the way from the back to either tip."""
    count = _STEPS
    path = even(points, count)
    step = round(_STEP * count)
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
