"""A small language for drawings kept as data: one stroke a line, checked before it is ever drawn.

    "part M 10 20 L 40 20 Q 50 20 50 30 Z"   ink, then a path of absolute SVG commands M L Q C A Z
    "mark> M 10 20 L 30 20"                  an arrow head at its end; "<>" one at both ends
    "dot o 20 30 4"                          a circle: centre, radius
    "skin = 10 20 6 40 20 4"                 a band drawn tight round two discs: x y r, x y r
    "ink t 20 30 5"                          a number or letter, at most four characters
    "@fingertip 70 40 90 0.8"                a stamp: a drawing of its own, placed, turned [deg], scaled

x runs to the right and y down. Nothing but these can be written, so a file from outside cannot bring
a script, a link or a style into a page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from math import acos, atan2, cos, hypot, isfinite, radians, sin

# What a stroke is drawn with. Filled inks hide what lies behind them; the others are lines.
FILLED = (
    "part",
    "far",
    "cuff",
    "block",
    "pin",
    "foam",
    "skin",
    "strap",
    "tool",
    "paper",
    "glue",
    "shade",
    "dot",
    "markdot",
)
LINES = ("line", "thin", "lead", "cord", "elastic", "ghost", "mark", "white", "bold")
INKS = (*FILLED, *LINES, "ink")

ARGUMENTS = {"M": 2, "L": 2, "Q": 4, "C": 6, "A": 7, "Z": 0}
TEXT = re.compile(r"^[0-9A-Za-z+×°%–?]{1,4}$")
FAR = 2000.0
MOST_STAMPS_DEEP = 3

Step = tuple[str, tuple[float, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One piece of a drawing. `steps` are absolute SVG commands, or ("o", (x, y, r)), or ("t", (x, y))."""

    ink: str
    steps: tuple[Step, ...]
    heads: str = ""  # "", ">" or "<>"
    text: str = ""


class BadStroke(ValueError):
    """A line that is no stroke; its text says what is wrong with it in a builder's words."""


def strokes(lines: Iterable[str], stamps: Mapping[str, tuple[str, ...]], deep: int = 0) -> tuple[Stroke, ...]:
    """All strokes of some lines, stamps put in their places.

    Parameters: lines; stamps, the lines of each stamp by name; deep, how many stamps this lies in.
    Returns: strokes in the order in which they are painted.
    Raises: BadStroke for the first line that is none.
    Valid for: stamps in stamps, three deep at most.    Source: own format.
    Checked by: unit/test_figures_data.py
    """
    found: list[Stroke] = []
    for line in lines:
        words = line.split()
        if words and words[0].startswith("@"):
            found += _stamped(words, stamps, deep)
        else:
            found.append(stroke(line))
    return tuple(found)


def stroke(line: str) -> Stroke:
    """One line that is no stamp, as a stroke. Raises BadStroke."""
    words = line.split()
    if len(words) < 3:
        raise BadStroke("it has too few words for a stroke")
    ink, heads = words[0], ""
    for end in ("<>", ">"):
        if ink.endswith(end):
            ink, heads = ink[: -len(end)], end
            break
    if ink not in INKS:
        raise BadStroke(f'the ink "{ink[:20]}" is not known; inks are {", ".join(INKS)}')
    if words[1] == "o":
        x, y, r = _numbers(words[2:], 3)
        return Stroke(ink=ink, steps=(("o", (x, y, _positive(r))),))
    if words[1] == "=":
        return Stroke(ink=ink, steps=band(*_numbers(words[2:], 6)))
    if words[1] == "t":
        x, y = _numbers(words[2:4], 2)
        if len(words) != 5 or not TEXT.match(words[4]):
            raise BadStroke("a text is one number or letter, four characters at most")
        return Stroke(ink=ink, steps=(("t", (x, y)),), text=words[4])
    steps = _path(words[1:])
    if heads and steps[-1][0] not in "LQC":
        raise BadStroke("an arrow ends in L, Q or C")
    if ink == "ink":
        raise BadStroke('the ink "ink" is for texts only')
    return Stroke(ink=ink, steps=steps, heads=heads)


def _path(words: list[str]) -> tuple[Step, ...]:
    steps: list[Step] = []
    at = 0
    while at < len(words):
        command = words[at]
        if command not in ARGUMENTS:
            raise BadStroke(f'"{command[:20]}" is no command; commands are M L Q C A Z, in capitals')
        if not steps and command != "M":
            raise BadStroke("a path begins with M")
        many = ARGUMENTS[command]
        values = _numbers(words[at + 1 : at + 1 + many], many)
        if command == "A" and (values[0] != values[1] or values[3] not in (0, 1) or values[4] not in (0, 1)):
            raise BadStroke("an arc has two equal radii, a turn, two flags of 0 or 1, and its end")
        steps.append((command, values))
        at += 1 + many
        while many and at < len(words) and not words[at].isalpha():  # SVG lets a command stand for many
            values = _numbers(words[at : at + many], many)
            steps.append(("L" if command == "M" else command, values))
            at += many
    if len(steps) < 2:
        raise BadStroke("a path has at least two steps")
    return tuple(steps)


def _numbers(words: list[str], many: int) -> tuple[float, ...]:
    if len(words) != many:
        raise BadStroke(f"{many} numbers are wanted there")
    values = []
    for word in words:
        try:
            value = float(word)
        except ValueError:
            raise BadStroke(f'"{word[:20]}" is no number') from None
        if not isfinite(value) or abs(value) > FAR:
            raise BadStroke(f'"{word[:20]}" lies far outside any drawing')
        values.append(value)
    return tuple(values)


def _positive(r: float) -> float:
    if r <= 0:
        raise BadStroke("a radius is more than 0")
    return r


def band(x1: float, y1: float, r1: float, x2: float, y2: float, r2: float) -> tuple[Step, ...]:
    """The outline of two discs with a band drawn tight round them.

    Parameters: centre and radius of both.    Returns: steps of a closed path.
    Raises: BadStroke when one disc lies within the other.    Valid for: radii above 0.
    Source: common tangents of two circles: at acos((r1 - r2) / d) from the line of centres.
    Checked by: unit/test_figures_data.py
    """
    _positive(r1)
    _positive(r2)
    d = hypot(x2 - x1, y2 - y1)
    if d <= abs(r1 - r2):
        raise BadStroke("of the two discs one lies within the other")
    way = atan2(y2 - y1, x2 - x1)
    off = acos((r1 - r2) / d)
    a, b = way + off, way - off
    large = 1.0 if r1 > r2 else 0.0
    return (
        ("M", (x1 + r1 * cos(a), y1 + r1 * sin(a))),
        ("A", (r1, r1, 0.0, large, 1.0, x1 + r1 * cos(b), y1 + r1 * sin(b))),
        ("L", (x2 + r2 * cos(b), y2 + r2 * sin(b))),
        ("A", (r2, r2, 0.0, 1.0 - large, 1.0, x2 + r2 * cos(a), y2 + r2 * sin(a))),
        ("Z", ()),
    )


def _stamped(words: list[str], stamps: Mapping[str, tuple[str, ...]], deep: int) -> tuple[Stroke, ...]:
    name = words[0][1:]
    if name not in stamps:
        raise BadStroke(f'there is no stamp "{name[:30]}"; stamps are {", ".join(sorted(stamps))}')
    if deep >= MOST_STAMPS_DEEP:
        raise BadStroke("stamps lie in stamps more than three deep")
    if not 3 <= len(words) <= 5:
        raise BadStroke("a stamp has a place, and may have a turn and a scale")
    numbers = _numbers(words[1:], len(words) - 1)
    x, y, turn_deg, scale = (*numbers, *(0.0, 1.0)[len(numbers) - 2 :])
    _positive(scale)
    c, s = scale * cos(radians(turn_deg)), scale * sin(radians(turn_deg))

    def at(u: float, v: float) -> tuple[float, float]:
        return (x + c * u - s * v, y + s * u + c * v)

    return tuple(moved(k, at, scale) for k in strokes(stamps[name], stamps, deep + 1))


def moved(
    k: Stroke, at: Callable[[float, float], tuple[float, float]], scale: float, flips: bool = False
) -> Stroke:
    """A stroke somewhere else.

    Parameters: k; at, where a place goes; scale, by which radii grow; flips, whether `at` mirrors.
    Returns: Stroke.    Raises: nothing of its own.    Valid for: shifts, turns, even scales and mirrors.
    Source: an arc seen in a mirror runs the other way round.    Checked by: unit/test_figures_data.py
    """
    steps: list[Step] = []
    for command, v in k.steps:
        if command == "A":
            sweep = 1.0 - v[4] if flips else v[4]
            steps.append(("A", (v[0] * scale, v[1] * scale, 0.0, v[3], sweep, *at(v[5], v[6]))))
        elif command == "o":
            steps.append(("o", (*at(v[0], v[1]), v[2] * scale)))
        else:
            pairs = [at(v[i], v[i + 1]) for i in range(0, len(v), 2)]
            steps.append((command, tuple(c for pair in pairs for c in pair)))
    return Stroke(ink=k.ink, steps=tuple(steps), heads=k.heads, text=k.text)
