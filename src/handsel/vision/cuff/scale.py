"""Where a cuff's millimetres come from: its own width, a printed card beside it, or the printed mat it stands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, hypot

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import Lens, focal_px
from handsel.vision.cards import CARD_MM, MARKER_MM
from handsel.vision.cuff.refused import CuffCause, CuffRefused
from handsel.vision.finding import Found, Look, detect, find_cards, foreshortening, scaled
from handsel.vision.mat.view import MatRefused, MatView, find_markers, view_by

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

U_WIDTH_MM = 0.5  # of a caliper across flanks that give way
LENGTH_MM, U_LENGTH_MM = 92.0, 15.0  # along the arm, where nobody says

_CARD_DEPTH_MM = 10.0  # how far a card stands from the plane of the cuff's end, standard deviation
_LEAST_CARD_PX = 20.0
_MOST_CARD_SLANT = 0.85  # shorter way across over the longer one
_PLAIN = Look(longest_px=1300, treat=np.asarray, windows=(7, 37, 15))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What tells millimetres, and what of the picture is card or mat and not cuff."""

    px_per_mm: float | None  # None: from the width, once the outline is known
    u_ratio: float
    source: str  # width, card or mat
    cover: tuple[FloatArray, ...]
    within: tuple[int, int, int, int] | None = None  # the mat's free area, when the cuff stands on it


def find_scale(
    pixels: Pixels,
    lens: Lens,
    width_mm: float | None,
    u_width_mm: float,
    length_mm: float | None,
    where: str,
) -> Scale:
    """Where the millimetres come from, and what of the picture is card or mat and not cuff.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB; lens; width_mm [mm] of the cuff, or None, and u_width_mm [mm];
        length_mm [mm] of the cuff, or None; where, what the photo is called in messages.
    Returns: Scale.
    Raises: CuffRefused when nothing tells millimetres, or what does cannot be used.
    Valid for: as look_at_cuff.
    Source: own construction; similar triangles.
    Checked by: unit/test_vision_cuff.py
    """
    import cv2

    gray = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    # With the width at hand a card is only something that is no cuff; then a quick look for it does.
    cards = find_cards(gray) if width_mm is None else _plain_cards(gray)
    marks = {} if cards else find_markers(gray)
    cover = [_grown(c.corners_px, 1.12 * CARD_MM / MARKER_MM) for c in cards]
    cover += [_grown(corners, 1.5) for places in marks.values() for corners in places]
    if width_mm is not None:
        return Scale(
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
            view = view_by(marks, size, lens=lens, where=where)
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
    raise no_scale(where)


def _plain_cards(gray: npt.NDArray[np.uint8]) -> list[Found]:
    """The cards that stand out without much looking."""
    small = scaled(gray, 1.0 / max(1, round(max(gray.shape) / _PLAIN.longest_px)))
    ratio = np.array(gray.shape[::-1]) / np.array(small.shape[::-1])
    return [
        replace(found, corners_px=(found.corners_px + 0.5) * ratio - 0.5) for found in detect(small, _PLAIN)
    ]


def no_scale(where: str) -> CuffRefused:
    """The refusal when nothing tells millimetres."""
    return CuffRefused(
        CuffCause.NO_SCALE,
        "nothing in the photo tells millimetres",
        where=where,
        do="Measure the cuff's outer width at the end that faces the camera and give it, or hold a printed card beside "
        "that end, and take the photo again.",
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


def _by_card(cards: list[Found], lens: Lens, size: tuple[int, int], cover: tuple[FloatArray, ...]) -> Scale:
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
    return Scale(px_per_mm=px_per_mm, u_ratio=u_ratio, source="card", cover=cover)


def _by_mat(view: MatView, length_mm: float | None, cover: tuple[FloatArray, ...]) -> Scale:
    """The mat lies a cuff's length below the end that is measured."""
    length, u_length = (LENGTH_MM, U_LENGTH_MM) if length_mm is None else (length_mm, 2.0)
    high = float(view.at_mm[2])
    above = max(high - length, 0.2 * high)
    u_ratio = hypot(u_length / above, view.u_height_ratio * length / above, 0.01)
    return Scale(px_per_mm=view.px_per_mm * high / above, u_ratio=u_ratio, source="mat", cover=cover)
