"""The rest angle from two lines that a person draws on a photo, where there are no cards.

One line runs along the palm's base, from the wrist toward the fingers; the other along the forearm cuff, from
the wrist toward the elbow. What is read is the angle between the two in the picture, and that is all that two
lines can give: how far from the hinge axis the camera stood is not in them. So its doubt has three parts:

    placing     a finger puts each end a little beside where it should be; over the line's length that is a turn
    edges       which edge of a formed cuff stands for its axis is the person's judgement, one for each line
    obliquity   seen from aside or from above, an angle looks larger or smaller; by how much is not known

        cuff \\                      the hand seen from its side, fingers to the right: a raised elbow end
              \\  rest angle         turns clockwise in the picture, counted positive
    - - - - - -o---------------> palm line
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, cos, degrees, hypot, isfinite, radians, sin, sqrt
from types import MappingProxyType

import numpy as np

from handsel.errors import OutOfRange
from handsel.metrology.checks import number
from handsel.metrology.distributions import coverage_factor

Point = tuple[float, float]

PLACING, EDGES, OBLIQUITY = "placing of the ends", "edges taken for the axes", "view from aside, unknown"
PLACING_SD_RATIO = 0.003  # of the picture's longer side, one end and one direction: a finger with a magnifier
PLACING_DOF = 8.0  # how much that is worth against placings that were repeated
EDGE_SD_DEG = 0.7  # of one line against the axis it stands for; as much as a loose card is turned
ASIDE_SD_DEG = 15.0  # how far before or behind the hinge axis people stand; the test photos are 16 off, rms
ABOVE_SD_DEG = 15.0  # and how far above or below it
SHORTEST_RATIO = 0.06  # of the picture's longer side
_LOWEST_DEG, _HIGHEST_DEG = -60.0, 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoLines:
    """Two lines as drawn once; points in the picture [px], x right and y down."""

    palm: tuple[Point, Point]  # from the wrist toward the fingers
    cuff: tuple[Point, Point]  # from the wrist toward the elbow


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnAngle:
    """A rest angle read from drawn lines."""

    rest_angle_deg: float
    u_rest_angle_deg: float  # standard uncertainty
    low_deg: float  # between these it lies with a probability of 95 %
    high_deg: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [deg]
    fingers_point: str  # left or right in the picture
    placing_sd_px: float  # of one end in one direction, as taken
    placing_count: int  # how often the lines were drawn


def angle_of_lines(
    drawn: Sequence[TwoLines], *, size_px: tuple[float, float], where: str = "the lines"
) -> DrawnAngle:
    """The rest angle that two drawn lines show, and how little they say of it.

    Parameters: drawn, the lines, once or drawn afresh several times; size_px [px], width and height of the
        picture that they were drawn on; where, for messages.
    Returns: DrawnAngle.
    Raises: OutOfRange for points outside the picture, lines too short to have a direction, lines that point the
        same way, or an angle that no hand rests at.
    Valid for: a hand photographed from the side of its hinge axis, lying palm down, the picture upright.
    Source: placing: independent ends, sd * sqrt(2) / length [rad] for each line (JCGM 100:2008 5.1.2), the sd
        pooled from a stated value and repeated placings by their degrees of freedom (ISO/IEC Guide 98-3 H.3.6);
        edges: as much as a loose card, decision 0044; obliquity: root mean square of the change that
        seen_aslant works out for a camera some 15 degrees off, own assumption, docs/decisions/0044.
    Checked by: unit/test_vision_two_lines.py
    """
    if not drawn:
        raise OutOfRange(
            "there are no lines", where=where, do="Draw one along the palm and one along the cuff."
        )
    width, height = (number(side, "size", where=where, above=0.0) for side in size_px)
    longer = max(width, height)
    for lines in drawn:
        _check(lines, width, height, where)
    angles = [_angle_deg(lines, where) for lines in drawn]
    count = len(drawn)
    sd_px = _placing_sd_px(drawn, PLACING_SD_RATIO * longer)
    turns = [hypot(*(sqrt(2.0) * sd_px / _length(line) for line in (one.palm, one.cuff))) for one in drawn]
    mean = sum(angles) / count
    contributions = {
        PLACING: degrees(sqrt(sum(t * t for t in turns)) / count),
        EDGES: sqrt(2.0) * EDGE_SD_DEG,
        OBLIQUITY: u_obliquity_deg(mean),
    }
    u = hypot(*contributions.values())
    k = coverage_factor()
    return DrawnAngle(
        rest_angle_deg=mean,
        u_rest_angle_deg=u,
        low_deg=mean - k * u,
        high_deg=mean + k * u,
        contributions=MappingProxyType(contributions),
        fingers_point="right" if _fingers_right(drawn[0]) else "left",
        placing_sd_px=sd_px,
        placing_count=count,
    )


def seen_aslant(angle_deg: float, *, aside_deg: float, above_deg: float) -> float:
    """How large a rest angle looks to a distant camera that is not on the hinge axis.

    Parameters: angle_deg [deg], the true one, the palm lying level; aside_deg [deg], the camera's way round the
        hand from the hinge axis, toward the fingers positive; above_deg [deg], its height over that axis.
    Returns: the angle between both lines in the picture [deg].
    Raises: OutOfRange from 80 degrees of slant, where lines lose their direction.
    Valid for: a camera far away against the hand's size; near ones add some tenths of a degree.
    Source: own geometry: both lines projected along the line of sight.
    Checked by: unit/test_vision_two_lines.py
    >>> round(seen_aslant(36.0, aside_deg=0.0, above_deg=0.0), 3)
    36.0
    """
    angle = number(angle_deg, "angle", where="view", low=-90.0, high=150.0)
    for value in (aside_deg, above_deg):
        number(value, "slant", where="view", low=-80.0, high=80.0)
    a, e = radians(aside_deg), radians(above_deg)

    def shown(x: float, y: float) -> Point:
        return x * cos(a), y * cos(e) - x * sin(a) * sin(e)

    ux, uy = shown(-1.0, 0.0)  # the palm's line, drawn on beyond the wrist
    vx, vy = shown(-cos(radians(angle)), sin(radians(angle)))
    return degrees(atan2(uy * vx - ux * vy, ux * vx + uy * vy))


@lru_cache(maxsize=256)
def _slant_rms(tenths: int) -> float:
    angle = tenths / 10.0
    places, weights = np.polynomial.hermite_e.hermegauss(9)
    weights = weights / weights.sum()
    squares = 0.0
    for x, wx in zip(places, weights, strict=True):
        for y, wy in zip(places, weights, strict=True):
            seen = seen_aslant(angle, aside_deg=ASIDE_SD_DEG * float(x), above_deg=ABOVE_SD_DEG * float(y))
            squares += float(wx * wy) * (seen - angle) ** 2
    return sqrt(squares)


def u_obliquity_deg(angle_deg: float) -> float:
    """Standard uncertainty of an angle between lines in a picture from not knowing where the camera stood.

    Parameters: angle_deg [deg], the angle as seen.
    Returns: root mean square of the error [deg].
    Raises: OutOfRange for an angle that no hand rests at.
    Valid for: people who were asked to hold the phone beside the hand, as high as the wrist.
    Source: Gauss-Hermite quadrature over two normal angles of ASIDE_SD_DEG and ABOVE_SD_DEG.
    Checked by: unit/test_vision_two_lines.py
    """
    return _slant_rms(round(10.0 * number(angle_deg, "angle", where="view", low=-90.0, high=150.0)))


def _length(line: tuple[Point, Point]) -> float:
    return hypot(line[1][0] - line[0][0], line[1][1] - line[0][1])


def _fingers_right(lines: TwoLines) -> bool:
    return lines.palm[1][0] >= lines.palm[0][0]


def _angle_deg(lines: TwoLines, where: str) -> float:
    ux, uy = (
        lines.palm[0][n] - lines.palm[1][n] for n in (0, 1)
    )  # the palm's line, drawn on beyond the wrist
    vx, vy = (lines.cuff[1][n] - lines.cuff[0][n] for n in (0, 1))
    turn = degrees(atan2(ux * vy - uy * vx, ux * vx + uy * vy))
    angle = turn if _fingers_right(lines) else -turn
    if not _LOWEST_DEG <= angle <= _HIGHEST_DEG:
        raise OutOfRange(
            f"they make {angle:.0f} degrees, and no hand rests so",
            where=where,
            do="Draw both from the wrist outward: one toward the fingers, one toward the elbow.",
        )
    return angle


def _check(lines: TwoLines, width: float, height: float, where: str) -> None:
    for name, line in (("palm", lines.palm), ("cuff", lines.cuff)):
        for x, y in line:
            if not (isfinite(x) and isfinite(y) and 0.0 <= x <= width and 0.0 <= y <= height):
                raise OutOfRange(
                    f"an end of the {name} line lies outside the picture",
                    where=where,
                    do="Put both ends on the hand.",
                )
        if _length(line) < SHORTEST_RATIO * max(width, height):
            raise OutOfRange(
                f"the {name} line is too short to have a direction",
                where=where,
                do="Draw it along the whole edge.",
            )


def _placing_sd_px(drawn: Sequence[TwoLines], stated_px: float) -> float:
    """The stated scatter of an end, made better by how far repeated placings are apart across the lines."""
    count = len(drawn)
    if count < 2:
        return stated_px
    squares, dof = PLACING_DOF * stated_px**2, PLACING_DOF
    for which in ("palm", "cuff"):
        directions = []
        for lines in drawn:
            (x0, y0), (x1, y1) = getattr(lines, which)
            directions.append((atan2(y1 - y0, x1 - x0), hypot(x1 - x0, y1 - y0)))
        first = directions[0][0]
        turns = [(a - first + np.pi) % (2 * np.pi) - np.pi for a, _ in directions]
        middle = sum(turns) / count
        length = sum(long for _, long in directions) / count
        squares += sum(((t - middle) * length) ** 2 for t in turns) / 2.0
        dof += count - 1
    return sqrt(squares / dof)
