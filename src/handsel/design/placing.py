"""A design at the scale and on the side in which one hand is printed.

What is printed grows with the scale; what is bought, set or tied by hand keeps its size. A left
hand is the mirror image of a right one in the plane y = 0: points and directions change the sign of
y, and axes of rotation turn as the cross product of two directions does, so that flexion, extension
and "thumb-side end forward" stay positive on both sides.

Source: reflection of an axial vector, a' = det(M) M a with M = diag(1, -1, 1), det M = -1.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from handsel.design.model import (
    Body,
    Cord,
    Design,
    Elastic,
    Gauge,
    Hinge,
    InspectionPose,
    Leg,
    Pad,
    Part,
    ReferenceDimension,
    RoutePoint,
    Slide,
    TagPad,
    Vec3,
    Wrap,
)
from handsel.errors import OutOfRange

RIGHT, LEFT = "right", "left"


def placed(design: Design, *, scale_ratio: float, side: str) -> Design:
    """The design as it is printed for one hand: every length final, every point on its own side.

    The name, the scale limits and the target angle stay those of the design. A gauge cylinder, the
    inspection stand, screws, cord, elastic and friction are hardware and stay as they are. A tag
    pad's turn is counted as the wrist angle is, so it has the same sign on both sides.

    Parameters: design, at scale 1 and right, as loaded; scale_ratio, size against the design [-];
        side, "right" or "left".
    Returns: Design, in the same frame: x to the fingertips, z to the back of the hand, and y toward
        the thumb of a right hand, away from the thumb of a left one.
    Raises: OutOfRange when the side is neither, or the scale is outside what the design is made for.
    Valid for: prints scaled evenly in all three directions, with one density at every scale.
    Source: geometry; similar solids have masses as the cube of their lengths.
    Checked by: properties/test_placing.py
    """
    if side not in (RIGHT, LEFT):
        raise OutOfRange(
            f'side is "{side}"; a hand is "right" or "left"',
            where=design.name,
            do="Copy the side from the order or the kit label.",
        )
    low, high = design.scale_min_ratio, design.scale_max_ratio
    if not (isfinite(scale_ratio) and low <= scale_ratio <= high):
        raise OutOfRange(
            f"scale_ratio is {scale_ratio:g}; this design is made for {low:g} to {high:g}",
            where=design.name,
            do="Take the scale from the order: 115 % is 1.15. Outside these limits the parts no longer work.",
        )
    return _Placing(scale_ratio, mirrored=side == LEFT).design(design)


class _Placing:
    """The two rules, and which of them each field follows."""

    def __init__(self, scale_ratio: float, *, mirrored: bool) -> None:
        self.s, self.mirrored = scale_ratio, mirrored

    def direction(self, v: Vec3) -> Vec3:
        return (v[0], 0.0 - v[1], v[2]) if self.mirrored else v

    def axis(self, v: Vec3) -> Vec3:
        # 0.0 - x rather than -x: no negative zeros in records
        return (0.0 - v[0], v[1], 0.0 - v[2]) if self.mirrored else v

    def point(self, p: Vec3) -> Vec3:
        x, y, z = self.direction(p)
        return (self.s * x, self.s * y, self.s * z)

    def body(self, b: Body) -> Body:
        return replace(b, com_mm=self.point(b.com_mm), printed_mass_g=b.printed_mass_g * self.s**3)

    def hinge(self, h: Hinge) -> Hinge:
        return replace(h, origin_mm=self.point(h.origin_mm), axis=self.axis(h.axis))

    def slide(self, s: Slide) -> Slide:
        return replace(s, direction=self.direction(s.direction))

    def route(self, points: tuple[RoutePoint, ...]) -> tuple[RoutePoint, ...]:
        return tuple(replace(p, at_mm=self.point(p.at_mm)) for p in points)

    def wraps(self, wraps: tuple[Wrap, ...]) -> tuple[Wrap, ...]:
        return tuple(replace(w, radius_mm=self.s * w.radius_mm) for w in wraps)

    def leg(self, leg: Leg) -> Leg:
        return replace(leg, points=self.route(leg.points), wraps=self.wraps(leg.wraps))

    def cord(self, cord: Cord) -> Cord:
        return replace(cord, legs=tuple(map(self.leg, cord.legs)))

    def elastic(self, e: Elastic) -> Elastic:
        return replace(e, points=self.route(e.points), wraps=self.wraps(e.wraps))

    def pad(self, p: Pad) -> Pad:
        return replace(p, centre_mm=self.point(p.centre_mm), radius_mm=self.s * p.radius_mm)

    def gauge(self, g: Gauge) -> Gauge:
        against, normal = self.point(g.against_mm), self.direction(g.normal)
        return replace(g, axis=self.axis(g.axis), against_mm=against, normal=normal)

    def pose(self, pose: InspectionPose) -> InspectionPose:
        outline = tuple(self.point((x, y, 0.0))[:2] for x, y in pose.support_mm)
        if self.mirrored:
            outline = outline[::-1]  # keeps its sense of going round
        return replace(pose, support_mm=outline, base_z_mm=self.s * pose.base_z_mm)

    def part(self, part: Part) -> Part:
        measures = tuple((n, v * self.growth(n) if part.printed else v) for n, v in part.measures)
        return replace(part, at_mm=self.point(part.at_mm), measures=measures)

    def growth(self, measure: str) -> float:
        """How a measure grows, by the unit that its name ends in: only lengths, areas and volumes do."""
        power = {"mm": 1, "mm2": 2, "mm3": 3}.get(measure.rsplit("_", 1)[-1], 0)
        return self.s**power

    def reference(self, d: ReferenceDimension) -> ReferenceDimension:
        return replace(d, nominal_mm=self.s * d.nominal_mm) if d.scales else d

    def tag_pad(self, t: TagPad) -> TagPad:
        return replace(t, centre_mm=self.point(t.centre_mm), normal=self.direction(t.normal))

    def design(self, d: Design) -> Design:
        return replace(
            d,
            palm_plane_z_mm=self.s * d.palm_plane_z_mm,
            palm_front_x_mm=self.s * d.palm_front_x_mm,
            wrist_barrel_radius_mm=self.s * d.wrist_barrel_radius_mm,
            bodies=tuple(map(self.body, d.bodies)),
            hinges=tuple(map(self.hinge, d.hinges)),
            slides=tuple(map(self.slide, d.slides)),
            cords=tuple(map(self.cord, d.cords)),
            elastics=tuple(map(self.elastic, d.elastics)),
            pads=tuple(map(self.pad, d.pads)),
            gauges=tuple(map(self.gauge, d.gauges)),
            pose=self.pose(d.pose),
            parts=tuple(map(self.part, d.parts)),
            reference_dimensions=tuple(map(self.reference, d.reference_dimensions)),
            tag_pads=tuple(map(self.tag_pad, d.tag_pads)),
        )
