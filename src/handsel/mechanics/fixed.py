"""All of a design that no build of it changes, as the engine's arrays: routes, turns, weights and pads."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design, Hinge, Leg, RoutePoint, Wrap
from handsel.mechanics.build import GRAVITY_N_PER_G
from handsel.mechanics.paths import Crossing, WristLegs, crossing, crossing_length, wrist_length
from handsel.mechanics.posture import point_terms

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Turns:
    """Constant directions at the bends of each leg, for its turning angles; (d, 3) unit vectors.

    Wrist vectors are in the wrist hinge's axes, the others in their own hinge's axes, digit straight.
    """

    channel_at_guide: Floats  # out of the guide, wrist axes
    channel_at_exit: Floats  # into the exit hole, knuckle axes
    palm_bends_rad: Floats  # (d,) bends between further palm points
    bone_at_entry: Floats  # along the proximal part, knuckle axes of the child
    bone_at_exit: Floats  # the same, in the tip hinge's axes
    a1: Floats  # (d, 3) points in their hinge's axes: exit hole, entry, proximal exit, knot
    b1: Floats
    a2: Floats
    b2: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fixed:
    """All of a design that no build changes."""

    turns: Turns
    guide: Floats
    moving: tuple[Floats, Floats, Floats]
    on_bar: NDArray[np.bool_]
    slide_step: Floats  # (d, 3) shift of the moving point per mm of its slide, wrist axes
    flexor: Crossing  # (d, 2)
    extensor: Crossing
    constant_mm: Floats  # (d,) spans that never change
    nominal_mm: Floats  # (d,) whole leg at the target angle, straight, level
    elastic_constant_mm: Floats
    elastic_straight_mm: Floats
    weight_terms: Floats
    cuff_weight: Floats
    thumb_pin_weight: Floats
    pad_terms: Floats
    pad_radius_mm: Floats


def hinge_axes(axis: Floats) -> Floats:
    """Rows u, w, axis with u x w = axis: rotation goes from u to w. u leans toward +x."""
    u = np.array([1.0, 0.0, 0.0]) - axis * axis[0]
    if np.linalg.norm(u) < 0.1:
        u = np.array([0.0, 1.0, 0.0]) - axis * axis[1]
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(axis, u), axis])


def leg_lengths(design: Design) -> tuple[Floats, Floats, Floats]:
    """Of each digit: cord that never changes length, elastic with the digit straight, its unchanging part.

    Returns: three (d,) float [mm].
    """
    fx = fixed(design)
    return fx.constant_mm, fx.elastic_straight_mm, fx.elastic_constant_mm


@lru_cache(maxsize=64)
def fixed(design: Design) -> Fixed:
    """What stays, worked out once a design.

    Parameters: design, already scaled and mirrored.
    Returns: Fixed, shapes d digits.
    Raises: nothing of its own.
    Valid for: designs that were loaded.
    Source: the frames in `handsel.mechanics`.
    Checked by: properties/test_lengths_agree.py
    """
    wrist = design.hinge("wrist")
    axes, origin = hinge_axes(np.array(wrist.axis)), np.array(wrist.origin_mm)
    legs = [next(leg for c in design.cords for leg in c.legs if leg.digit == g.name) for g in design.digits]
    moving, on_bar, steps = _moving_points(design, legs, axes, origin)
    guide = np.array([axes @ (np.array(leg.points[1].at_mm) - origin) for leg in legs])
    hinges = [(design.hinge(g.proximal_hinge), design.hinge(g.tip_hinge)) for g in design.digits]
    frames = [[(hinge_axes(np.array(h.axis)), np.array(h.origin_mm)) for h in pair] for pair in hinges]
    names = [(g.proximal_hinge, g.tip_hinge) for g in design.digits]
    flexor, constant, spans = _spans(
        [leg.points[1:] for leg in legs], [leg.wraps for leg in legs], frames, names, design
    )
    elastics = [next(e for e in design.elastics if e.digit == g.name) for g in design.digits]
    extensor, e_constant, _ = _spans(
        [e.points for e in elastics], [e.wraps for e in elastics], frames, names, design
    )
    straight = np.zeros(flexor.ra_mm.shape)
    wl = WristLegs(
        guide=guide[None],
        centre=moving[0][None],
        even=moving[1][None],
        odd=moving[2][None],
        barrel_mm=np.full((1, 1), design.wrist_barrel_radius_mm),
    )
    at_target = wrist_length(wl, np.radians([design.target_rest_angle_deg]), np.zeros(1)).length[0]
    cuff, pin = _cuff_weight(design, axes, origin)
    pads = _pads(design, hinges)
    return Fixed(
        turns=_turns(legs, axes, origin, frames, spans, [pair[0].child for pair in hinges]),
        guide=guide,
        moving=moving,
        on_bar=on_bar,
        slide_step=steps,
        flexor=flexor,
        extensor=extensor,
        constant_mm=constant,
        nominal_mm=at_target + crossing_length(flexor, straight).length.sum(-1) + constant,
        elastic_constant_mm=e_constant,
        elastic_straight_mm=crossing_length(extensor, straight).length.sum(-1) + e_constant,
        weight_terms=_weight_terms(design, hinges),
        cuff_weight=cuff,
        thumb_pin_weight=pin,
        pad_terms=pads[0],
        pad_radius_mm=pads[1],
    )


def _moving_points(
    design: Design, legs: list[Leg], axes: Floats, origin: Floats
) -> tuple[tuple[Floats, Floats, Floats], NDArray[np.bool_], Floats]:
    bar = design.hinge("whippletree")
    pivot, k = np.array(bar.origin_mm), np.array(bar.axis)
    centre, even, odd, on_bar, steps = [], [], [], [], []
    for leg in legs:
        first = leg.points[0]
        arm = np.array(first.at_mm) - pivot
        turns = first.body == "whippletree"
        along = k * (k @ arm)
        centre.append(pivot + along if turns else np.array(first.at_mm))
        even.append(arm - along if turns else np.zeros(3))
        odd.append(np.cross(k, arm) if turns else np.zeros(3))
        on_bar.append(turns)
        steps.append(axes @ np.array(next(s for s in design.slides if s.body == first.body).direction))
    to_axes = [np.array([axes @ v for v in vs]) for vs in ([c - origin for c in centre], even, odd)]
    return (to_axes[0], to_axes[1], to_axes[2]), np.array(on_bar), np.array(steps)


def _spans(
    routes: list[tuple[RoutePoint, ...]],
    wraps: list[tuple[Wrap, ...]],
    frames: list[list[tuple[Floats, Floats]]],
    names: list[tuple[str, str]],
    design: Design,
) -> tuple[Crossing, Floats, list[list[Floats]]]:
    """The two hinge crossings of each route, and the length of its spans that stay on one body."""
    rows, constants, ends = [], [], []
    for route, wrap, pair, hinge_names in zip(routes, wraps, frames, names, strict=True):
        spans: list[tuple[float, ...]] = []
        constant, marks = 0.0, []
        for p, q in zip(route, route[1:], strict=False):
            a, b = np.array(p.at_mm), np.array(q.at_mm)
            if p.body == q.body:
                constant += float(np.linalg.norm(b - a))
                continue
            j = len(spans)
            around = next((w for w in wrap if w.hinge == hinge_names[j]), None)
            local = [pair[j][0] @ (x - pair[j][1]) for x in (a, b)]
            spans.append(_crossing(local[0], local[1], around))
            marks += local
        rows.append(spans)
        constants.append(constant)
        ends.append(marks)
    table = np.array(rows)  # (d, 2, 6)
    keys = ("ra_mm", "rb_mm", "gap_rad", "sense", "radius_mm", "rise_mm")
    return crossing(**{k: table[..., i] for i, k in enumerate(keys)}), np.array(constants), ends


def _crossing(a: Floats, b: Floats, wrap: Wrap | None) -> tuple[float, ...]:
    sense = 1.0 if wrap is not None and wrap.side == "back" else -1.0
    turn = np.arctan2(a[1], a[0]) - np.arctan2(b[1], b[0])
    gap = np.mod(-turn if sense > 0 else turn, 2.0 * np.pi)
    return (
        float(np.hypot(a[0], a[1])),
        float(np.hypot(b[0], b[1])),
        float(gap),
        sense,
        wrap.radius_mm if wrap is not None else 0.0,
        float(b[2] - a[2]),
    )


def _turns(
    legs: list[Leg],
    axes: Floats,
    origin: Floats,
    frames: list[list[tuple[Floats, Floats]]],
    spans: list[list[Floats]],
    proximal: list[str],
) -> Turns:
    first, last, between, bone1, bone2 = [], [], [], [], []
    for leg, pair, bone_name in zip(legs, frames, proximal, strict=True):
        palm = [np.array(p.at_mm) for p in leg.points if p.body == "palm"]
        steps = [_unit(b - a) for a, b in zip(palm, palm[1:], strict=False)] or [np.array([1.0, 0.0, 0.0])]
        bone = [np.array(p.at_mm) for p in leg.points if p.body == bone_name]
        first.append(axes @ steps[0])
        last.append(pair[0][0] @ steps[-1])
        between.append(
            sum(float(np.arccos(np.clip(a @ b, -1.0, 1.0))) for a, b in zip(steps, steps[1:], strict=False))
        )
        along = _unit(bone[-1] - bone[0]) if len(bone) > 1 else np.zeros(3)
        bone1.append(pair[0][0] @ along)
        bone2.append(pair[1][0] @ along)
    ends = np.array(spans)  # (d, 4, 3)
    return Turns(
        channel_at_guide=np.array(first),
        channel_at_exit=np.array(last),
        palm_bends_rad=np.array(between),
        bone_at_entry=np.array(bone1),
        bone_at_exit=np.array(bone2),
        a1=ends[:, 0],
        b1=ends[:, 1],
        a2=ends[:, 2],
        b2=ends[:, 3],
    )


def _unit(v: Floats) -> Floats:
    return v / np.linalg.norm(v)


def _cuff_weight(design: Design, axes: Floats, origin: Floats) -> tuple[Floats, Floats]:
    """Potential of cuff and what it carries: [cos, sin] terms; slides shift it by too little to count."""
    out = []
    for group in (("cuff",), ("whippletree", "thumb_pin")):
        terms = np.zeros(2)
        for name in group:
            body = design.body(name)
            u, w, _ = axes @ (np.array(body.com_mm) - origin)
            up_u, up_w = axes[0][2], axes[1][2]
            weight = (body.printed_mass_g + body.hardware_mass_g) * GRAVITY_N_PER_G
            # turned by theta: u' = u cos - w sin, w' = u sin + w cos; height = u' up_u + w' up_w
            terms += weight * np.array([u * up_u + w * up_w, u * up_w - w * up_u])
        out.append(terms)
    return out[0], out[1]


def _hinge_pair(pair: tuple[Hinge, Hinge]) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    a, b = pair
    return ((np.array(a.origin_mm), np.array(a.axis)), (np.array(b.origin_mm), np.array(b.axis)))


def _weight_terms(design: Design, hinges: list[tuple[Hinge, Hinge]]) -> Floats:
    out = []
    for g, pair in zip(design.digits, hinges, strict=True):
        h1, h2 = _hinge_pair(pair)
        terms = np.zeros((3, 3))
        for hinge_name, on_tip in ((g.proximal_hinge, False), (g.tip_hinge, True)):
            body = design.body(design.hinge(hinge_name).child)
            weight = (body.printed_mass_g + body.hardware_mass_g) * GRAVITY_N_PER_G
            terms += weight * point_terms(h1, h2, np.array(body.com_mm), on_tip)[2]
        out.append(terms)
    return np.array(out)


def _pads(design: Design, hinges: list[tuple[Hinge, Hinge]]) -> tuple[Floats, Floats]:
    terms, radii = [], []
    for g, pair in zip(design.digits, hinges, strict=True):
        h1, h2 = _hinge_pair(pair)
        both = [
            next(p for p in design.pads if p.digit == g.name and p.segment == s) for s in ("proximal", "tip")
        ]
        terms.append([point_terms(h1, h2, np.array(p.centre_mm), p.segment == "tip") for p in both])
        radii.append([p.radius_mm for p in both])
    return np.array(terms), np.array(radii)
