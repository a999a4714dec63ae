"""What the palm leaves open: ways and swings of the cords, anchors of elastics, pins, the digits' sweep."""

from __future__ import annotations

import numpy as np

from handsel.design import fits
from handsel.design.model import CUFF, PALM, Design
from handsel.design.part_frames import Floats, at_body, carried, digit_matrix, inverse, turned
from handsel.design.shape_digit import proximal_body
from handsel.design.shape_joint import angles, joint, pin_room, swing
from handsel.design.sizes import Sizes
from handsel.design.solids import Solid, ball, capsule, hull, moved, open_way, rod, way

UP = (0.0, 0.0, 14.0)
SWEEP_GAP_MM = 0.4  # between the palm and a digit that flexes past it
ELASTIC_TUNNEL_MM = 4.0  # what the knot of an elastic pulls against
WRIST_RANGE_DEG = (-45.0, 60.0)  # over which a cord must not saw at the rim of its guide


def palm_ways(design: Design, m: Sizes) -> list[Solid]:
    """Everything that is drilled or milled out of the palm, in the palm frame."""
    return [*_pins(design, m), *_cords(design), *_elastic_anchors(design)]


def sweeps(design: Design) -> list[Solid]:
    """The room that each proximal part sweeps as it flexes, so that it meets nothing but its stop."""
    tools = []
    for digit in design.digits:
        hinge = design.hinge(digit.proximal_hinge)
        part = next((p for p in design.parts if p.body == hinge.child and p.shape == "proximal"), None)
        if part is not None:
            body, at = proximal_body(design, part, SWEEP_GAP_MM), digit_matrix(design, digit)
            tools += [moved(body, at @ _flexed(float(angle))) for angle in angles(hinge)]
    return tools


def _flexed(angle_deg: float) -> Floats:
    """(4, 4) flexion about a part's own y."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    turn = np.eye(4)
    turn[:3, :3] = [[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]
    return turn


def _pins(design: Design, m: Sizes) -> list[Solid]:
    """Pins of knuckles, thumb and wrist, with the recesses that hide their split ends."""
    tools = []
    for digit in design.digits:
        thumb = digit.name == "thumb"
        width = m["thumb_width_mm"] if thumb else m["finger_width_mm"]
        # the thumb stands free on one side, and its pin is pushed in from there
        room = pin_room(width, snap=not thumb, entry_mm=width if thumb else 0.5)
        tools += [moved(tool, digit_matrix(design, digit)) for tool in room]
    wrist = next(h for h in design.hinges if {h.parent, h.child} == {PALM, CUFF})
    at = (wrist.origin_mm[0], wrist.origin_mm[2])
    half = m["half_width_mm"]
    recess = half - m["wall_mm"] + fits.PIN_RECESS_DEPTH_MM
    tools.append(rod(fits.WRIST_PIN_HOLE_MM / 2, -half - 1.0, half + 1.0, "y", at))
    tools.append(rod(fits.WRIST_PIN_RECESS_MM / 2, -recess, recess, "y", at))
    return tools


def _cords(design: Design) -> list[Solid]:
    """Every cord's way through the palm, its swing behind the knuckle, and the mouth of its guide."""
    wrist = next(h for h in design.hinges if {h.parent, h.child} == {PALM, CUFF})
    radius, tools = fits.CORD_HOLE_MM / 2, []
    for digit in design.digits:
        leg = next(leg for leg in design.cord_of(digit.name).legs if leg.digit == digit.name)
        points = at_body(leg.points, PALM)
        if len(points) > 1:
            tools.append(way(points, radius))
        tools += swing(design, joint(design, digit, is_tip=False), np.eye(4), outer=False)
        for angle in np.linspace(*WRIST_RANGE_DEG, 8):
            away = turned(np.array(leg.points[0].at_mm), wrist, float(angle))[0] - points[0]
            mouth = points[0] + away * (12.0 / np.linalg.norm(away))
            tools.append(capsule(points[0], mouth, radius, 16))
    return tools


def _elastic_anchors(design: Design) -> list[Solid]:
    """A pocket for each elastic's knot, a short tunnel that holds it, and an open groove to the knuckle."""
    tools = []
    for elastic in design.elastics:
        digit = next(d for d in design.digits if d.name == elastic.digit)
        at, knuckle = digit_matrix(design, digit), joint(design, digit, is_tip=False)
        start, on = carried(inverse(at), [p.at_mm for p in elastic.points[:2]])
        step = (on - start) / np.linalg.norm(on - start)
        held, radius = start + ELASTIC_TUNNEL_MM * step, fits.ELASTIC_HOLE_MM / 2
        pocket = ball(fits.KNOT_POCKET_MM / 2, start - 1.5 * step, 20)
        # over the knuckle the elastic bears on the tongue: the groove ends before it
        end = start + step * max(float(-start[0]) - knuckle.back_radius_mm, ELASTIC_TUNNEL_MM)
        groove = open_way([held, end], radius, UP)
        shaft = hull([pocket, pocket.translate(UP)])
        tools += [moved(tool, at) for tool in (shaft, way([start, held], radius), groove)]
    return tools
