"""Hands to look at quickly, and their cords as curves: crooked blocks, legs of other lengths, eyelets that grip."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.build import Build
from handsel.mechanics.closing import MEET_MM
from handsel.mechanics.digit_curves import (
    ANGLE_NODES,
    CORD_MM,
    Curve,
    Digits,
    DigitTables,
    closing_curve,
)
from handsel.mechanics.fixed import hinge_axes
from handsel.mechanics.loop_curves import LoopCurve, loop_curve, single_curve
from handsel.mechanics.model import Model, compile_model
from handsel.mechanics.paths import WristLegs
from handsel.mechanics.swift import Cords

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SwiftBuild:
    """n hands to look at. `build` as ever, its cord friction by digit (n, d), and besides:

    variant : (n, d) which of the tables' variants each digit is; follows_ratio : (n, d) how much of a
    leg's other length the stringer made up for; eyelet_mu : (n,); block_turn_deg : (n,) + thumb side forward;
    block_roll_deg : (n,) about the forearm; locked_tilt_deg : (n,) where a jammed whippletree is stuck;
    dragged_deg : (n,) and meet_mm : (n,) as in `swift_watching`;
    presliding_mm : (n,) as in `closing_curve`.
    """

    build: Build
    variant: Ints
    follows_ratio: Floats
    eyelet_mu: Floats
    block_turn_deg: Floats
    block_roll_deg: Floats
    locked_tilt_deg: Floats
    dragged_deg: Floats
    meet_mm: Floats
    presliding_mm: Floats


def as_drawn(design: Design, build: Build) -> SwiftBuild:
    """Hands of the design's own shape, closed slowly, whose pads meet when they touch.

    Parameters: design; build, its cord friction by hand or by digit.    Returns: SwiftBuild.
    """
    n, d = len(build), len(design.digits)
    mu = build.friction_mu if build.friction_mu.ndim == 2 else np.repeat(build.friction_mu[:, None], d, 1)
    return SwiftBuild(
        build=replace(build, friction_mu=mu),
        variant=np.zeros((n, d), dtype=np.intp),
        follows_ratio=np.zeros((n, d)),
        eyelet_mu=mu.min(1),
        block_turn_deg=np.zeros(n),
        block_roll_deg=np.zeros(n),
        locked_tilt_deg=np.zeros(n),
        dragged_deg=np.zeros(n),
        meet_mm=np.full(n, MEET_MM),
        presliding_mm=np.zeros(n),
    )


def cords_of(design: Design, digits: Digits, hands: SwiftBuild) -> tuple[Model, Cords, Curve]:
    """A hand's cords as curves of what they demand and give, on the block where it sits.

    Parameters: design, placed; digits; hands.
    Returns: Model with the legs as they run from that block; Cords; and the digits' closing curve.
    Raises: nothing of its own.    Valid for: as swift_hand.looks.
    Source: as the modules it uses.    Checked by: unit/test_swift.py
    """
    t, b = digits.tables, hands.build
    plain = replace(b, bar_locked=np.zeros(len(b), dtype=bool))
    m = compile_model(design, plain)
    m = replace(m, wrist=_on_crooked_block(design, m.wrist, hands))
    each = np.arange(t.digits)
    made = t.leg_free_mm + t.leg_constant_mm  # (v, d) whole leg but for the wrist's part, which is alike
    share = hands.follows_ratio * (made[hands.variant, each] - made[0])
    excess = b.excess_mm[:, m.cord_of_leg] / m.member.sum(0)[m.cord_of_leg]
    free = made[0] + share + excess - t.leg_constant_mm[hands.variant, each]
    free = free - _straight(t)[hands.variant, each]  # the wrist's part alone, digit straight
    closing = closing_curve(digits, presliding_mm=hands.presliding_mm)
    legs = tuple(tuple(int(i) for i in np.flatnonzero(m.cord_of_leg == c)) for c in range(m.member.shape[1]))
    give = [1.0 / (m.cord_stiffness[:, c] * len(legs[c])) for c in range(len(legs))]
    curves = tuple(
        cord_curve(closing, legs[c], t.travel_mm, give[c], grip_of(m, hands, legs[c]), None)
        for c in range(len(legs))
    )
    on_bar = [c for c in range(len(legs)) if len(legs[c]) == 2]
    cords = Cords(
        model=m,
        free_mm=free,
        curves=curves,
        legs=legs,
        bar=(on_bar[0], on_bar[1]),
        bar_friction_nmm=b.bar_friction_nmm,
        bar_locked=b.bar_locked,
        locked_tilt_rad=np.radians(hands.locked_tilt_deg),
    )
    return m, cords, closing


def _on_crooked_block(design: Design, w: WristLegs, hands: SwiftBuild) -> WristLegs:
    """Where bar and thumb pin are on a block that is turned on its cuff, or with it round the forearm."""
    axes = hinge_axes(np.array(design.hinge("wrist").axis))
    bar = design.hinge("whippletree")
    pivot = axes @ (np.array(bar.origin_mm) - np.array(design.hinge("wrist").origin_mm))
    upright, forearm = axes @ np.array(bar.axis), np.array([1.0, 0.0, 0.0])
    turn, roll = _turns(upright, hands.block_turn_deg), _turns(forearm, hands.block_roll_deg)

    def moved(v: Floats, rotation: Floats) -> Floats:
        each = np.broadcast_to(v, (len(rotation), *v.shape[1:]))
        return np.asarray(np.einsum("nij,ndj->ndi", rotation, each))

    return replace(
        w,
        centre=moved(moved(w.centre - pivot, turn) + pivot, roll),
        even=moved(w.even, roll @ turn),
        odd=moved(w.odd, roll @ turn),
    )


def _turns(axis: Floats, angle_deg: Floats) -> Floats:
    """Matrices of turns about one axis, (n, 3, 3), by the formula of Rodrigues."""
    x, y, z = axis
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = np.radians(angle_deg)[:, None, None]
    return np.asarray(np.eye(3) + np.sin(angle) * across + (1.0 - np.cos(angle)) * (across @ across))


def _straight(t: DigitTables) -> Floats:
    """Length of both crossings with the digit straight; (v, d) [mm]."""
    table = t.by_angle.reshape(-1, t.digits, 2, ANGLE_NODES, 6)
    return np.asarray(table[:, :, :, 0, CORD_MM].sum(-1))


def grip_of(m: Model, hands: SwiftBuild, legs: tuple[int, ...]) -> Floats:
    """How many times harder the taut leg of a shared loop may pull than the other before it slips through the eyelet.

    Parameters: m, model; hands; legs of one cord.    Returns: (n,) float [-], 1 for a cord of one leg.
    Raises: nothing of its own.    Valid for: dry friction.    Source: Euler's belt friction.
    Checked by: unit/test_swift.py
    """
    if len(legs) == 1:
        return np.ones(len(hands.eyelet_mu))
    row = next(e for e, pair in enumerate(m.eyelet_legs) if set(pair.tolist()) == set(legs))
    return np.asarray(np.exp(hands.eyelet_mu * m.eyelet_turn_rad[row]))


def cord_curve(
    curve: Curve, legs: tuple[int, ...], step: float, give: Floats, grip: Floats, from_mm: Floats | None
) -> LoopCurve:
    """One cord's curve.

    Parameters: curve of the digits; legs of the cord; step [mm] of the curve's travel; give : (n,) float [mm/N];
        grip : (n,) float [-]; from_mm : (n, d) float [mm] where opening begins, None closing.
    Returns: LoopCurve.
    Raises: nothing of its own.    Valid for: as loop_curves.    Source: as loop_curves.
    Checked by: unit/test_swift.py
    """
    if len(legs) == 1:
        return single_curve(curve, legs[0], step, give, opening=from_mm is not None)
    lead = None if from_mm is None else from_mm[:, legs[0]] - from_mm[:, legs[1]]
    return loop_curve(curve, (legs[0], legs[1]), step, give, grip, lead_mm=lead)
