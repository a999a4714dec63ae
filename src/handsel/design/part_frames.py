"""Where the parts of a hand lie: each part's own frame, and its copies in the straight hand.

A digit's parts have x along the digit away from the palm, y along the hinge axis and z toward the
back of the digit, with the origin on the hinge that carries the part. Every other part has the axes
of the palm frame, with the origin at `Part.at_mm`. A hinge pin lies along its own y.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import CUFF, PALM, Design, Digit, Hinge, Part, RoutePoint
from handsel.errors import OutOfRange

Floats = NDArray[np.float64]

FINGER_PIN, THUMB_PIN, WRIST_PIN = "finger_hinge_pin", "thumb_hinge_pin", "wrist_pin"
PIN_SHAPES = (FINGER_PIN, THUMB_PIN, WRIST_PIN)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seat:
    """One copy of a part in the straight hand: the body that it moves with, and its place."""

    body: str
    matrix: Floats  # (4, 4) part frame to palm frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Which part of which digit a body is."""

    digit: Digit
    is_tip: bool


def segment_of(design: Design, body: str) -> Segment | None:
    """The digit segment that a body is, or None for palm, cuff and what slides on it."""
    for digit in design.digits:
        if design.hinge(digit.proximal_hinge).child == body:
            return Segment(digit=digit, is_tip=False)
        if design.hinge(digit.tip_hinge).child == body:
            return Segment(digit=digit, is_tip=True)
    return None


def digit_matrix(design: Design, digit: Digit, *, at_tip_hinge: bool = False) -> Floats:
    """(4, 4) from the frame of a digit's part to the palm frame; the origin on one of its hinges [mm]."""
    knuckle, middle = design.hinge(digit.proximal_hinge), design.hinge(digit.tip_hinge)
    along = np.subtract(middle.origin_mm, knuckle.origin_mm)
    return _matrix(along, knuckle.axis, (middle if at_tip_hinge else knuckle).origin_mm)


def _matrix(along: Iterable[float], across: Iterable[float], origin: Iterable[float]) -> Floats:
    y = np.array(list(across), float)
    x = np.array(list(along), float)
    x -= y * (x @ y) / (y @ y)  # exactly square, also when a file rounds its axes
    x, y = x / np.linalg.norm(x), y / np.linalg.norm(y)
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack([x, y, np.cross(x, y)])
    matrix[:3, 3] = list(origin)
    return matrix


def shift(at_mm: Iterable[float]) -> Floats:
    """(4, 4) motion without a turn."""
    matrix = np.eye(4)
    matrix[:3, 3] = list(at_mm)
    return matrix


def inverse(matrix: Floats) -> Floats:
    """The (4, 4) rigid motion back."""
    back = np.eye(4)
    back[:3, :3] = matrix[:3, :3].T
    back[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return back


def carried(matrix: Floats, points: Iterable[Iterable[float]]) -> Floats:
    """(n, 3) points under a (4, 4) motion [mm]."""
    p = np.array([list(q) for q in points], float).reshape(-1, 3)
    return np.asarray(p @ matrix[:3, :3].T + matrix[:3, 3])


def turned(points: Floats, hinge: Hinge, angle_deg: float) -> Floats:
    """(n, 3) palm-frame points carried round a hinge from the straight hand [mm]."""
    a, o, t = np.array(hinge.axis), np.array(hinge.origin_mm), np.radians(angle_deg)
    p = np.atleast_2d(points) - o
    along = np.outer(p @ a, a)
    return np.asarray(o + along + np.cos(t) * (p - along) + np.sin(t) * np.cross(a, p))


def at_body(points: Iterable[RoutePoint], body: str) -> Floats:
    """(n, 3) the route points on one body, in order [mm], palm frame."""
    return np.array([p.at_mm for p in points if p.body == body], float).reshape(-1, 3)


def part_matrix(design: Design, part: Part) -> Floats:
    """(4, 4) from the part's frame to the palm frame, for its first copy."""
    segment = segment_of(design, part.body)
    if segment is None or part.shape in PIN_SHAPES:
        return shift(part.at_mm)
    matrix = digit_matrix(design, segment.digit)
    matrix[:3, 3] = part.at_mm
    return matrix


def pinned_hinges(design: Design, shape: str) -> tuple[Hinge, ...]:
    """The digit hinges that pins of one shape serve."""
    digits = [d for d in design.digits if (d.name == "thumb") == (shape == THUMB_PIN)]
    return tuple(design.hinge(h) for d in digits for h in (d.proximal_hinge, d.tip_hinge))


def seats(design: Design, part: Part) -> tuple[Seat, ...]:
    """Where each copy of a part lies in the straight hand.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: one Seat a copy, as many as the kit has.
    Raises: OutOfRange when a pin's count is not the number of places for it.
    Valid for: pins in digit hinges and the wrist; of any other part one copy.
    Source: the hinges of the design.
    Checked by: unit/test_shapes.py, unit/test_shapes_together.py
    """
    if part.shape == WRIST_PIN:
        return _wrist_seats(design, part)
    if part.shape not in PIN_SHAPES:
        return (Seat(body=part.body, matrix=part_matrix(design, part)),)
    hinges = pinned_hinges(design, part.shape)
    return _as_many(part, tuple(Seat(body=h.parent, matrix=_pin_matrix(h)) for h in hinges))


def _pin_matrix(hinge: Hinge) -> Floats:
    ahead = (1.0, 0.0, 0.0) if abs(hinge.axis[0]) < 0.9 else (0.0, 0.0, 1.0)
    return _matrix(ahead, hinge.axis, hinge.origin_mm)


def _wrist_seats(design: Design, part: Part) -> tuple[Seat, ...]:
    """A stub pin from outside on each side; a right hand's pin has its head at its own -y end."""
    x, y, z = part.at_mm
    wrist = next(h for h in design.hinges if {h.parent, h.child} == {PALM, CUFF})
    half_turn = np.diag([-1.0, -1.0, 1.0, 1.0])
    little_side, thumb_side = shift((x, -y, z)), shift((x, y, z)) @ half_turn
    return _as_many(
        part, (Seat(body=wrist.child, matrix=little_side), Seat(body=wrist.child, matrix=thumb_side))
    )


def _as_many(part: Part, found: tuple[Seat, ...]) -> tuple[Seat, ...]:
    if part.count != len(found):
        raise OutOfRange(
            f"count is {part.count}, but this hand has {len(found)} places for it",
            where=f'part "{part.name}"',
            do="Correct the count in the design file.",
        )
    return found
