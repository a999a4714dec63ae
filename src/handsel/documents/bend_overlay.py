"""The photo of a bend with a frame round each pale line, numbered, for a person to confirm or dismiss."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from handsel.vision.bend.whitening import BendSeen, Candidate, Looks

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

FloatArray = npt.NDArray[np.float64]

_MARK, _DOUBT, _PAPER, _INK = (177, 67, 43), (61, 90, 128), (255, 253, 247), (34, 48, 58)
_LONGEST_PX = 1600


def bend_overlay(picture: Image, seen: BendSeen, *, quality: int = 88) -> bytes:
    """A JPEG of the photo with the candidates framed; the line itself stays free to be looked at.

    Parameters: picture, RGB and upright, the one that was read or a smaller copy; seen; quality of the JPEG.
    Returns: the JPEG's bytes; nothing of the photo's own file but its pixels.
    Raises: nothing of its own.
    Valid for: readings of that photo.
    Source: own drawing: what looks like whitening has a whole frame, what may be a reflection a dashed one.
    Checked by: unit/test_cuff_bend_overlays.py
    """
    from PIL import ImageDraw, ImageFont

    shrink = min(1.0, _LONGEST_PX / max(picture.size))
    copy = picture.resize((max(1, round(picture.width * shrink)), max(1, round(picture.height * shrink))))
    ratio = copy.width / seen.picture_px[0]
    pen = ImageDraw.Draw(copy)
    width = max(3, round(max(copy.size) / 330))
    size = max(16.0, max(copy.size) / 40)
    font = ImageFont.load_default(size)
    for number, candidate in enumerate(seen.candidates, start=1):
        frame = _frame(candidate, ratio, 4.0 * width)
        whole = candidate.looks is Looks.WHITENING
        _outline(pen, frame, _MARK if whole else _DOUBT, width, dashed=not whole)
        _number(pen, frame, str(number), copy.size, font, size)
    _foot(copy, pen, _said(seen), size)
    out = io.BytesIO()
    copy.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _frame(candidate: Candidate, ratio: float, spare: float) -> FloatArray:
    """Corners of a rectangle along the line, clear of it on both sides."""
    points = (candidate.line_px + 0.5) * ratio
    way = points[-1] - points[0]
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    side = np.array([-way[1], way[0]])
    middle = points.mean(0)
    along, across = (points - middle) @ way, (points - middle) @ side
    reach = spare + candidate.width_px * ratio
    low_a, high_a = float(along.min()) - spare, float(along.max()) + spare
    low_c, high_c = float(across.min()) - reach, float(across.max()) + reach
    return np.array(
        [
            middle + a * way + c * side
            for a, c in ((low_a, low_c), (high_a, low_c), (high_a, high_c), (low_a, high_c))
        ]
    )


def _outline(
    pen: ImageDraw, frame: FloatArray, colour: tuple[int, int, int], width: int, *, dashed: bool
) -> None:
    closed = np.vstack([frame, frame[:1]])
    for begin, end in zip(closed[:-1], closed[1:], strict=True):
        length = float(np.linalg.norm(end - begin))
        steps = np.arange(0.0, length, 6.0 * width) if dashed else np.array([0.0])
        reach = 3.5 * width if dashed else length
        for step in steps:
            a = begin + (end - begin) * min(step / max(length, 1e-9), 1.0)
            b = begin + (end - begin) * min((step + reach) / max(length, 1e-9), 1.0)
            spots = [(float(a[0]), float(a[1])), (float(b[0]), float(b[1]))]
            pen.line(spots, fill=_PAPER, width=width + 4)
            pen.line(spots, fill=colour, width=width)


def _number(
    pen: ImageDraw, frame: FloatArray, number: str, picture: tuple[int, int], font: object, size: float
) -> None:
    """The candidate's number beside its frame, within the picture."""
    radius = 0.75 * size
    corner = frame[int(frame[:, 1].argmin())]
    x = float(np.clip(corner[0], radius + 2, picture[0] - radius - 2))
    y = float(np.clip(corner[1] - radius, radius + 2, picture[1] - radius - 2))
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=_PAPER, outline=_INK, width=2)
    pen.text((x, y), number, fill=_INK, font=font, anchor="mm")  # type: ignore[arg-type]


def _said(seen: BendSeen) -> list[str]:
    said = [
        f"{k}: {c.looks}, colour difference {c.delta_e:.0f}" for k, c in enumerate(seen.candidates, start=1)
    ]
    return [*said, *_wrapped(seen.words, 64)]


def _wrapped(words: str, most: int) -> list[str]:
    from textwrap import wrap

    return wrap(words, most)


def _foot(copy: Image, pen: ImageDraw, said: list[str], size: float) -> None:
    """What was found, in words, along the lower edge."""
    from PIL import ImageFont

    font = ImageFont.load_default(0.8 * size)
    tall = 1.15 * size * len(said) + 0.5 * size
    wide = max(pen.textlength(line, font) for line in said) + 1.2 * size
    top = copy.height - tall
    pen.rectangle((0, top, min(wide, copy.width), copy.height), fill=_PAPER)
    for k, line in enumerate(said):
        pen.text((0.6 * size, top + 0.25 * size + 1.15 * size * k), line, fill=_INK, font=font)
