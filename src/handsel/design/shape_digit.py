"""Proximal parts and tips: a rounded body with a tongue, a fork, the cord's way and the elastic's groove."""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np

from handsel.design import fits
from handsel.design.model import Design, Part
from handsel.design.part_frames import Floats, Segment, at_body, carried, segment_of
from handsel.design.shape_joint import (
    Joint,
    fork,
    gap_behind,
    joint,
    part_frame_back,
    pin_room,
    swing,
    tongue,
)
from handsel.design.sizes import Sizes
from handsel.design.solids import (
    Solid,
    ball,
    cut,
    hull,
    loft,
    open_way,
    rod,
    rounded_section,
    union,
    way,
)
from handsel.errors import OutOfRange

UP, DOWN = (0.0, 0.0, 12.0), (0.0, 0.0, -12.0)
PAD_CORNER, BACK_CORNER = 2.4, 3.6  # radii along the body, in units of the print


def digit_segment(design: Design, part: Part) -> Segment:
    """The digit segment that a part is, or a reason why it is none."""
    found = segment_of(design, part.body)
    if found is None:
        raise OutOfRange(
            f'body "{part.body}" is no part of a digit',
            where=f'part "{part.name}"',
            do="Give it the body of a proximal part or a tip.",
        )
    return found


def proximal(design: Design, part: Part) -> Solid:
    """A proximal part: pin of the knuckle at the origin, pin of the tip at x = length."""
    m, digit = Sizes(part), digit_segment(design, part).digit
    knuckle, middle = joint(design, digit, is_tip=False), joint(design, digit, is_tip=True)
    to_part = part_frame_back(design, digit, is_tip=False)
    width, length, lug, broad = m["width_mm"], m["length_mm"], m["lug_radius_mm"], m["tongue_width_mm"]
    start, end = _proximal_ends(m, middle)
    body = cut(proximal_body(design, part), _elastic_groove(design, digit.name, part.body, to_part))
    envelope = loft([_proximal_section(m, middle, x, 0.0) for x in (start, length + 2 * lug)])
    cheeks = fork(lug, length - end + 1.0, broad, width).translate((length, 0.0, 0.0)) ^ envelope
    solid = union([body, tongue(knuckle, start + 1.5, broad), cheeks])
    return cut(
        solid,
        [
            pin_hole(width),
            *(tool.translate((length, 0.0, 0.0)) for tool in pin_room(width)),
            *_cord_ways(design, digit.name, part.body, to_part),
            *swing(design, knuckle, to_part, outer=True),
            *swing(design, middle, to_part, outer=False),
        ],
    )


def proximal_body(design: Design, part: Part, grown_mm: float = 0.0) -> Solid:
    """A proximal part's convex body between its joints, without holes; grown all round when asked."""
    m, digit = Sizes(part), digit_segment(design, part).digit
    middle = joint(design, digit, is_tip=True)
    start, end = _proximal_ends(m, middle)
    steps = [
        (start - grown_mm, 0.7 * m.unit_mm),
        (start + 0.7 * m.unit_mm, 0.0),
        (end - 0.5 * m.unit_mm, 0.0),
        (end + grown_mm, 0.5 * m.unit_mm),
    ]
    body = loft([_proximal_section(m, middle, x, inset - grown_mm) for x, inset in steps])
    knuckle = joint(design, digit, is_tip=False)
    return _relieved(body, design, knuckle, part_frame_back(design, digit, is_tip=False), grown_mm)


def _proximal_ends(m: Sizes, middle: Joint) -> tuple[float, float]:
    return m["lug_radius_mm"] + fits.STOP_GAP_MM, m["length_mm"] - gap_behind(middle)


def _proximal_section(m: Sizes, middle: Joint, x: float, inset: float) -> tuple[float, Floats]:
    """Its height changes evenly from the knuckle's end to the tip's end."""
    start, end = _proximal_ends(m, middle)
    share = (x - start) / (end - start)
    low = m["pad_depth_mm"] + share * (m["end_pad_depth_mm"] - m["pad_depth_mm"])
    high = m["back_depth_mm"] + share * (m["end_back_depth_mm"] - m["back_depth_mm"])
    return x, rounded_section(
        m["width_mm"], -low, high, PAD_CORNER * m.unit_mm, BACK_CORNER * m.unit_mm, inset
    )


def tip(design: Design, part: Part) -> Solid:
    """A tip: its pin at the origin, its end at x = length."""
    m, digit = Sizes(part), digit_segment(design, part).digit
    middle = joint(design, digit, is_tip=True)
    to_part = part_frame_back(design, digit, is_tip=True)
    width, length, lug, nose = m["width_mm"], m["length_mm"], m["lug_radius_mm"], m["nose_mm"]
    start, low, high = lug + fits.STOP_GAP_MM, -m["pad_depth_mm"], m["back_depth_mm"]

    def section(x: float, inset: float, share: float = 1.0) -> tuple[float, Floats]:
        # toward its end the section gets round, and shrinks to a point nearer the pad than the back
        centre = 0.3 * low
        below, above = centre + share * (low - centre), centre + share * (high - centre)
        round_mm, rounding = 0.5 * min(share * width, above - below), sqrt(1.0 - share**2)
        corners = [
            share * c + rounding * (round_mm - share * c)
            for c in (PAD_CORNER * m.unit_mm, BACK_CORNER * m.unit_mm)
        ]
        return x, rounded_section(share * width, below, above, corners[0], corners[1], inset)

    turns = np.linspace(0.0, 0.48, 12) * pi
    end = [section(length - nose * (1.0 - sin(t)), 0.0, cos(t)) for t in turns] + [section(length, 0.0, 0.03)]
    body = loft([section(start, 0.7 * m.unit_mm), section(start + 0.7 * m.unit_mm, 0.0), *end])
    body = cut(_relieved(body, design, middle, to_part), _elastic_end(design, digit.name, part.body, to_part))
    solid = union([body, tongue(middle, start + 1.5, m["tongue_width_mm"])])
    return cut(
        solid,
        [
            pin_hole(width),
            *swing(design, middle, to_part, outer=True),
            *_tip_knot(design, digit.name, part.body, to_part),
        ],
    )


def pin_hole(width_mm: float) -> Solid:
    """The hole in a tongue, pin at the origin."""
    return rod(fits.PIN_HOLE_MM / 2, -width_mm, width_mm, "y")


def _relieved(body: Solid, design: Design, j: Joint, to_part: Floats, grown_mm: float = 0.0) -> Solid:
    """The body cut back at 45 degrees to where the cord enters, so that the bent cord meets no edge."""
    leg = next(leg for leg in design.cord_of(j.digit.name).legs if leg.digit == j.digit.name)
    enter = carried(to_part, at_body(leg.points, j.hinge.child)[:1])[0]
    normal = np.array([1.0, 0.0, 1.0]) / np.sqrt(2.0)
    return body.trim_by_plane(tuple(normal), float(normal @ enter) - grown_mm)


def _leg_points(design: Design, digit: str, body: str, to_part: Floats) -> Floats:
    leg = next(leg for leg in design.cord_of(digit).legs if leg.digit == digit)
    return carried(to_part, at_body(leg.points, body))


def _cord_ways(design: Design, digit: str, body: str, to_part: Floats) -> list[Solid]:
    points = _leg_points(design, digit, body, to_part)
    return [way(points, fits.CORD_HOLE_MM / 2)] if len(points) > 1 else []


def _tip_knot(design: Design, digit: str, body: str, to_part: Floats) -> list[Solid]:
    """The cord's way on from its last point to a pocket for the knot, open at the pad."""
    points = _leg_points(design, digit, body, to_part)
    knot = points[-1] + np.array([7.0, 0.0, 0.8])
    pocket = ball(fits.KNOT_POCKET_MM / 2, knot, 20)
    return [way([*points, knot], fits.CORD_HOLE_MM / 2), hull([pocket, pocket.translate(DOWN)])]


def _elastic_points(design: Design, digit: str, body: str, to_part: Floats) -> Floats:
    """The elastic's points on a body with one beyond on either side, where there is one; part frame."""
    elastic = next((e for e in design.elastics if e.digit == digit), None)
    if elastic is None:
        return np.zeros((0, 3))
    on = [k for k, p in enumerate(elastic.points) if p.body == body]
    if not on:
        return np.zeros((0, 3))
    near = elastic.points[max(on[0] - 1, 0) : on[-1] + 2]
    return carried(to_part, [p.at_mm for p in near])


def _elastic_groove(design: Design, digit: str, body: str, to_part: Floats) -> list[Solid]:
    points = _elastic_points(design, digit, body, to_part)
    return [open_way(points, fits.ELASTIC_HOLE_MM / 2, UP)] if len(points) > 1 else []


def _elastic_end(design: Design, digit: str, body: str, to_part: Floats) -> list[Solid]:
    """A short tunnel that holds the elastic's knot, and a pocket for the knot behind it."""
    points = _elastic_points(design, digit, body, to_part)
    if len(points) < 2:
        return []
    pocket = ball(fits.KNOT_POCKET_MM / 2, points[-1] + np.array([1.5, 0.0, 0.0]), 20)
    return [way(points, fits.ELASTIC_HOLE_MM / 2), hull([pocket, pocket.translate(UP)])]
