"""The photo with what was read from it: both cards' outlines, both reference lines, and the angle between them."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from handsel.vision.rest_angle.reading import RestAngle

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

FloatArray = npt.NDArray[np.float64]

# The bench's own colours: carbon, cord, paper, ink.
_PALM, _CUFF, _PAPER, _INK = (61, 90, 128), (177, 67, 43), (255, 253, 247), (34, 48, 58)
_LONGEST_PX = 1600  # the copy that is drawn on


def angle_overlay(picture: Image, reading: RestAngle, *, quality: int = 88) -> bytes:
    """A JPEG of the photo with the reading drawn on it.

    Parameters: picture, RGB and upright, the one that was read or a smaller copy; reading; quality of the JPEG.
    Returns: the JPEG's bytes; nothing of the photo's own file but its pixels.
    Raises: nothing of its own.
    Valid for: readings of that photo.
    Source: own drawing.
    Checked by: unit/test_angle_overlay.py
    """
    from PIL import ImageDraw

    shrink = min(1.0, _LONGEST_PX / max(picture.size))
    copy = picture.resize((round(picture.width * shrink), round(picture.height * shrink)))
    ratio = copy.width / reading.picture_px[0]
    pen = ImageDraw.Draw(copy)
    width = max(4, round(max(copy.size) / 160))  # on a phone the picture is a quarter as wide
    drawing = reading.drawing
    for outline, line, colour in (
        (drawing.palm_card, drawing.palm_line, _PALM),
        (drawing.cuff_card, drawing.cuff_line, _CUFF),
    ):
        _stroke(pen, (outline + 0.5) * ratio, colour, max(2, width // 2))
        _stroke(pen, (line + 0.5) * ratio, colour, width)
    _arc(pen, (drawing.palm_line + 0.5) * ratio, (drawing.cuff_line + 0.5) * ratio, width)
    _words(copy, pen, reading, ratio)
    out = io.BytesIO()
    copy.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _stroke(pen: ImageDraw, points: FloatArray, colour: tuple[int, int, int], width: int) -> None:
    """A line with a pale edge, so that it shows on any ground."""
    flat = [(float(x), float(y)) for x, y in points]
    pen.line(flat, fill=_PAPER, width=width + max(4, width // 2), joint="curve")
    pen.line(flat, fill=colour, width=width, joint="curve")


def _arc(pen: ImageDraw, palm: FloatArray, cuff: FloatArray, width: int) -> None:
    """The angle itself: from the palm's line, drawn on beyond where they meet, to the cuff's."""
    meet = palm[0]
    beyond, along = meet - palm[1], cuff[1] - meet
    radius = 0.45 * min(float(np.linalg.norm(beyond)), float(np.linalg.norm(along)))
    if radius < 8.0:
        return
    start, end = np.arctan2(beyond[1], beyond[0]), np.arctan2(along[1], along[0])
    sweep = (end - start + np.pi) % (2.0 * np.pi) - np.pi
    angles = start + np.linspace(0.0, sweep, 40)
    _stroke(pen, meet + radius * np.column_stack([np.cos(angles), np.sin(angles)]), _INK, max(2, width // 2))
    dashes = np.linspace(0.0, 1.5 * radius, 14)
    ahead = beyond / np.linalg.norm(beyond)
    for a, b in zip(dashes[::2], dashes[1::2], strict=True):
        _stroke(pen, np.array([meet + a * ahead, meet + b * ahead]), _PALM, max(2, width // 2))


def _words(copy: Image, pen: ImageDraw, reading: RestAngle, ratio: float) -> None:
    """Angle and interval in a corner that the hand does not reach, on a label of paper."""
    from PIL import ImageFont

    size = max(18, round(max(copy.size) / 34))
    big, small = ImageFont.load_default(size * 1.5), ImageFont.load_default(size * 0.8)
    head = f"{_number(reading.rest_angle_deg)}°"
    foot = f"95 %: {_number(reading.low_deg)}° to {_number(reading.high_deg)}°"
    wide = max(pen.textlength(head, big), pen.textlength(foot, small)) + 1.2 * size
    tall = 3.4 * size
    used = np.vstack([reading.drawing.palm_line, reading.drawing.cuff_line]) * ratio
    left = 0.0 if used[:, 0].min() > wide or used[:, 1].min() > tall else copy.width - wide
    top = 0.0 if used[:, 1].min() > tall or (left == 0.0 and used[:, 0].min() > wide) else copy.height - tall
    pen.rectangle((left, top, left + wide, top + tall), fill=_PAPER)
    pen.text((left + 0.6 * size, top + 0.3 * size), head, fill=_INK, font=big)
    pen.text((left + 0.6 * size, top + 2.1 * size), foot, fill=_INK, font=small)


def _number(value: float) -> str:
    return f"{value:.1f}".replace("-", "−")
