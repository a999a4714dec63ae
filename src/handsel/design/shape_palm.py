"""The palm: a hollow wedge over the wearer's palm, with forks for five digits and two cheeks at the wrist.

Side view, x to the right, z up:

           __              The roof follows the cords down from the dorsal guide g to their exits e
          /g \\__           behind the knuckles o. Behind the guide the palm is open, so that nothing
     ___ /      \\____      touches the cords over the wrist. The room for the wearer's palm opens
    ( w )  room  \\_e_)=o   toward the wrist hinge w; the floor has a window. The little finger's
      \\__________/___|     side is one plane: the palm lies, and is printed, on it.
"""

from __future__ import annotations

import numpy as np

from handsel.design import fits
from handsel.design.model import CUFF, PALM, Design, Digit, Part
from handsel.design.part_frames import at_body, digit_matrix, inverse, shift
from handsel.design.shape_joint import fork, gap_behind, joint
from handsel.design.shape_palm_ways import palm_ways, sweeps
from handsel.design.sizes import Sizes
from handsel.design.solids import (
    Profile,
    Solid,
    ball,
    box,
    capsule,
    cut,
    disc,
    eased,
    filleted,
    grown,
    hull,
    moved,
    prism,
    profile,
    rectangle,
    soft_prism,
    softened,
    union,
)
from handsel.errors import OutOfRange

TUBE_WALL_MM = 1.6  # round a cord's way where it leaves the walls
FAR_MM = 400.0  # beyond every palm


class _Lines:
    """What the palm's side view is drawn round, read from the design's routes [mm]."""

    def __init__(self, design: Design, m: Sizes) -> None:
        self.fingers = [d for d in design.digits if d.name != "thumb"]
        self.thumb = next((d for d in design.digits if d.name == "thumb"), None)
        self.ways = {leg.digit: at_body(leg.points, PALM) for c in design.cords for leg in c.legs}
        finger_ways = [self.ways[d.name] for d in self.fingers]
        self.guide_x = float(np.mean([w[0, 0] for w in finger_ways]))
        self.guide_z = float(max(w[0, 2] for w in self.ways.values()))
        falls = [float((w[0, 2] - w[-1, 2]) / max(w[-1, 0] - w[0, 0], 1e-6)) for w in finger_ways]
        self.gentle, self.steep = min(falls), max(falls)  # of the cords toward the fingers
        if not 0.05 < self.gentle <= self.steep < 20.0:
            raise OutOfRange(
                "the finger cords do not fall from the dorsal guide to the knuckles",
                where=f'part "{m.part.name}"',
                do="Its shape follows the cords: put their guides above and behind their exits.",
            )
        self.base_z = design.pose.base_z_mm
        fronts = [design.hinge(d.proximal_hinge).origin_mm[0] - m["knuckle_ahead_mm"] for d in self.fingers]
        self.front_x, self.rear_front_x = max(fronts), min(fronts)
        anchors = [e.points[0].at_mm[2] for e in design.elastics if e.digit != "thumb"]
        self.front_top_z = max(anchors, default=6.0 * m.unit_mm) + 1.2 * m.unit_mm
        wrist = next(h for h in design.hinges if {h.parent, h.child} == {PALM, CUFF})
        self.wrist = (wrist.origin_mm[0], wrist.origin_mm[2])

    def lowest_cord_z(self, x: float) -> float:
        return self.guide_z - self.steep * (x - self.guide_x)


def palm(design: Design, part: Part) -> Solid:
    """The palm, in the palm frame moved to the part's origin."""
    m = Sizes(part)
    lines = _Lines(design, m)
    half = m["half_width_mm"]
    outer = soft_prism(_side(m, lines), -half, half, "y", m["edge_mm"]) ^ _crown(m, lines)
    room = _room(m, lines)
    solid = union([cut(outer, [room]), *_tubes(lines, outer), *_thumb_mount(design, m, lines, room)])
    solid = union([solid, *_tag_seats(design, m, lines)])
    solid = cut(solid, [*_fronts(design, m, lines), *sweeps(design)])
    solid = union([solid, *_forks(design, m, lines)])
    solid = cut(solid, [*palm_ways(design, m), *_floor_openings(m, lines)])
    return moved(solid, inverse(shift(part.at_mm)))


def _side(m: Sizes, lines: _Lines) -> Profile:
    """The outer side view (x, z)."""
    u, boss = m.unit_mm, m["wrist_boss_mm"]
    top, low = lines.guide_z + m["roof_over_mm"], lines.front_top_z
    rear, ahead = lines.guide_x - m["guide_behind_mm"], lines.guide_x + m["guide_ahead_mm"]
    meets = min(ahead + (top - low) / lines.gentle, lines.front_x - 2.0 * u)
    wx, wz = lines.wrist
    outline = [
        (m["floor_rear_mm"], lines.base_z),
        (lines.front_x, lines.base_z),
        (lines.front_x, low),
        (meets, low),
        (ahead, top),
        (rear, top),
        (rear - 0.55 * (top - boss), wz + boss),
        (wx, wz + boss),
        (wx, wz),
    ]
    area = filleted(profile(outline) + disc(boss, (wx, wz)), 10.0 * u)
    back = rectangle((-FAR_MM, FAR_MM), (wz + 0.5 * boss, FAR_MM))
    return eased((eased(area, 7.0 * u) ^ back) + (area - back), m["edge_mm"] + 0.05)


def _crown(m: Sizes, lines: _Lines) -> Solid:
    """A long rod with the palm's section: flat below, its shoulders well rounded."""
    half, top, r = m["half_width_mm"], lines.guide_z + m["roof_over_mm"], m["shoulder_mm"]
    low = rectangle((-half, half), (lines.base_z - 1.0, 0.0))
    return prism(low + eased(rectangle((-half, half), (-2.0 * r, top)), r), -FAR_MM, FAR_MM, "x")


def _room(m: Sizes, lines: _Lines) -> Solid:
    """The room for the wearer's palm: floor, roof under the cords, closed toward the fingers.

    Its inside corners are as round as a ball.
    """
    r = 5.0 * m.unit_mm
    low = lines.base_z + m["floor_mm"]
    under = fits.CORD_HOLE_MM / 2 + TUBE_WALL_MM + 0.4 * m.unit_mm  # from the cords down to the roof
    reach = under * float(np.hypot(1.0, lines.steep))
    roof = lines.guide_z - under
    turn_x = lines.guide_x + (under - reach) / lines.steep
    end = lines.rear_front_x - m["front_depth_mm"]
    end_top = max(lines.lowest_cord_z(end) - reach, low + 2 * r)
    area = profile([(-FAR_MM, low), (end, low), (end, end_top), (turn_x, roof), (-FAR_MM, roof)])
    side = m["half_width_mm"] - m["wall_mm"] - r
    return softened(prism(grown(area, -r), -side, side, "y"), r)


def _tag_seats(design: Design, m: Sizes, lines: _Lines) -> list[Solid]:
    """A flat plate in the side wall for each tag card, never below the palm's base."""
    half, plates = fits.TAG_CARD_MM / 2 + fits.TAG_RIM_MM, []
    for pad in (p for p in design.tag_pads if p.body == PALM):
        x, y, z = pad.centre_mm
        inward = y + (-1.0 if pad.normal[1] > 0 else 1.0) * m["tag_plate_mm"]
        seat = rectangle((x - half, x + half), (max(z - half, lines.base_z), z + half))
        plates.append(prism(eased(seat, 1.5), y, inward, "y"))
    return plates


def _tubes(lines: _Lines, outer: Solid) -> list[Solid]:
    """Walls round the cords' ways where they cross the room; the thumb's joins the side wall."""
    r = fits.CORD_HOLE_MM / 2 + TUBE_WALL_MM
    solids = []
    for digit, points in lines.ways.items():
        for a, b in zip(points[:-1], points[1:], strict=True):
            tube = capsule(a, b, r)
            if digit == "thumb":
                tube = hull([tube, tube.translate((0.0, 12.0, 0.0))])
            solids.append(tube ^ outer)
    return solids


def _depth(design: Design, digit: Digit, m: Sizes) -> float:
    """From a digit's knuckle back to what carries its fork [mm]."""
    gap = gap_behind(joint(design, digit, is_tip=False))
    return gap if digit.name == "thumb" else max(gap, m["knuckle_ahead_mm"])


def _fronts(design: Design, m: Sizes, lines: _Lines) -> list[Solid]:
    """What is cut off before the forks are put on, so that each digit has its room whatever its setback."""
    u, tools = m.unit_mm, []
    for digit in lines.fingers:
        at, deep, pitch = digit_matrix(design, digit), _depth(design, digit, m), m["finger_pitch_mm"] / 2
        lip = lines.base_z - at[2, 3]
        front = profile(
            [
                (-deep, FAR_MM),
                (FAR_MM, FAR_MM),
                (FAR_MM, lip - 9.0 * u),
                (-deep - 9.0 * u, lip - 9.0 * u),
                (-deep - 2.5 * u, lip),
                (-deep, lip + 2.5 * u),
            ]
        )
        tools.append(moved(prism(front, -pitch - 0.01, pitch + 0.01, "y"), at))
    if lines.thumb is not None:
        deep, side = _depth(design, lines.thumb, m), m["half_width_mm"] - 0.01
        ahead = box((-deep, FAR_MM), (-40.0 * u, 40.0 * u), (-40.0 * u, 40.0 * u))
        outside = box((-FAR_MM, FAR_MM), (side, FAR_MM), (-FAR_MM, FAR_MM))
        tools.append(moved(ahead, digit_matrix(design, lines.thumb)) ^ outside)
    return tools


def _forks(design: Design, m: Sizes, lines: _Lines) -> list[Solid]:
    forks = []
    for digit in [*lines.fingers, *([lines.thumb] if lines.thumb else [])]:
        kind, root = ("thumb", 4.0) if digit.name == "thumb" else ("finger", 2.5)
        back = _depth(design, digit, m) + root * m.unit_mm
        arms = fork(m[f"{kind}_lug_radius_mm"], back, m[f"{kind}_tongue_mm"], m[f"{kind}_width_mm"])
        forks.append(moved(arms, digit_matrix(design, digit)))
    return forks


def _thumb_mount(design: Design, m: Sizes, lines: _Lines, room: Solid) -> list[Solid]:
    """The swelling that carries the thumb: from the side wall to a block behind the thumb's knuckle."""
    if lines.thumb is None:
        return []
    u, at = m.unit_mm, digit_matrix(design, lines.thumb)
    deep, soft = _depth(design, lines.thumb, m), 2.0 * u
    w, r = m["thumb_width_mm"] / 2 - soft, m["thumb_lug_radius_mm"]
    corners = [(x, y, z) for x in (-deep - soft, -deep - 9.0 * u) for y in (-w, w) for z in (-r, r)]
    block = [moved(ball(soft, c, 16), at) for c in corners]
    half, edge, centre = m["half_width_mm"], m["edge_mm"], at[0, 3]
    patch = [
        ball(edge, (x, half - edge, z), 16)
        for x in (centre - 26.0 * u, centre + 8.0 * u)
        for z in (lines.base_z + edge, lines.base_z + 14.0 * u)
    ]
    return [cut(hull([*block, *patch]), [room])]


def _floor_openings(m: Sizes, lines: _Lines) -> list[Solid]:
    """A window under the wearer's palm and, beside it, two slots for the strap."""
    u, low, high = m.unit_mm, lines.base_z - 1.0, lines.base_z + m["floor_mm"] + 0.5
    x0, length, half = m["window_rear_mm"], m["window_length_mm"], m["window_half_mm"]
    areas = [rectangle((x0, x0 + length), (-half, half), 7.0 * u)]
    inset, reach = half + 2.4 * u, (x0 + 4.0 * u, x0 + length - 4.0 * u)
    areas += [rectangle(reach, (s * inset, s * (inset + fits.STRAP_SLOT_MM)), 1.2) for s in (-1.0, 1.0)]
    return [prism(area, low, high, "z") for area in areas]
