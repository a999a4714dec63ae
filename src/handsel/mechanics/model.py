"""A design and a batch of builds turned into the arrays that the engine works on."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.build import Build
from handsel.mechanics.fixed import Turns, fixed
from handsel.mechanics.paths import Crossing, WristLegs

Floats = NDArray[np.float64]
Rows = NDArray[np.intp] | NDArray[np.bool_]


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


def compile_model(design: Design, build: Build) -> Model:
    """The engine's arrays for n builds of a placed design.

    Parameters: design, already scaled and mirrored; build, n hands.
    Returns: Model of n hands.
    """
    fx, n, d = fixed(design), len(build), len(design.digits)
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
