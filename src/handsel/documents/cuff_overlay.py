"""The photo of a cuff with its outline, the outline's mirror image, the axis, and where both part most."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from handsel.metrology.decision import Decision
from handsel.metrology.limits import Limits
from handsel.vision.cuff.measuring import CuffSeen

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

FloatArray = npt.NDArray[np.float64]

# The bench's own colours: carbon, cord, paper, ink.
_OUTLINE, _MIRROR, _PAPER, _INK = (61, 90, 128), (177, 67, 43), (255, 253, 247), (34, 48, 58)
_LONGEST_PX = 1600
_SPARE = 0.3  # of the cuff's width, round it
_SMALL = 0.75  # of the picture: a cuff that needs less is shown closer, or a phone shows a few pixels of it


def cuff_overlay(
    picture: Image,
    seen: CuffSeen,
    *,
    limits: Limits | None = None,
    decision: Decision | None = None,
    quality: int = 88,
) -> bytes:
    """A JPEG of the photo with a cuff's symmetry drawn on it.

    Parameters: picture, RGB and upright, the one that was read or a smaller copy; seen; limits, the protocol's, and
        the decision against them, where there are such; quality of the JPEG.
    Returns: the JPEG's bytes; nothing of the photo's own file but its pixels.
    Raises: nothing of its own.
    Valid for: readings of that photo.
    Source: own drawing.
    Checked by: unit/test_cuff_bend_overlays.py
    """
    from PIL import ImageDraw

    corner, piece = _close(picture, seen)
    shrink = min(2.0 if piece is not picture else 1.0, _LONGEST_PX / max(piece.size))
    copy = piece.resize((max(1, round(piece.width * shrink)), max(1, round(piece.height * shrink))))
    ratio = copy.width / piece.width * picture.width / seen.picture_px[0]
    begin = corner * copy.width / piece.width
    pen = ImageDraw.Draw(copy)
    width = max(3, round(max(copy.size) / 230))
    at = [
        (lines + 0.5) * ratio - begin
        for lines in (seen.axis_px, seen.mirror_px, seen.outline_px, seen.largest_px)
    ]
    axis, mirror, outline, largest = at
    _dashes(pen, axis, _INK, max(2, width // 2), 3.0 * width)
    _dashes(pen, mirror, _MIRROR, width, 5.0 * width)
    _stroke(pen, outline, _OUTLINE, width)
    _mark(pen, largest, width)
    taken = [outline, axis]
    if limits is not None and limits.high is not None:
        taken.append(np.tile(np.array(copy.size) - 2.0, (len(outline), 1)))  # the limit lies in that corner
        _limit(copy, pen, limits.high, seen.scale_px_per_mm * ratio, width)
    _words(copy, pen, _lines(seen, limits, decision), np.vstack(taken))
    out = io.BytesIO()
    copy.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _close(picture: Image, seen: CuffSeen) -> tuple[FloatArray, Image]:
    """The part of the picture that the cuff is in, when it is small in it; and that part's corner."""
    drawn = np.vstack([seen.outline_px, seen.mirror_px, seen.axis_px]) * picture.width / seen.picture_px[0]
    low, high = drawn.min(0), drawn.max(0)
    spare = _SPARE * float((high - low).max())
    whole = np.array(picture.size, dtype=np.float64)
    low, high = np.floor(np.maximum(low - spare, 0.0)), np.ceil(np.minimum(high + spare, whole))
    if ((high - low) > _SMALL * whole).any():
        return np.zeros(2), picture
    return low, picture.crop((int(low[0]), int(low[1]), int(high[0]), int(high[1])))


def _limit(copy: Image, pen: ImageDraw, limit_mm: float, px_per_mm: float, width: int) -> None:
    """How long the limit is in this picture, at its lower right corner."""
    from PIL import ImageFont

    size = max(13.0, max(copy.size) / 50)
    font = ImageFont.load_default(size)
    said = f"limit {limit_mm:g} mm"
    length, words = limit_mm * px_per_mm, pen.textlength(said, font)
    right, bottom = copy.width - 0.6 * size, copy.height - 0.6 * size
    left = right - max(length, words)
    pen.rectangle((left - 0.6 * size, bottom - 2.2 * size, copy.width, copy.height), fill=_PAPER)
    pen.text((left, bottom - 2.0 * size), said, fill=_INK, font=font)
    pen.line(
        [(left, bottom - 0.3 * size), (left + length, bottom - 0.3 * size)], fill=_MIRROR, width=width + 2
    )


def _stroke(pen: ImageDraw, points: FloatArray, colour: tuple[int, int, int], width: int) -> None:
    """A line with a pale edge, so that it shows on any ground."""
    flat = [(float(x), float(y)) for x, y in points]
    pen.line(flat, fill=_PAPER, width=width + 4, joint="curve")
    pen.line(flat, fill=colour, width=width, joint="curve")


def _dashes(
    pen: ImageDraw, points: FloatArray, colour: tuple[int, int, int], width: int, length: float
) -> None:
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    edges = np.arange(0.0, walked[-1], length)
    for begin, end in zip(edges[::2], np.minimum(edges[::2] + length, walked[-1]), strict=True):
        at = np.linspace(begin, end, 6)
        _stroke(pen, np.column_stack([np.interp(at, walked, points[:, k]) for k in range(2)]), colour, width)


def _mark(pen: ImageDraw, largest: FloatArray, width: int) -> None:
    """A ring round the place where outline and mirror image part most, and a line from one to the other."""
    middle = largest.mean(0)
    radius = max(5.0 * width, 0.8 * float(np.linalg.norm(largest[1] - largest[0])))
    for more, colour in ((3, _PAPER), (0, _INK)):
        box = [middle[0] - radius, middle[1] - radius, middle[0] + radius, middle[1] + radius]
        pen.ellipse([float(v) for v in box], outline=colour, width=max(2, width // 2) + more)
    _stroke(pen, largest, _INK, max(2, width // 2))


def _lines(seen: CuffSeen, limits: Limits | None, decision: Decision | None) -> list[str]:
    said = [
        f"{seen.asymmetry_mm:.1f} mm",
        f"from its mirror image; 95 %: {seen.low_mm:.1f} to {seen.high_mm:.1f} mm",
    ]
    if limits is not None:
        said.append(f"limit {limits}" + (f": {decision.verdict}" if decision is not None else ""))
    if seen.words:
        said += [part.strip() for part in seen.words.split(";")]
    return said


def _words(copy: Image, pen: ImageDraw, said: list[str], used: FloatArray) -> None:
    """The numbers in the corner that is freest, on a label of paper."""
    from PIL import ImageFont

    size = max(16.0, max(copy.size) / 40)
    big, small = ImageFont.load_default(size * 1.5), ImageFont.load_default(size * 0.8)
    wide = (
        max([pen.textlength(said[0], big), *(pen.textlength(line, small) for line in said[1:])]) + 1.2 * size
    )
    tall = 2.2 * size + 1.15 * size * (len(said) - 1) + 0.3 * size
    corners = [(x, y) for y in (0.0, copy.height - tall) for x in (0.0, copy.width - wide)]

    def hidden(corner: tuple[float, float]) -> int:
        inside = (used >= corner) & (used <= np.add(corner, (wide, tall)))
        return int(inside.all(1).sum())

    left, top = min(corners, key=hidden)
    pen.rectangle((left, top, left + wide, top + tall), fill=_PAPER)
    pen.text((left + 0.6 * size, top + 0.3 * size), said[0], fill=_INK, font=big)
    for k, line in enumerate(said[1:]):
        pen.text((left + 0.6 * size, top + (2.1 + 1.15 * k) * size), line, fill=_INK, font=small)
