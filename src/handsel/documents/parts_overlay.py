"""The photo of a kit with what was seen on it: every part's outline with a sign, a number, and its name in a list."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from handsel.vision.parts.looking import PartsSeen
from handsel.vision.parts.seen import PartSeen, State

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

_PAPER, _INK = (255, 253, 247), (34, 48, 58)
_RIGHT, _WRONG, _OPEN = (61, 90, 128), (177, 67, 43), (176, 128, 32)
# A sign beside each colour: none is told by its colour alone.
_LOOK: dict[State, tuple[tuple[int, int, int], str]] = {
    State.RIGHT: (_RIGHT, "ok"),
    State.MIRRORED: (_WRONG, "other hand"),
    State.OTHER_SCALE: (_WRONG, "other scale"),
    State.EXTRA: (_WRONG, "too many"),
    State.FOREIGN: (_WRONG, "not of the kit"),
    State.UNTOLD: (_OPEN, "?"),
}
_LONGEST_PX = 1600


def parts_overlay(picture: Image, parts: PartsSeen, *, quality: int = 86) -> bytes:
    """A JPEG of the photo with each thing's outline, its number and what is said of it.

    Parameters: picture, RGB and upright, the one that was looked at or a smaller copy; parts; quality of the JPEG.
    Returns: the JPEG's bytes; nothing of the photo's own file but its pixels.
    Raises: nothing of its own.
    Valid for: what was seen on that photo.
    Source: own drawing.
    Checked by: unit/test_parts_overlay.py
    """
    from PIL import ImageDraw

    shrink = min(1.0, _LONGEST_PX / max(picture.size))
    copy = picture.convert("RGB").resize((round(picture.width * shrink), round(picture.height * shrink)))
    copy.info.clear()  # what else the file said stays behind
    ratio = copy.width / parts.picture_px[0]
    pen = ImageDraw.Draw(copy)
    width = max(3, round(max(copy.size) / 420))
    for seen in parts.seen:
        _outline(pen, seen, ratio, width)
    for number, seen in enumerate(parts.seen, 1):
        _label(copy, pen, number, seen, ratio)
    out = io.BytesIO()
    copy.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _outline(pen: ImageDraw, seen: PartSeen, ratio: float, width: int) -> None:
    colour, _ = _LOOK[seen.state]
    ring = [((x + 0.5) * ratio, (y + 0.5) * ratio) for x, y in seen.outline_px]
    ring.append(ring[0])
    pen.line(ring, fill=_PAPER, width=width + 3, joint="curve")
    if seen.state is State.RIGHT:
        pen.line(ring, fill=colour, width=width, joint="curve")
        return
    # Dashed, so that it differs without its colour.
    for k in range(0, len(ring) - 1, 4):
        pen.line(ring[k : k + 3], fill=colour, width=width + 1, joint="curve")


def _label(copy: Image, pen: ImageDraw, number: int, seen: PartSeen, ratio: float) -> None:
    """Number and sign beside the part, within the picture."""
    from PIL import ImageFont

    colour, sign = _LOOK[seen.state]
    size = max(13, round(max(copy.size) / 75))
    font = ImageFont.load_default(size)
    words = f"{number} {sign}" if seen.state is not State.RIGHT else str(number)
    wide, tall = pen.textlength(words, font) + 0.7 * size, 1.45 * size
    xs = [x * ratio for x, _ in seen.outline_px]
    ys = [y * ratio for _, y in seen.outline_px]
    left = min(max((min(xs) + max(xs) - wide) / 2, 0), copy.width - wide)
    top = min(max((min(ys) + max(ys) - tall) / 2, 0), copy.height - tall)
    pen.rounded_rectangle(
        (left, top, left + wide, top + tall), radius=tall / 3, fill=_PAPER, outline=colour, width=2
    )
    pen.text((left + 0.35 * size, top + 0.12 * size), words, fill=_INK, font=font)
