"""Cards that are seen at a grazing angle: what is left of them in a photo that could not be read."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CUFF, PALM, pattern
from handsel.vision.finding import Found, Look, detect, foreshortening, scaled

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_LONGEST_PX = 2000
_FLAT_RATIO = 0.42  # seen flatter than this, a card is seen from too far aside: 65 degrees
_PULLED_PX, _PULL = 1600, np.array([1.0, 6.0])  # size of the copy that is pulled apart, and how far
# As the hand mostly lies, a little turned, then upright.
_PULLED_TURNS_DEG = (0.0, -10.0, 10.0, 90.0, 80.0, 100.0)
_FLAT_LIKENESS = 0.55  # correlation with the pattern, blurred as a flat view is
_FLAT_CELL_PX = 8  # of the copy in which an outline's inside is compared
_MOST_OUTLINES = 400  # that are looked into, the largest first: grain has thousands


def seen_flat(gray: Gray) -> list[Found]:
    """Cards that are seen at a grazing angle.

    Parameters: gray : (h, w) uint8 [-].
    Returns: cards seen flatter than about 65 degrees; good enough to say so, not to measure.
    Raises: nothing of its own.
    Valid for: cards at least about 8 px across the flat way.
    Source: own construction: bright outlines of four corners whose inside, straightened, is the pattern; else the
        picture pulled apart until a flat card is square enough to be found.
    Checked by: unit/test_vision_traces.py
    """
    return _by_outline(gray) or _pulled_apart(gray)


def _pulled_apart(gray: Gray) -> list[Found]:
    """First with the hand lying along the picture, as it mostly does, then a little turned, then upright."""
    ratio = min(1.0, _PULLED_PX / max(gray.shape))
    small = scaled(gray, ratio)
    for turn_deg in _PULLED_TURNS_DEG:
        found = [
            Found(card=f.card, corners_px=(f.corners_px + 0.5) / ratio - 0.5)
            for f in _pulled(small, turn_deg)
        ]
        if flat := [f for f in found if foreshortening(f) < _FLAT_RATIO]:
            return flat
    return []


def _pulled(gray: Gray, turn_deg: float) -> list[Found]:
    """The cards in a picture that is turned, and then pulled apart downward."""
    import cv2

    look = Look(longest_px=0, treat=lambda g: g, windows=(43, 43, 1), wrong_cells=1, loose=True)
    size = np.array(gray.shape[::-1], float)
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn = np.array([[c, s], [-s, c]])
    matrix = np.diag(_PULL) @ turn
    out = np.ceil(np.abs(turn) @ size * _PULL).astype(int)
    shift = (out - 1) / 2.0 - matrix @ ((size - 1.0) / 2.0)
    pulled = cv2.warpAffine(
        gray, np.column_stack([matrix, shift]), (int(out[0]), int(out[1])), flags=cv2.INTER_CUBIC
    )
    pulled = cv2.GaussianBlur(pulled, (0, 0), 1.5)
    back = np.linalg.inv(matrix).T
    return [
        Found(card=f.card, corners_px=(f.corners_px - shift) @ back)
        for f in detect(np.asarray(pulled, np.uint8), look)
    ]


def _by_outline(gray: Gray) -> list[Found]:
    """By the white card's outline, for cards on something darker."""
    ratio = min(2.0, 2.0 * _LONGEST_PX / max(gray.shape))
    big = scaled(gray, ratio)
    found: list[Found] = []
    for block in (51, 131):
        for corners in _bright_quads(big, block):
            one = _as_flat_card(big, corners)
            if one is not None and foreshortening(one) < _FLAT_RATIO:
                found.append(Found(card=one.card, corners_px=(one.corners_px + 0.5) / ratio - 0.5))
        if found:
            break
    return found


def _bright_quads(gray: Gray, block_px: int) -> list[FloatArray]:
    """Outlines with four corners of what is brighter than its surroundings, the largest first."""
    import cv2

    bright = cv2.adaptiveThreshold(
        cv2.GaussianBlur(gray, (0, 0), 1.2), 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, block_px, -10
    )
    outlines, _ = cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    quads: list[tuple[float, FloatArray]] = []
    for outline in outlines:
        if len(outline) < 4 or cv2.arcLength(outline, True) < 60.0:
            continue
        hull = cv2.convexHull(outline)
        area = cv2.contourArea(hull)
        if area < 150.0:
            continue
        corners = cv2.approxPolyDP(hull, 0.035 * cv2.arcLength(hull, True), True).reshape(-1, 2)
        if len(corners) == 4:
            quads.append((area, corners.astype(float)))
    quads.sort(key=lambda q: -q[0])
    return [corners for _, corners in quads[:_MOST_OUTLINES]]


@cache
def _flat_models() -> FloatArray:
    """Both cards in all four ways up, as a flat view shows them, to be multiplied with a picture: (8, pixels).

    Palm first; each next one is turned by a quarter to the left. Each has mean 0 and length 1.
    """
    import cv2

    models = []
    for card in (PALM, CUFF):
        sharp = np.kron(pattern(card), np.ones((_FLAT_CELL_PX, _FLAT_CELL_PX)))
        soft = np.asarray(cv2.GaussianBlur(sharp, (0, 0), 0.45 * _FLAT_CELL_PX))
        models += [np.rot90(soft, quarter).ravel() for quarter in range(4)]
    whole: FloatArray = np.array(models, dtype=float)
    whole -= whole.mean(1, keepdims=True)
    whole /= np.linalg.norm(whole, axis=1, keepdims=True)
    return whole


def _as_flat_card(gray: Gray, card_corners: FloatArray) -> Found | None:
    """The card whose white outline this is, if it is one."""
    import cv2

    cell = _FLAT_CELL_PX
    size = 9 * cell  # the whole card: 9 cells
    square = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    if cv2.contourArea(card_corners.astype(np.float32), oriented=True) < 0:
        card_corners = card_corners[::-1]
    to_square = cv2.getPerspectiveTransform(card_corners.astype(np.float32), square)
    flat = cv2.warpPerspective(gray, to_square, (size, size), flags=cv2.INTER_LINEAR)
    inside = flat[cell // 2 : -cell // 2, cell // 2 : -cell // 2].astype(float).ravel()
    inside -= inside.mean()
    length = float(np.linalg.norm(inside))
    if length < 4.0 * np.sqrt(inside.size):  # hardly any contrast
        return None
    likeness = _flat_models() @ inside / length
    best = int(np.argmax(likeness))
    if likeness[best] <= _FLAT_LIKENESS:
        return None
    marker = np.array([[1.5, 1.5], [7.5, 1.5], [7.5, 7.5], [1.5, 7.5]]) * cell
    marker = np.roll(
        marker, best % 4, axis=0
    )  # a quarter to the left puts the card's top left at the bottom left
    back = cv2.perspectiveTransform(marker[None].astype(np.float32), np.linalg.inv(to_square))[0]
    return Found(card=(PALM, CUFF)[best // 4], corners_px=np.asarray(back, float))
