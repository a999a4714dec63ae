"""Hands whose shape is wrong: another path, another part, a part of another size, a block askew.

Each function takes a design and returns another one; the referee's model is written from that as from any
design. Only kinds of places are known here (points, hinges, pads), no figure of any design.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import PALM, Body, Cord, Design, Elastic, Hinge, Leg, Pad, RoutePoint, Vec3

Floats = NDArray[np.float64]
Move = Callable[[Vec3], Vec3]


def vec3(x: Floats) -> Vec3:
    return (float(x[0]), float(x[1]), float(x[2]))


def cord_through_gap(design: Design, digit: str, toward_hinge: float) -> Design:
    """The cord leaves the palm by the slot at the knuckle: its last palm point lies nearer to the hinge axis."""
    hinge = _knuckle(design, digit)
    axis, origin = np.asarray(hinge.axis), np.asarray(hinge.origin_mm)

    def leg(one: Leg) -> Leg:
        if one.digit != digit:
            return one
        last = max(k for k, p in enumerate(one.points) if p.body == PALM)
        at = np.asarray(one.points[last].at_mm)
        across = origin - at
        across -= axis * (across @ axis)  # seen along the hinge
        points = list(one.points)
        points[last] = replace(points[last], at_mm=vec3(at + toward_hinge * across))
        return replace(one, points=tuple(points))

    return _with_legs(design, leg)


def tips_swapped(design: Design, one: str, other: str) -> Design:
    """Two digits carry each other's tip: what is fixed to a tip changes place, hinge to hinge."""
    pairs = {f"{one}_tip": (one, other), f"{other}_tip": (other, one)}

    def carried(body: str, at: Vec3, own: str, donor: str) -> Vec3:
        to, origin = _tip_hinge(design, own), _tip_hinge(design, donor)
        return vec3(np.asarray(at) - origin.origin_mm + to.origin_mm)

    bodies = []
    for b in design.bodies:
        if b.name in pairs:
            own, donor = pairs[b.name]
            given = design.body(f"{donor}_tip")
            b = replace(given, name=b.name, com_mm=carried(b.name, given.com_mm, own, donor))
        bodies.append(b)
    pads = []
    for p in design.pads:
        if p.segment == "tip" and p.digit in (one, other):
            own, donor = pairs[f"{p.digit}_tip"]
            given_pad = next(q for q in design.pads if q.digit == donor and q.segment == "tip")
            p = replace(given_pad, digit=p.digit, centre_mm=carried("", given_pad.centre_mm, own, donor))
        pads.append(p)
    changed = replace(design, bodies=tuple(bodies), pads=tuple(pads))

    def point(line_point: RoutePoint, donor_point: RoutePoint) -> RoutePoint:
        own, donor = pairs[line_point.body]
        return replace(line_point, at_mm=carried("", donor_point.at_mm, own, donor))

    def leg(one_leg: Leg) -> Leg:
        body = f"{one_leg.digit}_tip"
        if body not in pairs:
            return one_leg
        donor = next(k for c in design.cords for k in c.legs if k.digit == pairs[body][1])
        tail = [p for p in donor.points if p.body == f"{donor.digit}_tip"]
        rest = [p for p in one_leg.points if p.body != body]
        own = [p for p in one_leg.points if p.body == body]
        return replace(one_leg, points=(*rest, *(point(a, b) for a, b in zip(own, tail, strict=True))))

    return _with_legs(changed, leg)


def part_sized(design: Design, digit: str, segment: str, along: float, across: float | None = None) -> Design:
    """One part longer or shorter from its hinge on by `along`; `across` likewise in the other directions.

    What comes after it moves with its end. A tip's mass changes with its volume.
    """
    across = along if across is None else across
    hinge = _knuckle(design, digit) if segment == "proximal" else _tip_hinge(design, digit)
    origin = np.asarray(hinge.origin_mm)
    joint = np.asarray(_tip_hinge(design, digit).origin_mm)
    axis = np.asarray(_knuckle(design, digit).axis)
    forward = joint - np.asarray(_knuckle(design, digit).origin_mm)
    forward = forward - axis * (forward @ axis)
    forward = forward / np.linalg.norm(forward)
    back = np.cross(axis, forward)

    def stretched(at: Vec3) -> Vec3:
        r = np.asarray(at) - origin
        f, b, s = r @ forward, r @ back, r @ axis
        return vec3(origin + along * f * forward + across * b * back + s * axis)

    def carried(at: Vec3) -> Vec3:
        return vec3(np.asarray(at) + (np.asarray(stretched(vec3(joint))) - joint))

    own, tip = f"{digit}_{segment}", f"{digit}_tip"
    moves: dict[str, Move] = {own: stretched}
    if segment == "proximal":
        moves[tip] = carried
    changed = _moved(design, moves)
    if segment == "proximal":
        changed = replace(
            changed,
            hinges=tuple(
                replace(h, origin_mm=stretched(h.origin_mm)) if h.child == tip else h for h in changed.hinges
            ),
        )
    ratio = along * across * across
    return replace(
        changed,
        bodies=tuple(
            replace(b, printed_mass_g=b.printed_mass_g * ratio) if b.name == own else b
            for b in changed.bodies
        ),
        pads=tuple(
            replace(p, radius_mm=p.radius_mm * across) if f"{p.digit}_{p.segment}" == own else p
            for p in changed.pads
        ),
    )


def proximals_exchanged(design: Design, finger: str, thumb: str = "thumb") -> Design:
    """Thumb and finger carry each other's proximal part: each takes the other's length."""
    ratio = _length(design, thumb) / _length(design, finger)
    longer = part_sized(design, finger, "proximal", ratio, 1.0)
    return part_sized(longer, thumb, "proximal", 1.0 / ratio, 1.0)


def block_askew(design: Design, yaw_deg: float, roll_deg: float) -> Design:
    """The tension block turned on its cuff: yaw about its own upright, roll about the forearm's line."""
    pivot = next(h for h in design.hinges if h.child == "whippletree")
    upright = np.asarray(pivot.origin_mm)
    arm = np.array([0.0, 0.0, 0.0])  # the cuff turns about the forearm, which the wrist's axis meets
    yaw, roll = radians(yaw_deg), radians(roll_deg)
    about_z = np.array([[cos(yaw), -sin(yaw), 0.0], [sin(yaw), cos(yaw), 0.0], [0.0, 0.0, 1.0]])
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, cos(roll), -sin(roll)], [0.0, sin(roll), cos(roll)]])

    def turned(at: Vec3) -> Vec3:
        yawed = about_z @ (np.asarray(at) - upright) + upright
        return vec3(about_x @ (yawed - arm) + arm)

    def direction(d: Vec3) -> Vec3:
        return vec3(about_x @ about_z @ np.asarray(d))

    riders = ("whippletree", "thumb_pin")
    changed = _moved(design, dict.fromkeys(riders, turned))
    return replace(
        changed,
        hinges=tuple(
            replace(h, origin_mm=turned(h.origin_mm), axis=direction(h.axis)) if h.child in riders else h
            for h in changed.hinges
        ),
        slides=tuple(
            replace(s, direction=direction(s.direction)) if s.body in riders else s for s in changed.slides
        ),
    )


def bar_between(design: Design, low_deg: float, high_deg: float) -> Design:
    """The whippletree turns only so far: a crooked carriage, or one that is stuck."""
    return replace(
        design,
        hinges=tuple(
            replace(h, min_deg=low_deg, max_deg=high_deg) if h.child == "whippletree" else h
            for h in design.hinges
        ),
    )


# --- what the shapes have in common


def _knuckle(design: Design, digit: str) -> Hinge:
    return design.hinge(next(d.proximal_hinge for d in design.digits if d.name == digit))


def _tip_hinge(design: Design, digit: str) -> Hinge:
    return design.hinge(next(d.tip_hinge for d in design.digits if d.name == digit))


def _length(design: Design, digit: str) -> float:
    a, b = _knuckle(design, digit).origin_mm, _tip_hinge(design, digit).origin_mm
    return float(np.linalg.norm(np.subtract(b, a)))


def _with_legs(design: Design, change: Callable[[Leg], Leg]) -> Design:
    def cord(c: Cord) -> Cord:
        return replace(c, legs=tuple(change(leg) for leg in c.legs))

    return replace(design, cords=tuple(cord(c) for c in design.cords))


def _moved(design: Design, moves: dict[str, Move]) -> Design:
    """Every point, weight and pad of these bodies moved."""

    def points(some: tuple[RoutePoint, ...]) -> tuple[RoutePoint, ...]:
        return tuple(replace(p, at_mm=moves[p.body](p.at_mm)) if p.body in moves else p for p in some)

    def body(b: Body) -> Body:
        return replace(b, com_mm=moves[b.name](b.com_mm)) if b.name in moves else b

    def pad(p: Pad) -> Pad:
        own = f"{p.digit}_{p.segment}"
        return replace(p, centre_mm=moves[own](p.centre_mm)) if own in moves else p

    def elastic(e: Elastic) -> Elastic:
        return replace(e, points=points(e.points))

    changed = _with_legs(design, lambda leg: replace(leg, points=points(leg.points)))
    return replace(
        changed,
        bodies=tuple(body(b) for b in design.bodies),
        pads=tuple(pad(p) for p in design.pads),
        elastics=tuple(elastic(e) for e in design.elastics),
    )
