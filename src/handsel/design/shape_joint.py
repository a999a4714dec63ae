"""The pin joint of a digit: a fork on the inner part, a tongue on the outer one, and the cord's room.

    back (z)                         The tongue turns in the fork about the pin o. Behind,
 ______   ____                       the elastic bears on its back radius; below, it must
fork  _|_|                           stay clear of the cord, so its palm side is as small as
_____| o  |_ outer part -> x         the cord's nearest pass asks for. The fork's upper corner
       \\_/                           is square: the shoulder of the outer part rests on it
----------------- cord               when the digit is straight, and cannot bend backward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsel.design import fits
from handsel.design.model import Design, Digit, Hinge
from handsel.design.part_frames import Floats, at_body, carried, digit_matrix, inverse, turned
from handsel.design.solids import Profile, Solid, capsule, disc, eased, prism, rectangle, rod, union

SWING_STEP_DEG = 7.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """One digit hinge, with the radii of its tongue."""

    digit: Digit
    hinge: Hinge
    is_tip: bool  # the hinge of the tip rather than the knuckle
    pad_radius_mm: float  # of the tongue below the pin, toward the palm
    back_radius_mm: float  # of the tongue above it, where the elastic bears


def joint(design: Design, digit: Digit, *, is_tip: bool) -> Joint:
    """A digit's knuckle, or the hinge of its tip, with the tongue that its cord and elastic allow."""
    hinge = design.hinge(digit.tip_hinge if is_tip else digit.proximal_hinge)
    leg = next(leg for leg in design.cord_of(digit.name).legs if leg.digit == digit.name)
    elastic = next((e for e in design.elastics if e.digit == digit.name), None)
    under = next((w.radius_mm for w in leg.wraps if w.hinge == hinge.name and w.side == "palm"), None)
    over = next((w.radius_mm for w in elastic.wraps if w.hinge == hinge.name), None) if elastic else None
    smallest = fits.PIN_HOLE_MM / 2 + fits.MIN_WALL_MM
    clear = _nearest_pass(design, digit, hinge) - fits.CORD_HOLE_MM / 2 - 0.2
    back = over - fits.ELASTIC_MM / 2 if over is not None else clear
    pad = under - fits.CORD_MM / 2 if under is not None else min(clear, back)
    return Joint(
        digit=digit,
        hinge=hinge,
        is_tip=is_tip,
        pad_radius_mm=max(pad, smallest),
        back_radius_mm=max(back, smallest),
    )


def crossing(design: Design, digit: Digit, hinge: Hinge) -> tuple[Floats, Floats]:
    """Where the cord leaves the inner part of a hinge and enters the outer one: (3,) [mm], palm frame."""
    leg = next(leg for leg in design.cord_of(digit.name).legs if leg.digit == digit.name)
    return at_body(leg.points, hinge.parent)[-1], at_body(leg.points, hinge.child)[0]


def angles(hinge: Hinge) -> Floats:
    """Angles over the hinge's whole travel, close enough for a smooth slot [deg]."""
    steps = int(np.ceil((hinge.max_deg - hinge.min_deg) / SWING_STEP_DEG)) + 1
    return np.linspace(hinge.min_deg, hinge.max_deg, max(steps, 2))


def _nearest_pass(design: Design, digit: Digit, hinge: Hinge) -> float:
    """Least distance of the free cord from the hinge's axis, over the hinge's travel [mm]."""
    leave, enter = crossing(design, digit, hinge)
    axis, origin = np.array(hinge.axis), np.array(hinge.origin_mm)
    least = np.inf
    for angle in angles(hinge):
        a, b = (p - origin - axis * ((p - origin) @ axis) for p in (leave, turned(enter, hinge, angle)[0]))
        step = b - a
        t = np.clip(-(a @ step) / max(float(step @ step), 1e-9), 0.0, 1.0)
        least = min(least, float(np.linalg.norm(a + t * step)))
    return least


def swing(design: Design, j: Joint, to_part: Floats, *, outer: bool) -> list[Solid]:
    """The room that the cord sweeps at a joint, as seen by its inner or its outer part; part frame."""
    leave, enter = crossing(design, j.digit, j.hinge)
    room = []
    for angle in angles(j.hinge):
        a, b = (
            (turned(leave, j.hinge, -angle)[0], enter) if outer else (leave, turned(enter, j.hinge, angle)[0])
        )
        ends = carried(to_part, [a, b])
        room.append(capsule(ends[0], ends[1], fits.CORD_HOLE_MM / 2, 16))
    return room


def fork_side(radius_mm: float, back_to_mm: float) -> Profile:
    """Side view (x, z) of a fork with its pin at the origin: square above, round below, for the stop."""
    arm = rectangle((-back_to_mm, 0.0), (-radius_mm, radius_mm))
    stop = rectangle((-radius_mm, radius_mm), (0.0, radius_mm))
    return eased(arm + disc(radius_mm) + stop, 0.1 * radius_mm)


def fork(radius_mm: float, back_to_mm: float, tongue_mm: float, width_mm: float) -> Solid:
    """Two cheeks beside a tongue, joint frame: pin at the origin, the inner part toward -x."""
    side = fork_side(radius_mm, back_to_mm)
    inner, outer = tongue_mm / 2 + fits.SIDE_GAP_MM, width_mm / 2
    return union([prism(side, inner, outer, "y"), prism(side, -outer, -inner, "y")])


def tongue(j: Joint, shoulder_mm: float, width_mm: float) -> Solid:
    """The tongue about the pin at the origin, reaching to x = shoulder_mm; joint frame."""
    low, high = j.pad_radius_mm, j.back_radius_mm
    tall = max(low, high)
    upper = disc(high) ^ rectangle((-tall, tall), (0.0, tall))
    neck = rectangle((0.0, shoulder_mm), (-low, high))
    return prism(disc(low) + upper + neck, -width_mm / 2, width_mm / 2, "y")


def pin_room(width_mm: float, *, snap: bool = False, entry_mm: float = 0.5) -> list[Solid]:
    """The hole of a pin through a fork of the given width, with recesses that hide its barbs.

    The pin is at the origin, along y.
    snap: the fork is open to the front (+x). The pin, already in the tongue, is pressed in through a
    throat narrower than itself; so a finger goes on where its neighbours leave no room to push a pin
    in from the side. Cord and elastic pull it the other way, into the fork.
    entry_mm: free length beyond the face at +y, from where a pin is pushed in [mm].
    """
    half, deep, lip = width_mm / 2, fits.PIN_RECESS_DEPTH_MM, fits.PIN_BARB_MM / 2 + 0.2
    low, high = -half - 0.5, half + entry_mm
    faces = [(low, -half + deep), (half - deep, high)]
    room = [
        rod(fits.PIN_HOLE_MM / 2, low, high, "y"),
        *(rod(fits.PIN_RECESS_MM / 2, lo, hi, "y") for lo, hi in faces),
    ]
    if snap:
        throat = fits.PIN_THROAT_MM / 2
        room += [
            prism(rectangle((0.0, 12.0), (-throat, throat)), low, high, "y"),
            *(prism(rectangle((0.0, 12.0), (-lip, lip)), lo, hi, "y") for lo, hi in faces),
        ]
    return room


def gap_behind(j: Joint) -> float:
    """How far behind the pin the inner part must end for the tongue to turn [mm]."""
    return max(j.pad_radius_mm, j.back_radius_mm) + fits.END_GAP_MM


def part_frame_back(design: Design, digit: Digit, *, is_tip: bool) -> Floats:
    """(4, 4) from the palm frame to the frame of a digit's part."""
    return inverse(digit_matrix(design, digit, at_tip_hinge=is_tip))
