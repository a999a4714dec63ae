"""Where the bodies and lines of a design are when its hinges are turned: plain geometry, no forces.

This is for looking at one design in one pose: checks, drawings, part lists. The mechanics has its
own lengths with derivatives for thousands of hands; a test holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import acos, atan2, cos, degrees, hypot, pi, radians, sin, tan

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import CUFF, PALM, Design, Hinge, RoutePoint, Vec3, Wrap

Floats = NDArray[np.float64]

STRAIGHT: Mapping[str, float] = {}


def posed_mm(design: Design, body: str, at_mm: Vec3, angles_deg: Mapping[str, float] = STRAIGHT) -> Floats:
    """Where a place fixed to a body is, with hinges turned and slides at zero.

    Parameters: design, as loaded or placed; body, its name; at_mm, the place with the hand straight
        [mm]; angles_deg, turn of each hinge by name [deg], 0 where not named.
    Returns: (3,) float [mm], palm frame.
    Raises: nothing of its own.
    Valid for: designs that were loaded, so that every body hangs on the palm or rides on the cuff.
    Source: Rodrigues' rotation formula, the hinge nearest the body first.
    Checked by: unit/test_posing.py
    """
    p = np.array(at_mm, dtype=float)
    for hinge in chain(design, body):
        angle = angles_deg.get(hinge.name, 0.0)
        if angle:
            p = turned(p, np.array(hinge.origin_mm), np.array(hinge.axis), radians(angle))
    return p


def chain(design: Design, body: str) -> list[Hinge]:
    """The hinges between a body and the palm, the body's own first."""
    over = {h.child: h for h in design.hinges}
    if body not in over and body != PALM:
        body = CUFF  # carried by a slide
    found: list[Hinge] = []
    while body in over:
        found.append(over[body])
        body = over[body].parent
    return found


def turned(p: Floats, origin: Floats, axis: Floats, angle_rad: float) -> Floats:
    """A place turned about a line by the right-hand rule."""
    d = p - origin
    along = axis * (axis @ d)
    turn: Floats = origin + along + cos(angle_rad) * (d - along) + sin(angle_rad) * np.cross(axis, d)
    return turn


@dataclass(frozen=True, slots=True, kw_only=True)
class TautLine:
    """A line pulled tight along its way."""

    length_mm: float
    turning_deg: float  # sum of all bends between its ends, cylinders included
    corners_mm: tuple[Vec3, ...]  # its places, and where it meets and leaves each cylinder


def taut_line(
    design: Design,
    points: Sequence[RoutePoint],
    wraps: Sequence[Wrap] = (),
    angles_deg: Mapping[str, float] = STRAIGHT,
) -> TautLine:
    """The way of a cord or elastic in a pose: straight between its places, round cylinders it bears on.

    Parameters: design; points and wraps, of a leg or an elastic; angles_deg, as in `posed_mm`.
    Returns: TautLine.
    Raises: nothing of its own.
    Valid for: places outside the cylinders, less than a full turn about each.
    Source: a taut line on a cylinder is straight when the cylinder is unrolled; along a helix of
        pitch angle a the direction turns by the arc times cos a.
    Checked by: unit/test_posing.py
    """
    corners = [posed_mm(design, points[0].body, points[0].at_mm, angles_deg)]
    places = [0]  # which corners are places of the line; the others lie smoothly on a cylinder
    length_mm = turning_rad = 0.0
    for p, q in zip(points, points[1:], strict=False):
        a, b = corners[-1], posed_mm(design, q.body, q.at_mm, angles_deg)
        on = _cylinder(design, p.body, q.body, wraps, angles_deg)
        round_it = on.touched(a, b) if on is not None else None
        if round_it is None:
            length_mm += float(np.linalg.norm(b - a))
        else:
            length_mm += round_it.length_mm
            turning_rad += round_it.turning_rad
            corners += [round_it.onto_mm, round_it.off_mm]
        places.append(len(corners))
        corners.append(b)
    steps = [b - a for a, b in zip(corners, corners[1:], strict=False)]
    turning_rad += sum(_between_rad(steps[k - 1], steps[k]) for k in places[1:-1])
    return TautLine(
        length_mm=length_mm,
        turning_deg=degrees(turning_rad),
        corners_mm=tuple((float(c[0]), float(c[1]), float(c[2])) for c in corners),
    )


def _between_rad(u: Floats, v: Floats) -> float:
    return float(np.arctan2(np.linalg.norm(np.cross(u, v)), u @ v))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _RoundIt:
    """The part of a line between two places that bears on a cylinder in between."""

    length_mm: float
    turning_rad: float
    onto_mm: Floats
    off_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cylinder:
    """A cylinder about a hinge; `sense` is the way round it, +1 by the right-hand rule, from a to b."""

    origin_mm: Floats
    axis: Floats
    radius_mm: float
    sense: float

    def touched(self, a: Floats, b: Floats) -> _RoundIt | None:
        """How a line from a to b bears on it, or None where it clears."""
        across = a - self.origin_mm
        across -= self.axis * (self.axis @ across)
        u = across / np.linalg.norm(across)  # toward a
        w = self.sense * np.cross(self.axis, u)
        far_a, far_b = (
            hypot(across @ u, across @ w),
            hypot((b - self.origin_mm) @ u, (b - self.origin_mm) @ w),
        )
        gap = atan2((b - self.origin_mm) @ w, (b - self.origin_mm) @ u) % (2.0 * pi)
        lead, trail = acos(self.radius_mm / far_a), acos(self.radius_mm / far_b)
        arc = gap - lead - trail
        if arc <= 0.0:
            return None
        first, last = self.radius_mm * tan(lead), self.radius_mm * tan(trail)
        flat = first + self.radius_mm * arc + last
        rise = float((b - a) @ self.axis)
        length = hypot(flat, rise)

        def on_it(angle: float, run: float) -> Floats:
            level = float((a - self.origin_mm) @ self.axis) + rise * run / flat
            at: Floats = (
                self.origin_mm + self.radius_mm * (cos(angle) * u + sin(angle) * w) + level * self.axis
            )
            return at

        return _RoundIt(
            length_mm=length,
            turning_rad=arc * flat / length,
            onto_mm=on_it(lead, first),
            off_mm=on_it(gap - trail, flat - last),
        )


def _cylinder(
    design: Design, body: str, next_body: str, wraps: Sequence[Wrap], angles_deg: Mapping[str, float]
) -> _Cylinder | None:
    """The cylinder that a line may bear on between two bodies, posed; None where there is none."""
    if body == next_body:
        return None
    for hinge in design.hinges:
        if (hinge.parent, hinge.child) == (body, next_body):
            wrap = next((w for w in wraps if w.hinge == hinge.name), None)
            if wrap is None:
                return None
            # Over the back, the way round grows as the joint flexes; on the palm side it shrinks.
            return _posed(design, hinge, wrap.radius_mm, 1.0 if wrap.side == "back" else -1.0, angles_deg)
    if next_body == PALM and design.wrist_barrel_radius_mm > 0.0:
        # From the cuff over the back of the wrist: the sense in which the cuff rises.
        return _posed(design, design.hinge("wrist"), design.wrist_barrel_radius_mm, 1.0, angles_deg)
    return None


def _posed(
    design: Design, hinge: Hinge, radius_mm: float, sense: float, angles_deg: Mapping[str, float]
) -> _Cylinder:
    o, a = hinge.origin_mm, hinge.axis
    origin = posed_mm(design, hinge.parent, o, angles_deg)
    ahead = posed_mm(design, hinge.parent, (o[0] + a[0], o[1] + a[1], o[2] + a[2]), angles_deg)
    return _Cylinder(origin_mm=origin, axis=ahead - origin, radius_mm=radius_mm, sense=sense)
