"""A piece of a card that is otherwise covered, looked for where the other card says that it may be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CELL_MM, GRID, pattern
from handsel.vision.finding import Found

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_HINT_LIKENESS, _HINTS = 0.76, 12  # what is looked at closer, and how many of them
_PART_LIKENESS = 0.925  # true pieces have 0.95 and more, chance likenesses below 0.90
_PART_CELL_PX = 5
_AROUND_MM = 120.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A part of a card, and how like the pattern it is."""

    card: int
    at_px: FloatArray  # (2,)
    likeness: float


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
