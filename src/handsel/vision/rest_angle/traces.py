"""What is left of a card that could not be read: seen too flat, partly covered, or blurred away.

Nothing here measures. It tells a person why a photo gives no reading, so each test looks for positive signs of
one cause; without any, the card is missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CELL_MM, CUFF, GRID, PALM, pattern
from handsel.vision.finding import Found, Look, detect, foreshortening, scaled

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_LONGEST_PX = 2000
_FLAT_RATIO = 0.42  # seen flatter than this, a card is seen from too far aside: 65 degrees
_PULLED_PX, _PULL = 1600, np.array([1.0, 6.0])  # size of the copy that is pulled apart, and how far
_PULLED_TURNS_DEG = (
    0.0,
    -10.0,
    10.0,
    90.0,
    80.0,
    100.0,
)  # as the hand mostly lies, a little turned, then upright
_FLAT_LIKENESS = 0.55  # correlation with the pattern, blurred as a flat view is
_FLAT_CELL_PX = 8  # of the copy in which an outline's inside is compared
_MOST_OUTLINES = 400  # that are looked into, the largest first: grain has thousands
_HINT_LIKENESS, _HINTS = 0.76, 12  # what is looked at closer, and how many of them
_PART_LIKENESS = 0.925  # true pieces have 0.95 and more, chance likenesses below 0.90
_PART_CELL_PX = 5
_AROUND_MM = 120.0
_ACROSS_PX = 61  # how far an edge may be spread
_STRONG = 60.0  # difference of brightness that is an edge [of 255]
_LEAST_EDGE_PX = 40  # so much of it, or it is chance
_MIRRORED_PX = 1300
_MIRRORED_LOOK = Look(longest_px=_MIRRORED_PX, treat=np.asarray, windows=(7, 37, 15))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A part of a card, and how like the pattern it is."""

    card: int
    at_px: FloatArray  # (2,)
    likeness: float


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


def part_of(gray: Gray, card: int, near: Found) -> Trace | None:
    """A piece of a card that is otherwise covered, looked for round the other card.

    The other card says how large and how slanted this one must appear; only its turn in the plane is open.

    Parameters: gray : (h, w) uint8 [-]; card, the one that is looked for; near, the one that was found.
    Returns: Trace, or None when no piece is like it.
    Raises: nothing of its own.
    Valid for: a visible quarter or half of a card of at least about 25 px side.
    Source: own construction: correlation of the halves and quarters of the pattern over a straightened part.
    Checked by: unit/test_vision_traces.py
    """
    affine, soft = _scale_of(near), _softened(gray, near)
    size = int(2 * _AROUND_MM / CELL_MM) * _PART_CELL_PX
    tones = _tones(gray, near)
    hints: list[_Hint] = []
    for turn_deg in range(-84, 85, 4):
        flat, linear, shift = _straightened(soft, affine, near.middle_px, turn_deg, 1.0, size)
        for piece in _pieces(card):
            hints += _hints(flat, piece, turn_deg, linear, shift, near, tones)
    hints.sort(key=lambda h: -h.likeness)
    best = max(
        (_looked_closer(soft, affine, h) for h in hints[:_HINTS]), key=lambda h: h.likeness, default=None
    )
    if best is None or best.likeness < _PART_LIKENESS:
        return None
    return Trace(card=card, at_px=best.at_px, likeness=best.likeness)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Hint:
    piece: FloatArray
    turn_deg: float
    at_px: FloatArray
    likeness: float


def _scale_of(near: Found) -> FloatArray:
    """Pixels per cell at the middle of a card, both ways: (2, 2)."""
    from handsel.vision.edges import homography_from_corners

    h = homography_from_corners(near.corners_px)
    scale: FloatArray = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])
    return scale


def _softened(gray: Gray, near: Found) -> Gray:
    """Grain finer than a fifth of a cell taken out."""
    import cv2

    return np.asarray(cv2.GaussianBlur(gray, (0, 0), max(0.6, 0.2 * near.side_px / 6.0)), np.uint8)


def _straightened(
    gray: Gray, affine: FloatArray, middle: FloatArray, turn_deg: float, ratio: float, size: int
) -> tuple[Gray, FloatArray, FloatArray]:
    """A part of the picture as a card turned by so much would appear upright in it, and the way back."""
    import cv2

    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    linear = affine @ np.array([[c, -s], [s, c]]) * ratio / _PART_CELL_PX  # straightened px to picture px
    shift = middle - linear @ np.full(2, (size - 1) / 2.0)
    flat = cv2.warpAffine(
        gray,
        np.column_stack([linear, shift]),
        (size, size),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(flat, np.uint8), linear, shift


def _hints(
    flat: Gray,
    piece: FloatArray,
    turn_deg: float,
    linear: FloatArray,
    shift: FloatArray,
    near: Found,
    tones: tuple[float, float],
) -> list[_Hint]:
    """The best places of one piece at one turn, the found card's own place left out."""
    import cv2

    likeness = cv2.matchTemplate(flat, _template(piece), cv2.TM_CCOEFF_NORMED)
    h, w = np.array(piece.shape) * _PART_CELL_PX
    found = []
    for _ in range(3):
        _, top, _, (x, y) = cv2.minMaxLoc(likeness)
        if top < _HINT_LIKENESS:
            break
        at = linear @ np.array([x + (w - 1) / 2.0, y + (h - 1) / 2.0]) + shift
        apart = float(np.linalg.norm(at - near.middle_px))
        if apart > 1.2 * near.side_px and _same_tones(
            flat[y : y + h, x : x + w].astype(float), piece, *tones
        ):
            found.append(_Hint(piece=piece, turn_deg=turn_deg, at_px=at, likeness=float(top)))
        cv2.circle(likeness, (x, y), 4 * _PART_CELL_PX, -1.0, -1)
    return found


def _looked_closer(gray: Gray, affine: FloatArray, hint: _Hint) -> _Hint:
    """The same place with turns and sizes in between."""
    import cv2

    template = _template(hint.piece)
    size = int(max(template.shape) * 1.6)
    best = hint
    for more_deg in (-3.0, -1.5, 0.0, 1.5, 3.0):
        for ratio in (0.92, 1.0, 1.08):
            flat, linear, shift = _straightened(
                gray, affine, hint.at_px, hint.turn_deg + more_deg, ratio, size
            )
            _, top, _, (x, y) = cv2.minMaxLoc(cv2.matchTemplate(flat, template, cv2.TM_CCOEFF_NORMED))
            if top > best.likeness:
                at = linear @ (np.array([x, y]) + (np.array(template.shape[::-1]) - 1) / 2.0) + shift
                best = _Hint(
                    piece=hint.piece, turn_deg=hint.turn_deg + more_deg, at_px=at, likeness=float(top)
                )
    return best


def _pieces(card: int) -> list[FloatArray]:
    """Halves and quarters of the pattern with the white ring, each with a corner of the black border."""
    whole, half = pattern(card), GRID // 2
    quarters = [whole[r : r + half, c : c + half] for r in (0, half) for c in (0, half)]
    halves = [whole[:half], whole[half:], whole[:, :half], whole[:, half:]]
    # A corner of plain black on white is anything; one with white cells of the code in it is a card.
    return [p for p in (*halves, *quarters) if _has_code(p)]


def _has_code(piece: FloatArray) -> bool:
    dark = np.argwhere(piece < 0.5)
    (r0, c0), (r1, c1) = dark.min(0), dark.max(0)
    return bool((piece[r0 : r1 + 1, c0 : c1 + 1] > 0.5).any())


def _template(piece: FloatArray) -> npt.NDArray[np.uint8]:
    import cv2

    sharp = (40 + 180 * np.kron(piece, np.ones((_PART_CELL_PX, _PART_CELL_PX)))).astype(np.uint8)
    return np.asarray(cv2.GaussianBlur(sharp, (0, 0), 0.25 * _PART_CELL_PX), np.uint8)


def _tones(gray: Gray, near: Found) -> tuple[float, float]:
    """White and black as the found card shows them, file values."""
    import cv2

    mask = np.zeros(gray.shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round(near.corners_px).astype(np.int32), 1)
    inside = gray[mask > 0]
    return float(np.percentile(inside, 90)), float(np.percentile(inside, 15))


def _same_tones(patch: FloatArray, piece: FloatArray, white: float, black: float) -> bool:
    """The piece is as white and as black as the other card: the same print in nearly the same light."""
    cells = np.kron(piece, np.ones((_PART_CELL_PX, _PART_CELL_PX)))
    light, dark = float(np.median(patch[cells > 0.5])), float(np.median(patch[cells < 0.5]))
    return light - dark > 0.45 * (white - black) and 0.55 * white < light < 1.6 * white


def mirrored_cards(gray: Gray) -> tuple[int, ...]:
    """The cards that are there once the picture is mirrored, as selfies are.

    Parameters: gray : (h, w) uint8 [-].
    Returns: their numbers, PALM first.
    Raises: nothing of its own.
    Valid for: pictures in which no card was found as they are.
    Source: own construction; neither card's pattern is a mirror image of itself or of the other.
    Checked by: unit/test_vision_handed_in.py
    """
    small = scaled(gray, 1.0 / max(1, round(max(gray.shape) / _MIRRORED_PX)))
    return tuple(sorted({f.card for f in detect(np.ascontiguousarray(small[:, ::-1]), _MIRRORED_LOOK)}))


def blur_px(gray: Gray) -> float:
    """How wide the sharpest strong edges of a picture are, the way in which they are wider.

    Parameters: gray : (h, w) uint8 [-].
    Returns: standard deviation of the blur [px], of a copy 1600 px long; 0 when nothing in it has contrast.
    Raises: nothing of its own.
    Valid for: telling a sharp picture from a blurred one, no more.
    Source: a step of height a blurred by s has slope a / (s sqrt(2 pi)).
    Checked by: unit/test_vision_traces.py
    """
    import cv2

    small = cv2.GaussianBlur(scaled(gray, min(1.0, 1600 / max(gray.shape))), (0, 0), 0.8).astype(np.float32)
    slopes = [np.abs(cv2.Sobel(small, cv2.CV_32F, *of, scale=0.125)) for of in ((1, 0), (0, 1))]
    worst = 0.0
    # Shake spreads the edges that it crosses and leaves those along it: both ways count by themselves.
    for slope, other, around in zip(
        slopes,
        slopes[::-1],
        (np.ones((1, _ACROSS_PX), np.uint8), np.ones((_ACROSS_PX, 1), np.uint8)),
        strict=True,
    ):
        height = cv2.dilate(small, around) - cv2.erode(small, around)
        crest = (height > _STRONG) & (slope > 2.0 * other) & (slope >= cv2.dilate(slope, around))
        if crest.sum() >= _LEAST_EDGE_PX:
            widths = height[crest] / np.maximum(slope[crest], 1e-3) / np.sqrt(2.0 * np.pi)
            worst = max(worst, float(np.percentile(widths, 10)))
    return worst


def leans_from_above(found: Found) -> bool:
    """Whether a card seen slantingly is seen from its top edge or from a side edge.

    Parameters: found.
    Returns: True when the sight comes over the card's top, within what a raised cuff turns it.
    Raises: nothing of its own.
    Valid for: cards seen clearly from aside; from above and from below look alike, and below is the table.
    Source: the direction in the card that is foreshortened most is the one the sight comes along.
    Checked by: unit/test_vision_traces.py
    """
    from handsel.vision.edges import apply_homography, homography_from_corners

    h = homography_from_corners(found.corners_px)
    at = apply_homography(h, np.array([[0.0, 0.0], [1e-3, 0.0], [0.0, 1e-3]]))
    _, _, ways = np.linalg.svd((at[1:] - at[0]).T)
    along = np.abs(ways[1])  # right and up
    return bool(np.degrees(np.arctan2(along[1], along[0])) > (45.0 if found.card == PALM else 28.0))
