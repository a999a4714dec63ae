"""The tension block and what slides in it: carrier, whippletree, thumb tension pin.

    from above, fingers to the right            from the side

     ______________________                      ____bridge____  fin with tag card
    |screw=|   |carrier|b| | front face         |====|carrier___|
    |      |   |  (o)==|a| <- cords             |    | o bar    |   <- cords
    |screw=|   |       |r| |                    |____|__________|
    |______|___________|_|_|                       dovetail for the cuff's slide
         [ thumb pin     ] <- thumb cord

The two screws pull the carrier, the carrier's peg carries the whippletree, and the whippletree
rocks in plain sight in the open front of the block, between the block's floor and the carrier.
"""

from __future__ import annotations

from math import cos, radians, tan

from handsel.design import fits
from handsel.design.model import Design, Part
from handsel.design.shape_cuff import SLIDE_NECK, dovetail
from handsel.design.sizes import Sizes
from handsel.design.solids import (
    Solid,
    box,
    cut,
    prism,
    rectangle,
    rod,
    soft_prism,
    union,
)

POST_MM = 1.8  # the round that a loop turns on
EYELET_GAP_MM, EYELET_WALL_MM = 1.5, 0.8  # beside the post, and at the bar's end


def _pivot(design: Design, part: Part) -> tuple[float, float, float]:
    """The whippletree's pivot in the part's frame."""
    at = design.hinge("whippletree").origin_mm
    return (at[0] - part.at_mm[0], at[1] - part.at_mm[1], at[2] - part.at_mm[2])


def whippletree(design: Design, part: Part) -> Solid:
    """The rocking bar: pivot hole at the origin, an eyelet with a round post at each end."""
    m, ends = Sizes(part), _eyelets(design)
    u, depth, thick = m.unit_mm, m["bar_depth_mm"] / 2, bar_half_mm(m)
    # two cords side by side, round a post in the middle of the bar's depth
    slot, high = POST_MM / 2 + EYELET_GAP_MM, fits.CORD_HOLE_MM / 2
    half = max(m["half_length_mm"], max(ends) + slot + EYELET_WALL_MM)
    body = soft_prism(rectangle((-depth, depth), (-half, half), 3.0 * u), -thick, thick, "z", 0.5 * u)
    tools = [rod(fits.PIN_HOLE_MM / 2, -9.0, 9.0, "z")]
    tools += [box((-9.0, 9.0), (end - slot, end + slot), (-high, high)) for end in ends]
    posts = [rod(POST_MM / 2, 0.2 - thick, thick - 0.2, "z", (-1.6 * u, end)) for end in ends]
    return union([cut(body, tools), *posts])


def bar_half_mm(m: Sizes) -> float:
    """Half the bar's thickness: as drawn, or what walls above and below the cord's slot ask for."""
    return max(m["bar_thickness_mm"] / 2, fits.CORD_HOLE_MM / 2 + fits.MIN_WALL_MM)


def _eyelets(design: Design) -> list[float]:
    """Where the loops pass, across the bar from its pivot [mm]."""
    middle = design.hinge("whippletree").origin_mm[1]
    return sorted(
        {
            round(leg.points[0].at_mm[1] - middle, 6)
            for cord in design.cords
            for leg in cord.legs
            if len(cord.legs) > 1
        }
    )


def _carrier_half_mm(design: Design) -> float:
    """Half the carrier's width: its screws, which do not scale, and a wall beside their threads."""
    return design.slide("tension").screw_spacing_mm / 2 + fits.SCREW_THREAD_HOLE_MM / 2 + fits.MIN_WALL_MM


def _carrier_back_mm(design: Design, m: Sizes) -> float:
    """From the pivot to the carrier's rear face: room for the bar at its greatest tilt, then the wall."""
    hinge = design.hinge("whippletree")
    tilt = radians(max(abs(hinge.min_deg), abs(hinge.max_deg)))
    room = _carrier_half_mm(design) * tan(tilt) + m["bar_depth_mm"] / 2 / cos(tilt) + fits.SLIDE_GAP_MM
    return room + m["carrier_wall_mm"]


def carrier(design: Design, part: Part) -> Solid:
    """What the screws pull: a wall with two threads, and a plate over the bar with the peg it rocks on.

    Origin at the pivot; the screws run along x.
    """
    m, across = Sizes(part), design.slide("tension").screw_spacing_mm / 2
    u, thick, plate, gap = m.unit_mm, bar_half_mm(m), m["carrier_plate_mm"], fits.SLIDE_GAP_MM
    half, back, wall = _carrier_half_mm(design), _carrier_back_mm(design, m), m["carrier_wall_mm"]
    low, top = thick + gap, thick + gap + plate
    rear = box((-back, -back + wall), (-half, half), (-thick + 0.2, top))
    over = soft_prism(
        rectangle((-back, m["ahead_mm"]), (-m["plate_half_mm"], m["plate_half_mm"]), 2.0 * u),
        low,
        top,
        "z",
        0.4 * u,
    )
    peg = rod(fits.PIN_MM / 2, -thick, top - 0.5, "z")
    threads = [
        rod(fits.SCREW_THREAD_HOLE_MM / 2, -99.0, -back + wall + 1.0, "x", (y, m["screw_up_mm"]))
        for y in (-across, across)
    ]
    return cut(union([rear, over, peg]), threads)


def thumb_pin(design: Design, part: Part) -> Solid:
    """The thumb tension pin: a square rod; the thumb cord enters its front and is knotted at the origin."""
    m = Sizes(part)
    half, ahead, length = m["width_mm"] / 2, m["ahead_mm"], m["length_mm"]
    body = soft_prism(
        rectangle((-half, half), (-half, half), 1.0), ahead - length, ahead, "x", 0.5 * m.unit_mm
    )
    knot = min(fits.KNOT_POCKET_MM / 2, half - fits.MIN_WALL_MM)
    pocket = rod(knot, -half - 1.0, half + 1.0, "z", (-1.0, 0.0))
    return cut(body, [rod(fits.CORD_HOLE_MM / 2, -1.0, ahead + 1.0, "x"), pocket])


def block(design: Design, part: Part) -> Solid:
    """The tension block: origin in the middle of its front face's lower edge; it reaches back along -x."""
    m, tension = Sizes(part), design.slide("tension")
    px, _, pz = _pivot(design, part)
    u, top, thick = m.unit_mm, m["height_mm"], bar_half_mm(m)
    room = -px + tension.max_mm + _carrier_back_mm(design, m) + fits.SLIDE_GAP_MM
    length = room + m["rear_wall_mm"]
    sides = (-m["little_side_mm"], m["thumb_side_mm"])
    body = soft_prism(rectangle((-length, 0.0), sides, 4.0 * u), 0.0, top, "z", 1.5 * u)
    floor, half = pz - thick - fits.SLIDE_GAP_MM, m["slot_half_mm"]
    bridge = m["bridge_mm"]
    roof = pz + thick + 2 * fits.SLIDE_GAP_MM + m["carrier_plate_mm"]
    tools = [
        box((-room, 9.0), (-half, half), (floor, roof)),
        prism(rectangle((-room + bridge, 9.0), (-half, half), 1.5 * u), floor, 90.0, "z"),
        *_screw_holes(design, length, room, pz + m["screw_up_mm"]),
        *_thumb_channel(design, part, m),
        _key_groove(m, length),
    ]
    return union([cut(body, tools), *_tag_fin(design, part, m)])


def _key_groove(m: Sizes, length: float) -> Solid:
    """The groove of the cuff's slide, open at the rear; it ends where the slide's front is."""
    half, end = m["key_half_mm"] - fits.SLIDE_GAP_MM, -m["key_behind_mm"] + fits.SLIDE_GAP_MM
    neck = m["key_half_mm"] - SLIDE_NECK * m.unit_mm
    groove = dovetail(length + end + 1.0, half, neck, 0.0, m["head_mm"], fits.SLIDE_GAP_MM)
    return groove.translate((end, 0.0, 0.0))


def _screw_holes(design: Design, length: float, room: float, z: float) -> list[Solid]:
    across = design.slide("tension").screw_spacing_mm / 2
    return [
        rod(fits.SCREW_CLEARANCE_MM / 2, -length - 1.0, -room + 1.0, "x", (y, z)) for y in (-across, across)
    ]


def _thumb_channel(design: Design, part: Part, m: Sizes) -> list[Solid]:
    """The square way of the thumb tension pin, and the thread of the grub screw that holds it."""
    slide = design.slide("thumb_pin")
    cord = next(leg for c in design.cords for leg in c.legs if leg.points[0].body == slide.body)
    x, y, z = (cord.points[0].at_mm[k] - part.at_mm[k] for k in range(3))
    half = m["pin_width_mm"] / 2 + fits.SLIDE_GAP_MM
    deep = x - (m["pin_length_mm"] - m["pin_ahead_mm"]) - slide.max_mm - fits.SLIDE_GAP_MM
    channel = prism(rectangle((y - half, y + half), (z - half, z + half), 0.8), deep, 9.0, "x")
    grub = rod(
        fits.SCREW_THREAD_HOLE_MM / 2, z, 90.0, "z", (x - m["pin_length_mm"] / 2 + m["pin_ahead_mm"], y)
    )
    return [channel, grub]


def _tag_fin(design: Design, part: Part, m: Sizes) -> list[Solid]:
    """A flat fin on the block's side whose outer face seats the tag card."""
    fins = []
    for pad in (p for p in design.tag_pads if p.body == part.body):
        x, y, z = (pad.centre_mm[k] - part.at_mm[k] for k in range(3))
        half, inward = fits.TAG_CARD_MM / 2 + fits.TAG_RIM_MM, -1.0 if pad.normal[1] > 0 else 1.0
        seat = rectangle((x - half, x + half), (0.0, z + half), 1.5)
        fins.append(prism(seat, y, y + inward * m["fin_mm"], "y"))
        side = m["thumb_side_mm"] if inward < 0 else -m["little_side_mm"]
        foot = rectangle((x - half, x + half), (0.0, m["height_mm"] - 1.5 * m.unit_mm))
        fins.append(prism(foot, y, side + inward * 2.0 * m.unit_mm, "y"))
    return fins
