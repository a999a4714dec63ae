"""A design and a batch of builds turned into the arrays that the engine works on."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design, Hinge, Leg, RoutePoint, Wrap
from handsel.mechanics.build import GRAVITY_N_PER_G, Build
from handsel.mechanics.paths import Crossing, WristLegs, crossing, crossing_length, wrist_length
from handsel.mechanics.posture import point_terms

Floats = NDArray[np.float64]
Rows = NDArray[np.intp] | NDArray[np.bool_]


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
class Model:
    """n hands of one design, ready to solve. Shapes: n hands, d digits, c cords, e eyelets."""

    cord_of_leg: NDArray[np.intp]  # (d,)
    eyelet_legs: NDArray[np.intp]  # (e, 2) digits that share an eyelet
    eyelet_turn_rad: Floats  # (e,)
    contact_pairs: NDArray[np.intp]  # (k, 2) digits whose tip pads can meet
    turns: Turns
    wrist: WristLegs
    flexor: Crossing  # (n, d, 2)
    extensor: Crossing  # (n, d, 2)
    cord_free_mm: Floats  # (n, c) stretch = sum of spans - this
    cord_stiffness: Floats  # (n, c) [N/mm]
    elastic_free_mm: Floats  # (n, d)
    elastic_stiffness: Floats  # (n, d) [N/mm]
    member: Floats  # (d, c) 1 where a leg belongs to a cord
    weight_terms: Floats  # (d, 3, 3) digit potential by terms of phi1 and phi2 [N mm]
    cuff_weight: Floats  # (n, 2) potential = [0] cos(theta) + [1] sin(theta) [N mm]
    hinge_low_rad: Floats  # (d, 2)
    hinge_high_rad: Floats  # (d, 2)
    bar_limit_rad: Floats  # (n,)
    low_rad: Floats  # (n, 2 + 2d) stops of every angle
    high_rad: Floats  # (n, 2 + 2d)
    wrist_range_rad: tuple[float, float]
    pad_terms: Floats  # (d, 2, 3, 3, 3) proximal and tip pad: coordinate, phi1, phi2 [mm]
    pad_radius_mm: Floats  # (d, 2)
    palm_plane_z_mm: float
    palm_front_x_mm: float
    friction_mu: Floats  # (n,) or (n, d); an eyelet rubs as the smoother of its legs
    elastic_loss: Floats  # (n,)
    pin_friction: Floats  # (n, 2 + 2d) of every hinge [N mm]

    def __len__(self) -> int:
        return len(self.cord_free_mm)

    def take(self, rows: Rows) -> Model:
        """A selection of the hands."""
        changed = {}
        for name in PER_HAND:
            value = getattr(self, name)
            changed[name] = value.take(rows) if isinstance(value, WristLegs | Crossing) else value[rows]
        return Model(**{f.name: changed.get(f.name, getattr(self, f.name)) for f in fields(self)})


PER_HAND = (
    "wrist",
    "flexor",
    "extensor",
    "cord_free_mm",
    "cord_stiffness",
    "elastic_free_mm",
    "elastic_stiffness",
    "cuff_weight",
    "bar_limit_rad",
    "low_rad",
    "high_rad",
    "friction_mu",
    "elastic_loss",
    "pin_friction",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fixed:
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


def compile_model(design: Design, build: Build) -> Model:
    """The engine's arrays for n builds of a placed design.

    Parameters: design, already scaled and mirrored; build, n hands.
    Returns: Model of n hands.
    """
    fx, n, d = _fixed(design), len(build), len(design.digits)
    cord_of_leg = np.array(
        [
            next(c for c, cord in enumerate(design.cords) for leg in cord.legs if leg.digit == g.name)
            for g in design.digits
        ]
    )
    eyelets = [
        [_digit_index(design, leg.digit) for leg in cord.legs] for cord in design.cords if len(cord.legs) == 2
    ]
    slide = np.where(fx.on_bar, build.tension_slide_mm[:, None], build.thumb_pin_mm[:, None])
    member = (cord_of_leg[:, None] == np.arange(len(design.cords))).astype(float)
    length = fx.nominal_mm @ member + build.excess_mm
    ea = np.array([cord.axial_stiffness_n for cord in design.cords])
    free = fx.elastic_straight_mm / (1.0 + build.elastic_pretension_ratio)
    elastic_ea = np.array([e.axial_stiffness_n for e in design.elastics]) * build.elastic_stiffness_ratio
    hinges = [(design.hinge(g.proximal_hinge), design.hinge(g.tip_hinge)) for g in design.digits]
    bar = design.hinge("whippletree")
    wrist = design.hinge("wrist")
    low = np.radians([[a.min_deg, b.min_deg] for a, b in hinges])
    high = np.radians([[a.max_deg, b.max_deg] for a, b in hinges])
    bar_limit = np.where(build.bar_locked, 0.0, np.radians(bar.max_deg))
    wrist_range = (float(np.radians(wrist.min_deg)), float(np.radians(wrist.max_deg)))
    return Model(
        cord_of_leg=cord_of_leg,
        eyelet_legs=np.array(eyelets, dtype=np.intp).reshape(-1, 2),
        eyelet_turn_rad=np.radians([c.eyelet_turn_deg for c in design.cords if len(c.legs) == 2]),
        contact_pairs=_thumb_pairs(design),
        turns=fx.turns,
        wrist=WristLegs(
            guide=np.broadcast_to(fx.guide, (n, d, 3)),
            centre=fx.moving[0] + slide[..., None] * fx.slide_step,
            even=np.broadcast_to(fx.moving[1], (n, d, 3)),
            odd=np.broadcast_to(fx.moving[2], (n, d, 3)),
            barrel_mm=np.full((n, 1), design.wrist_barrel_radius_mm),
        ),
        flexor=_spread(fx.flexor, n),
        extensor=_spread(fx.extensor, n),
        cord_free_mm=length - fx.constant_mm @ member,
        cord_stiffness=ea / length,
        elastic_free_mm=free - fx.elastic_constant_mm,
        elastic_stiffness=elastic_ea / free,
        member=member,
        weight_terms=fx.weight_terms,
        cuff_weight=fx.cuff_weight * build.cuff_mass_ratio[:, None] + fx.thumb_pin_weight,
        hinge_low_rad=low,
        hinge_high_rad=high,
        bar_limit_rad=bar_limit,
        low_rad=_per_angle(np.full(n, wrist_range[0]), -bar_limit, np.broadcast_to(low, (n, d, 2))),
        high_rad=_per_angle(np.full(n, wrist_range[1]), bar_limit, np.broadcast_to(high, (n, d, 2))),
        wrist_range_rad=wrist_range,
        pad_terms=fx.pad_terms,
        pad_radius_mm=fx.pad_radius_mm,
        palm_plane_z_mm=design.palm_plane_z_mm,
        palm_front_x_mm=design.palm_front_x_mm,
        friction_mu=build.friction_mu,
        elastic_loss=build.elastic_loss_ratio,
        pin_friction=_per_angle(build.wrist_friction_nmm, build.bar_friction_nmm, build.hinge_friction_nmm),
    )


def leg_lengths(design: Design) -> tuple[Floats, Floats, Floats]:
    """Of each digit: cord that never changes length, elastic with the digit straight, its unchanging part.

    Returns: three (d,) float [mm].
    """
    fx = _fixed(design)
    return fx.constant_mm, fx.elastic_straight_mm, fx.elastic_constant_mm


def _per_angle(wrist: Floats, bar: Floats, digits: Floats) -> Floats:
    """One value for each unknown, in their order: (n,), (n,), (n, d, 2) to (n, 2 + 2d)."""
    return np.concatenate([wrist[:, None], bar[:, None], digits.reshape(len(wrist), -1)], 1)


def _spread(c: Crossing, n: int) -> Crossing:
    return Crossing(**{f.name: np.broadcast_to(getattr(c, f.name), (n, *c.ra_mm.shape)) for f in fields(c)})


def _digit_index(design: Design, name: str) -> int:
    return next(i for i, g in enumerate(design.digits) if g.name == name)


def _thumb_pairs(design: Design) -> NDArray[np.intp]:
    names = [g.name for g in design.digits]
    return np.array(
        [[names.index("thumb"), names.index(other)] for other in ("index", "middle")], dtype=np.intp
    )


@lru_cache(maxsize=64)
def _fixed(design: Design) -> _Fixed:
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
    return _Fixed(
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
