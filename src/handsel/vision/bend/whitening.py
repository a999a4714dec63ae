"""Candidates for stress whitening in a close photo of a bend: for a person to confirm or dismiss.

Whitening is a line along the bend, lighter and less saturated than the plastic's own colour. A photo cannot say that it
is whitening; it can say where to look. The most common thing that looks alike is the lamp's reflection along the bend:
it adds white and leaves the colour below as it is, while whitening covers the colour. Where the plastic has no colour
of its own the two cannot be told apart, and a light plastic shows neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import degrees

import numpy as np
import numpy.typing as npt

from handsel.errors import HandselError
from handsel.metrology.checks import number
from handsel.vision.bend.pale_lines import Line, find_lines
from handsel.vision.bend.pale_surface import Surface, part_and_colour, take_apart
from handsel.vision.colour import ciede2000, lab_from_linear

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

LEAST_DELTA_E = 2.5  # CIEDE2000 of a line's middle over its sides, from which it is marked
_LEAST_SIDE_PX = 240
_LEAST_LENGTH = 0.12  # of the picture's longer side
_LEAST_SLIM = 4.0  # length over width
_ALONG_DEG = 30.0  # from the bend
_SHOWS = 7.0  # CIEDE2000 that a third of white must make, or the plastic is too light
# White that lies in the plastic covers as much of its colour as there is of it: covered and added over the colour's
# strongest channel are then in the ratio of that channel's reflectance to white's, which for a plastic with a colour is
# 0.35 to 1.1. A reflection covers none. On renders (docs/studies/bends.md, seen) 0.45 and more against 0.17 at most.
_COVERS_RATIO = 0.3
_THIN = 0.0065  # of the picture, where some 50 mm show: a third of a millimetre; whitening that thin is named a scratch
_LEAST_PART = 0.25  # of the picture
_MOST_CLIPPED = 0.35
_DARK = 0.012  # of full white, the 90th percentile
_MOST_BLUR_PX = 5.0
_MOST_MARKED = 6
_MANY = 8  # parallel lines: a print's raster


class BendCause(StrEnum):
    """What keeps a photo of a bend from being looked at."""

    NO_PART = "no part found"
    SMALL = "picture too small"
    BLURRED = "blurred"
    DARK = "too dark"
    GLARE = "washed out"


class BendRefused(HandselError):
    """A photo of a bend in which nothing can be looked for: `cause` for programs, the message for people."""

    def __init__(self, cause: BendCause, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where=where, do=do)
        self.cause = cause


class Looks(StrEnum):
    """What a marked line looks like most."""

    WHITENING = "like whitening"
    REFLECTION = "may be a reflection"
    UNSURE = "whitening or a reflection"
    SCRATCH = "may be a scratch"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A pale line to be confirmed or dismissed by a person."""

    line_px: FloatArray  # (n, 2) [px] along its middle, in the photo
    length_px: float
    width_px: float
    delta_e: float  # CIEDE2000 of its middle, over that of both sides
    lighter: float  # of its middle over its sides, in L*
    less_saturated: float  # share of its sides' chroma that is gone; 0 for a plastic without colour
    covers: float  # share of the plastic's own colour that is gone; a reflection leaves it
    to_bend_deg: float | None  # between line and bend; None when the bend's direction is not known
    looks: Looks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BendSeen:
    """What a close photo of a bend shows."""

    can_tell: bool  # False: on this plastic a photo shows no whitening; that nothing is marked says nothing
    why_not: str  # in words, when it cannot tell
    candidates: tuple[Candidate, ...]  # the most striking first
    own_lab: tuple[float, float, float]  # the part's own colour in the photo, CIE L*a*b*
    bend_deg: float | None  # direction of the bend in the picture, 0 to 180, x toward y (down)
    bend_given: bool  # a person drew it
    notes: tuple[str, ...]
    picture_px: tuple[int, int]  # width and height of the photo that the lines are in

    @property
    def words(self) -> str:
        """The result in one sentence, for the person who decides."""
        if not self.can_tell:
            return f"The photo cannot tell: {self.why_not}."
        if not self.candidates:
            return "Nothing is marked. Look for yourself: faint whitening does not show in every light."
        n = len(self.candidates)
        return (
            f"{n} pale line{'s' if n > 1 else ''} to look at. Wipe the place and turn the part: a reflection moves, "
            "whitening stays."
        )


def look_at_bend(
    pixels: Pixels, *, bend_line_px: tuple[tuple[float, float], tuple[float, float]] | None = None,
    where: str = "photo",
) -> BendSeen:  # fmt: skip
    """Mark what may be stress whitening in a close photo of a bend or of the sliding joint.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB, upright as shown; bend_line_px, two points [px] of a line along the
        bend that a person has drawn, or None; where, what the photo is called in messages.
    Returns: BendSeen. Every candidate is a question to a person, never a finding.
    Raises: BendRefused with its cause; OutOfRange for a bend line that is none.
    Valid for: one plastic of some colour, filling most of the picture, in even light.
    Source: own construction on CIEDE2000; limits from renders, as docs/studies/bends.md tells.
    Checked by: unit/test_vision_whitening.py, docs/studies/bends.md
    """
    given = None if bend_line_px is None else _given(bend_line_px, where)
    height, width = pixels.shape[:2]
    if min(height, width) < _LEAST_SIDE_PX:
        raise BendRefused(
            BendCause.SMALL,
            f"the picture has only {width} by {height} pixels",
            where=where,
            do="Send the photo itself, not its preview.",
        )
    light, part, colour, ratio = part_and_colour(pixels)
    _judge_light(light, part, where)
    blur = _blur_px(light)
    if blur is not None and blur > _MOST_BLUR_PX:
        raise BendRefused(
            BendCause.BLURRED,
            "the photo is blurred",
            where=where,
            do="Go back a little until the phone can focus, rest it on something, and take it again.",
        )
    own = lab_from_linear(colour)
    surface = take_apart(light, part, colour, ratio)
    bend = given if given is not None else _bend_direction(surface)
    why_not = _too_light(colour)
    notes = []
    found: list[Candidate] = []
    if not why_not:
        size = float(max(light.shape[:2]))
        lines = find_lines(surface, least_length=_LEAST_LENGTH * size, least_contrast=LEAST_DELTA_E)
        lines = [line for line in lines if line.length > _LEAST_SLIM * line.width]
        lines, raster = _without_raster(lines)
        if raster:
            notes.append("many lines side by side were taken for the raster of the print and not marked")
        found = [_candidate(surface, line, bend) for line in lines]
        along = [c for c in found if c.to_bend_deg is None or c.to_bend_deg <= _ALONG_DEG]
        if len(along) < len(found):
            notes.append("pale lines across the bend were taken for scratches and not marked")
        found = along[:_MOST_MARKED]
    if bend is None:
        notes.append("the direction of the bend does not show; lines in every direction are marked")
    if not surface.parted and not why_not:
        notes.append("on a plastic without colour a reflection looks like whitening")
    if blur is None:
        notes.append("nothing in the picture shows whether it is sharp")
    return BendSeen(
        can_tell=not why_not,
        why_not=why_not,
        candidates=tuple(found),
        own_lab=(float(own[0]), float(own[1]), float(own[2])),
        bend_deg=bend,
        bend_given=given is not None,
        notes=tuple(notes),
        picture_px=(int(width), int(height)),
    )


def _given(line: tuple[tuple[float, float], tuple[float, float]], where: str) -> float:
    """Direction of a line that a person drew."""
    (x1, y1), (x2, y2) = (
        tuple(number(v, "a point of the bend's line", where=where, do="Draw the line again.") for v in point)
        for point in line
    )
    number(np.hypot(x2 - x1, y2 - y1), "length of the bend's line", where=where, low=8.0,
           do="Draw it from one side of the picture to the other.")  # fmt: skip
    return degrees(np.arctan2(y2 - y1, x2 - x1)) % 180.0


def _judge_light(light: FloatArray, part: npt.NDArray[np.bool_], where: str) -> None:
    if float(np.quantile(light.max(-1), 0.9)) < _DARK:
        raise BendRefused(
            BendCause.DARK,
            "the photo is too dark",
            where=where,
            do="Hold a lamp low beside the bend and take it again.",
        )
    if float((light.min(-1) > 0.97).mean()) > _MOST_CLIPPED:
        raise BendRefused(
            BendCause.GLARE,
            "much of the photo is washed out",
            where=where,
            do="Turn the part or the lamp until it does not shine into the camera, or tap on the part to set the "
            "brightness, and take it again.",
        )
    if float(part.mean()) < _LEAST_PART:
        raise BendRefused(
            BendCause.NO_PART,
            "no part of one colour fills the middle of the photo",
            where=where,
            do="Go closer, until the bend fills most of the picture, and take it again.",
        )


def _blur_px(light: FloatArray) -> float | None:
    """How far light is spread at the sharpest edges (standard deviation); None when there is no edge.

    Of an edge blurred by s, what one more blur by t leaves of the slope is s / sqrt(s^2 + t^2).
    """
    import cv2

    gray = np.sqrt(np.clip(light.mean(-1), 0.0, 1.0))
    more = cv2.GaussianBlur(gray, (0, 0), 3.0)
    first = np.hypot(cv2.Sobel(gray, cv2.CV_64F, 1, 0) / 8, cv2.Sobel(gray, cv2.CV_64F, 0, 1) / 8)
    second = np.hypot(cv2.Sobel(more, cv2.CV_64F, 1, 0) / 8, cv2.Sobel(more, cv2.CV_64F, 0, 1) / 8)
    strong = first > max(0.012, 5.0 * float(np.median(first)), float(np.quantile(first, 0.995)))
    if strong.sum() < 20:
        return None
    left = np.clip(float(np.median(second[strong] / first[strong])), 0.0, 0.999)
    return float(3.0 * left / np.sqrt(1.0 - left**2))


def _bend_direction(surface: Surface) -> float | None:
    """Along the bend the shading stays the same; None when the picture does not show which way that is."""
    import cv2

    shade = surface.light.mean(-1)
    tone = np.log(np.maximum(shade, 0.004))
    calm = cv2.GaussianBlur(np.where(surface.part, tone, np.median(tone)), (0, 0), 7.0)
    inside = cv2.erode(surface.part.astype(np.uint8), np.ones((31, 31), np.uint8)) > 0
    if inside.mean() < 0.1:
        return None
    gx, gy = cv2.Sobel(calm, cv2.CV_64F, 1, 0)[inside], cv2.Sobel(calm, cv2.CV_64F, 0, 1)[inside]
    xx, yy, xy = float((gx * gx).mean()), float((gy * gy).mean()), float((gx * gy).mean())
    total = xx + yy
    if total < 1e-7 or np.hypot(xx - yy, 2.0 * xy) / total < 0.45:
        return None
    across = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    return float((degrees(across) + 90.0) % 180.0)


def _too_light(colour: FloatArray) -> str:
    """Why no whitening would show on this colour; empty when it would."""
    white = np.full(3, max(0.85, float(colour.max())))
    whiter = 0.67 * colour + 0.33 * white
    if float(ciede2000(lab_from_linear(colour), lab_from_linear(whiter))) >= _SHOWS:
        return ""
    return "the plastic is so light that whitening hardly shows on it; look at it against a lamp, and flex it gently"


def _without_raster(lines: list[Line]) -> tuple[list[Line], bool]:
    """Lines without those that lie side by side in great number."""
    if len(lines) < _MANY:
        return lines, False
    angles = np.array([line.angle_deg for line in lines])
    apart = np.abs((angles[:, None] - angles + 90.0) % 180.0 - 90.0)
    beside = (apart < 8.0).sum(1)
    contrast = np.array([line.contrast for line in lines])
    usual = np.median(contrast)
    kept = [line for line, n in zip(lines, beside, strict=True) if n < _MANY or line.contrast > 2.0 * usual]
    return kept, len(kept) < len(lines)


def _candidate(surface: Surface, line: Line, bend: float | None) -> Candidate:
    lighter, less = _colours(surface, line)
    to_bend = None if bend is None else abs((line.angle_deg - bend + 90.0) % 180.0 - 90.0)
    if line.width < _THIN * max(surface.light.shape[:2]):
        looks = Looks.SCRATCH
    elif not surface.parted:
        looks = Looks.UNSURE
    else:
        looks = Looks.WHITENING if line.covers > _COVERS_RATIO * line.white_ratio else Looks.REFLECTION
    return Candidate(
        line_px=(line.middle + 0.5) / surface.ratio - 0.5,
        length_px=line.length / surface.ratio,
        width_px=line.width / surface.ratio,
        delta_e=line.contrast,
        lighter=lighter,
        less_saturated=less if surface.parted else 0.0,
        covers=line.covers if surface.parted else 0.0,
        to_bend_deg=to_bend,
        looks=looks,
    )


def _colours(surface: Surface, line: Line) -> tuple[float, float]:
    """How much lighter the line's middle is than its sides (L*), and what share of their chroma is gone."""
    way = line.middle[-1] - line.middle[0]
    side = np.array([-way[1], way[0]]) / max(float(np.linalg.norm(way)), 1e-9)
    height, width = surface.light.shape[:2]

    def seen(offset: float) -> FloatArray:
        spots = np.round(line.middle + offset * side).astype(int)
        spots = np.clip(spots, 0, [width - 1, height - 1])
        return np.asarray(np.median(lab_from_linear(surface.light[spots[:, 1], spots[:, 0]]), axis=0))

    away = 1.2 * line.width + 2.0
    core, flank = seen(0.0), (seen(away) + seen(-away)) / 2.0
    chroma, of_flank = float(np.hypot(*core[1:])), float(np.hypot(*flank[1:]))
    return float(core[0] - flank[0]), 1.0 - chroma / max(of_flank, 1e-3)
