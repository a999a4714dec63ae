"""How a hand in one pose is looked at for its drawing: from the thumb side, a little from above.

Heights and lengths stay true, so every angle in the picture is the angle at the bench; what lies further away is
shifted up and toward the fingers.

            ___________ far
           /          /          x stays x, z stays z; depth (away from the thumb side) adds
          /__________/           AWAY_X of itself to x and AWAY_Z of itself to z
           near
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import CUFF, PALM, Design, RoutePoint, Vec3
from handsel.design.posing import posed_mm
from handsel.rework.result import PoseDrawn

Floats = NDArray[np.float64]
Flat = tuple[float, float]

AWAY_X, AWAY_Z = 0.16, 0.30
_LINES = ("cord", "elastic", "knot")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A polygon or line in the drawing's plane [mm]: u toward the fingers, v up."""

    kind: str  # class in the style sheet
    points: tuple[Flat, ...]
    closed: bool = True

    @property
    def is_solid(self) -> bool:
        """Whether it is of a part: no cord, no elastic, no knot."""
        return not self.kind.startswith(_LINES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One hand as placed, in one pose, seen from its thumb side."""

    design: Design
    angles_deg: Mapping[str, float]
    near: float  # +1 when the thumb side is +y, as on a right hand; -1 on a left one
    taut: tuple[bool, ...]  # per cord
    axes: Mapping[
        str, tuple[Flat, Flat, Flat, Flat]
    ]  # where each body's origin is drawn, and a step along x, y, z

    def flat(self, p: Floats | Vec3) -> Flat:
        """A place in the palm frame [mm] as a place of the drawing [mm]."""
        return _flat(p, self.near)

    def at(self, body: str, p: Vec3) -> Flat:
        """The same for a place fixed to a body, as it is with the hand straight [mm]."""
        (u, v), (ux, vx), (uy, vy), (uz, vz) = self.axes[body]
        x, y, z = p
        return (u + x * ux + y * uy + z * uz, v + x * vx + y * vy + z * vz)


def _flat(p: Floats | Vec3, near: float) -> Flat:
    away = -near * float(p[1])
    return (float(p[0]) + AWAY_X * away, float(p[2]) + AWAY_Z * away)


def look(design: Design, pose: PoseDrawn, side: str) -> Look:
    """The hand in a solved pose.

    Parameters: design, placed; pose; side, "right" or "left".
    Returns: Look.    Raises: nothing of its own.    Valid for: digits in the design's order.
    Source: `handsel.design` for frame and signs.    Checked by: unit/test_documents.py
    """
    angles = {"wrist": pose.wrist_deg, "whippletree": pose.tilt_deg}
    for digit, (first, second) in zip(design.digits, pose.phi_deg, strict=True):
        angles[digit.proximal_hinge], angles[digit.tip_hinge] = first, second
    moved = _slid(design, {"tension": pose.tension_slide_mm, "thumb_pin": pose.thumb_pin_mm})
    near = 1.0 if side == "right" else -1.0
    return Look(design=moved, angles_deg=angles, near=near, taut=pose.taut, axes=_axes(moved, angles, near))


def _axes(
    design: Design, angles_deg: Mapping[str, float], near: float
) -> dict[str, tuple[Flat, Flat, Flat, Flat]]:
    """A drawing has thousands of places on a dozen bodies, so each body is turned once."""
    found = {}
    for body in {PALM, CUFF, *(h.child for h in design.hinges), *(s.body for s in design.slides)}:
        o, *ends = (
            _flat(posed_mm(design, body, p, angles_deg), near)
            for p in ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        )
        x, y, z = ((u - o[0], v - o[1]) for u, v in ends)
        found[body] = (o, x, y, z)
    return found


def _slid(design: Design, by_mm: Mapping[str, float]) -> Design:
    """The design with what its slides carry moved along them."""
    carried = {s.body: tuple(by_mm.get(s.name, 0.0) * c for c in s.direction) for s in design.slides}

    def moved(body: str, p: Vec3) -> Vec3:
        d = carried.get(body)
        return p if d is None else (p[0] + d[0], p[1] + d[1], p[2] + d[2])

    def way(points: tuple[RoutePoint, ...]) -> tuple[RoutePoint, ...]:
        return tuple(replace(p, at_mm=moved(p.body, p.at_mm)) for p in points)

    return replace(
        design,
        hinges=tuple(replace(h, origin_mm=moved(h.child, h.origin_mm)) for h in design.hinges),
        cords=tuple(
            replace(c, legs=tuple(replace(g, points=way(g.points)) for g in c.legs)) for c in design.cords
        ),
    )
