"""The forearm cuff, printed flat and bent warm, and the slide that joins it to the tension block.

flat, seen from above (x toward the hand)        bent, seen from behind

  ________________ arm o hinge                        __________
 |  wing  ________/                                  /  slide   \\     bend radius at both
 | - - - - - - - -   bend from here                 |            |    edges of the back
 |  back   [slot]                                   |  forearm   |
 | - - - - - - - -                                  |            |
"""

from __future__ import annotations

from math import radians

import numpy as np

from handsel.design import fits
from handsel.design.model import Design, Part
from handsel.design.sizes import Sizes
from handsel.design.solids import (
    Floats,
    Profile,
    Solid,
    disc,
    eased,
    filleted,
    hull_of,
    prism,
    profile,
    rectangle,
    soft_prism,
    union,
)

BEND_STRIPS = 14
SLIDE_NECK = 2.6  # narrower than its head on either side


def cuff(design: Design, part: Part) -> Solid:
    """The flat cuff: x along the forearm, y across, mid-plane at z = 0."""
    m = Sizes(part)
    half = m["thickness_mm"] / 2
    return prism(cuff_outline(m), -half, half, "z")


def cuff_outline(m: Sizes) -> Profile:
    """The flat outline with its holes, seen from above (x, y)."""
    u, front, rear = m.unit_mm, -m["front_behind_mm"], -m["rear_behind_mm"]
    hinge, arm = m["hinge_across_mm"], m["arm_radius_mm"]
    narrow, wide = m["front_half_span_mm"], m["rear_half_span_mm"]
    area, holes = rectangle((rear, front), (-m["bend_from_mm"], m["bend_from_mm"])), []
    for s in (-1.0, 1.0):
        wing = profile(
            [
                (rear, 0.0),
                (front, 0.0),
                (front, s * (hinge + arm)),
                (front - 16.0 * u, s * narrow),
                (rear, s * wide),
            ]
        )
        bar = rectangle((front - 10.0 * u, 0.0), (s * hinge - arm, s * hinge + arm))
        area = area + wing + bar + disc(arm, (0.0, s * hinge))
        holes.append(disc(fits.WRIST_PIN_HOLE_MM / 2, (0.0, s * hinge)))
        holes += _strap_slots(m, s) + _openings(m, s)
    # the edge toward the elbow is hollowed, so that it does not press when the elbow bends
    hollow, reach = m["rear_hollow_mm"], m["bend_from_mm"] + 6.0 * u
    radius = (hollow**2 + reach**2) / (2.0 * hollow)
    area = area - disc(radius, (rear + hollow - radius, 0.0), 180)
    area = eased(filleted(area, 12.0 * u), arm * 0.8)
    slot = rectangle(_slot_reach(m), (-m["slot_half_mm"], m["slot_half_mm"]), 1.0)
    for hole in [*holes, slot]:
        area = area - hole
    return area


def _slot_reach(m: Sizes) -> tuple[float, float]:
    return (-m["slot_behind_mm"] - m["slot_length_mm"], -m["slot_behind_mm"])


def _strap_slots(m: Sizes, s: float) -> list[Profile]:
    """Two slots a side for the straps, along the lower edge of the wing."""
    u, width = m.unit_mm, m["strap_mm"]
    front, rear = m["front_behind_mm"] + 25.0 * u, m["rear_behind_mm"] - 7.0 * u
    slots = []
    for x in (-front - width, -rear):
        share = (-x - m["front_behind_mm"]) / (m["rear_behind_mm"] - m["front_behind_mm"])
        edge = m["front_half_span_mm"] + share * (m["rear_half_span_mm"] - m["front_half_span_mm"]) - 5.0 * u
        slots.append(rectangle((x, x + width), (s * (edge - fits.STRAP_SLOT_MM), s * edge), 1.2))
    return slots


def _openings(m: Sizes, s: float) -> list[Profile]:
    """A row of rounded openings in each wing, for air and less mass."""
    u = m.unit_mm
    low = m["bend_from_mm"] + m["bend_radius_mm"] * radians(m["bend_deg"]) + 2.0 * u
    front, rear = m["front_behind_mm"] + 14.0 * u, m["rear_behind_mm"] - 10.0 * u
    count, gap = 4, 5.0 * u
    length = (rear - front - gap * (count - 1)) / count
    high = low + 9.0 * u
    found = []
    for k in range(count):
        x = -front - (k + 1) * length - k * gap
        found.append(rectangle((x, x + length), (s * low, s * high), 3.0 * u))
    return found


def formed_cuff(design: Design, part: Part) -> Solid:
    """The cuff bent to its form, with the mid-plane of its back at z = 0.

    Cut into strips along the forearm, narrow ones across the bends; each strip stays a plate.
    """
    m = Sizes(part)
    flat, radius, half = m["bend_from_mm"], m["bend_radius_mm"], m["thickness_mm"] / 2
    bend = radians(m["bend_deg"])
    outline = cuff_outline(m)
    bend_edges = flat + radius * np.linspace(0.0, bend, BEND_STRIPS + 1)
    edges = np.concatenate([-bend_edges[::-1], bend_edges])
    edges = np.concatenate([[-1e3], edges, [1e3]])

    def bent(points: Floats) -> Floats:
        x, y, z = np.asarray(points, float).T
        side, past = np.sign(y), np.abs(y) - flat
        turn = np.clip(past / radius, 0.0, bend)
        rest = np.maximum(past - radius * bend, 0.0)
        across = np.minimum(np.abs(y), flat) + (radius + z) * np.sin(turn) + rest * np.cos(bend)
        up = -radius + (radius + z) * np.cos(turn) - rest * np.sin(bend)
        return np.column_stack([x, side * across, up])

    strips = [
        outline ^ rectangle((-1e3, 1e3), (lo, hi)) for lo, hi in zip(edges[:-1], edges[1:], strict=True)
    ]
    return union([prism(s, -half, half, "z").warp_batch(bent) for s in strips if not s.is_empty()])


def joint_slide(design: Design, part: Part) -> Solid:
    """The key of the sliding joint: a plate inside the cuff, a rail through it, a wide head in the block.

    Origin on the inner face of the cuff at the front of the slot; x forward, z outward.
    """
    m = Sizes(part)
    length, through = m["length_mm"], m["cuff_thickness_mm"]
    u, half = m.unit_mm, m["slot_half_mm"] - fits.SLIDE_GAP_MM
    neck = m["slot_half_mm"] - SLIDE_NECK * u
    head = through + m["head_mm"]
    plate = soft_prism(
        rectangle((-length - 4.0 * u, 4.0 * u), (-half - 5.0 * u, half + 5.0 * u), 4.0 * u),
        -m["plate_mm"],
        0.0,
        "z",
        0.4 * u,
    )
    key = prism(rectangle((-length, 0.0), (-half, half), 0.8 * u), -0.5, through, "z")
    return union([plate, key, dovetail(length, half, neck, through, head, 0.0)])


def dovetail(length: float, half: float, neck: float, low: float, high: float, gap: float) -> Solid:
    """A rail that is wider at its top, x from -length to 0; with a gap it is the groove for that rail."""
    points = np.array(
        [
            (x, s * y, z)
            for x in (-length, 0.0)
            for s in (-1.0, 1.0)
            for y, z in ((neck + gap, low), (half + gap, high))
        ]
    )
    foot = prism(rectangle((-length, 0.0), (-neck - gap, neck + gap)), low - 0.6, low + 0.01, "z")
    return union(
        [
            hull_of(points),
            foot,
            prism(rectangle((-length, 0.0), (-half - gap, half + gap)), high - 0.01, high + gap, "z"),
        ]
    )
