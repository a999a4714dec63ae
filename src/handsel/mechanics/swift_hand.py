"""What a volunteer could see and read of a hand, worked out for a whole library at once.

From one closing and one opening: both rest angles, tilt, slack and bends at rest; when digits start, how far
they close, how near the pads come, what stays bent; and what each joint and cord does when tried by hand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.mechanics.build import Build, nominal_build
from handsel.mechanics.digit_curves import (
    CORD_MM,
    Curve,
    Digits,
    DigitTables,
    at_angles,
    closing_curve,
    drawing_pull,
    look,
    moments,
    opening_curve,
)
from handsel.mechanics.swift import Cords, State, first_hold, state_at, weight_torque
from handsel.mechanics.swift_cords import SwiftBuild, cord_curve, cords_of, grip_of
from handsel.mechanics.swift_watching import (
    as_seen_starting,
    first_at,
    pinches,
    start_angles,
    told_apart,
    values_at,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

HIGH_DEG, LOW_DEG, STEP_DEG = 82.0, -60.0, 4.9
LIFT_DEG, PRESS_DEG, MORE_DEG, ABOVE_DEG, UP_NODES = 60.0, 4.0, 20.0, 2.0, 8
MOVED_DEG = 3.0
JAMMED_NMM = 1000.0
BENT_DEG = (6.0, 15.0, 25.0, 35.0, 45.0)  # where a joint bent by hand is looked at on its way back
LEAST_PULL_N = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """What there is to see; n hands, d digits, all in degrees, millimetres, newtons."""

    worked_rest_deg: Floats
    lowered_rest_deg: Floats
    tilt_deg: Floats
    thumb_tip_bend_deg: Floats
    thumb_lead_deg: Floats
    tip_gap_mm: Floats  # (n, 2) index, middle
    slack_mm: Floats  # (n, d)
    bend_deg: Floats  # (n, d)
    start_lead_deg: Floats  # (n, d) fingers; the thumb's is 0
    reach_deg: Floats  # (n, d) both joints at the pinch, or at the end
    apart_deg: Floats  # (n, d)
    return_nmm: Floats  # (n, d, 2) least surplus on the way back
    pull_log2: Floats  # (n, d) pull that draws the digit against the one in a sound hand, doublings
    left_bent_deg: Floats  # (n, d)
    wrist_friction_ratio: Floats
    bar_friction_nmm: Floats


def looks(design: Design, tables: DigitTables, hands: SwiftBuild) -> Looks:
    """All that can be seen of n hands.

    Parameters: design, placed, the first of the tables' variants; tables; hands.
    Returns: Looks.
    Raises: nothing of its own.
    Valid for: as `swift.state_at`; a pad that has met is not followed further than a few degrees.
    Source: as the modules it uses.
    Checked by: unit/test_swift.py, published/test_diagnosis.py
    """
    b = hands.build
    thumb = next(i for i, g in enumerate(design.digits) if g.name == "thumb")
    digits = Digits(
        tables=tables,
        variant=hands.variant,
        friction_mu=b.friction_mu,
        hinge_friction_nmm=b.hinge_friction_nmm,
        elastic_stiffness_ratio=b.elastic_stiffness_ratio,
        elastic_pretension_ratio=b.elastic_pretension_ratio,
        elastic_loss_ratio=b.elastic_loss_ratio,
    )
    model, cords, closing = cords_of(design, digits, hands)
    n = len(hands.variant)
    theta = np.radians(np.arange(HIGH_DEG, LOW_DEG - 1e-6, -STEP_DEG))
    nodes = np.tile(theta[:, None], (1, n))
    states = _walk(cords, nodes)
    travel = np.stack([s.travel_mm for s in states])  # (k, n, d)
    phi = np.degrees(_poses(closing, travel, tables.travel_mm))  # (k, n, d, 2)
    left, left_mm = _left_bent(digits, np.radians(phi[-1]), travel[-1])
    # What was closed before stays as bent as it was left: so it is when the rest angles are read.
    again = _closed_before(digits, left, left_mm)
    cords_again = replace(
        cords,
        curves=tuple(
            replace(
                cord_curve(again, legs, tables.travel_mm, c.give_mm_per_n, grip_of(model, hands, legs), None),
                stay_mm=left_mm[:, list(legs)].sum(-1),
            )
            for legs, c in zip(cords.legs, cords.curves, strict=True)
        ),
    )
    down = _walk(cords_again, nodes)
    lowered = _lowered(cords_again, nodes, down, b)
    worked, rest, rest_phi, slack = _worked(cords_again, digits, again, nodes, down, left_mm, hands)
    gap, pinch = pinches(tables, model, hands.variant, nodes, phi, thumb, hands.meet_mm)
    reach = values_at(nodes, phi.sum(-1), pinch)
    fingers = [i for i in range(len(design.digits)) if i != thumb]
    slowly = start_angles(nodes, phi.sum(-1))
    starts = as_seen_starting(slowly, hands.dragged_deg, fingers)
    lead, apart = told_apart(starts, nodes, phi.sum(-1), pinch, fingers)
    lead_thumb = starts[:, thumb] - starts[:, fingers].max(-1)
    return Looks(
        worked_rest_deg=np.degrees(worked),
        lowered_rest_deg=lowered,
        tilt_deg=np.degrees(rest.tilt_rad),
        thumb_tip_bend_deg=values_at(nodes, phi[:, :, thumb, 1], np.radians(slowly[:, fingers].max(-1))),
        thumb_lead_deg=np.clip(lead_thumb, -60.0, 60.0),
        tip_gap_mm=gap,
        slack_mm=slack,
        bend_deg=np.degrees(rest_phi).sum(-1),
        start_lead_deg=lead,
        reach_deg=reach,
        apart_deg=apart,
        return_nmm=_return(digits),
        pull_log2=_pull_log2(design, digits),
        left_bent_deg=np.degrees(left).sum(-1),
        wrist_friction_ratio=b.wrist_friction_nmm / weight_torque(model, np.full(n, np.radians(45.0))),
        bar_friction_nmm=np.where(b.bar_locked, JAMMED_NMM, b.bar_friction_nmm),
    )


def _walk(cords: Cords, nodes: Floats) -> list[State]:
    tilt, out = np.zeros(nodes.shape[1]), []
    for theta in nodes:
        out.append(state_at(cords, theta, tilt))
        tilt = out[-1].tilt_rad
    return out


def _poses(curve: Curve, travel: Floats, step: float) -> Floats:
    """Joint angles at (k, n, d) travels of a closing curve; (k, n, d, 2) [rad]."""
    k, n, d = travel.shape
    table = curve.phi_rad.reshape(n * d, -1, 2)
    return (
        look(table, travel.transpose(1, 2, 0).reshape(n * d, k) / step)
        .reshape(n, d, k, 2)
        .transpose(2, 0, 1, 3)
    )


def _lowered(cords: Cords, nodes: Floats, down: list[State], b: Build) -> Floats:
    """Rest after the cuff was lifted well above and let down; (n,) [deg]."""
    lifted = np.full(nodes.shape[1], np.radians(LIFT_DEG))
    part = nodes[nodes[:, 0] > np.radians(-40.0)]
    theta, _ = first_hold(
        cords, part, np.zeros(nodes.shape[1]), -b.wrist_friction_nmm, carried=False, states=down
    )
    stuck = (weight_torque(cords.model, lifted) <= b.wrist_friction_nmm) & (theta < lifted)
    return np.degrees(np.where(stuck, lifted, theta))


def _left_bent(digits: Digits, phi_rad: Floats, travel_mm: Floats) -> tuple[Floats, Floats]:
    """How bent each digit stays once its cord is let back from a closed pose: (n, d, 2) [rad], (n, d) [mm]."""
    left = opening_curve(digits, phi_rad, travel_mm).phi_rad[:, :, -1]
    return left, _travel_of(digits, left)


def _travel_of(digits: Digits, left: Floats) -> Floats:
    """Cord that a pose has drawn; (n, d) [mm]."""
    t = digits.tables
    straight = np.broadcast_to(t.low_rad, left.shape)
    length = [at_angles(t, digits.variant, pose)[..., CORD_MM].sum(-1) for pose in (straight, left)]
    return np.asarray(np.maximum(length[0] - length[1], 0.0), dtype=np.float64)


def _closed_before(digits: Digits, left_rad: Floats, left_mm: Floats) -> Curve:
    """Closing once more: a digit that stayed bent gives no pull until its cord has come so far."""
    step_mm = digits.tables.travel_mm
    on = closing_curve(digits, left_rad)
    n, d, k = on.pull_n.shape
    u = np.arange(k) - (left_mm / step_mm).reshape(-1, 1)  # (n d, k) steps beyond where it stayed
    pull = look(on.pull_n.reshape(n * d, k), u)
    return Curve(
        pull_n=np.where(u < -0.5, 0.0, pull).reshape(n, d, k),
        phi_rad=look(on.phi_rad.reshape(n * d, k, 2), u).reshape(n, d, k, 2),
        from_mm=on.from_mm,
    )


def _worked(
    cords: Cords,
    digits: Digits,
    closing: Curve,
    nodes: Floats,
    states: list[State],
    left_mm: Floats,
    hands: SwiftBuild,
) -> tuple[Floats, State, Floats, Floats]:
    """Rest after the digits were just moved and the cuff let up slowly: angle, state, pose and slack."""
    t = digits.tables
    phi_deg = np.degrees(_poses(closing, np.stack([s.travel_mm for s in states]), t.travel_mm))
    demand = np.stack([s.demand_mm for s in states])
    taut = np.stack([first_at(nodes, demand[..., c], 0.0) for c in range(demand.shape[2])], -1)
    last_moved = first_at(nodes, phi_deg.max(-1).min(-1), MOVED_DEG)
    press = taut.min(-1) - np.radians(PRESS_DEG)
    bottom = np.maximum(np.minimum(last_moved, press), press - np.radians(MORE_DEG))
    bottom = np.maximum(bottom, nodes[-1])
    at = state_at(cords, bottom, values_at(nodes, np.stack([s.tilt_rad for s in states]), bottom))
    at = replace(at, travel_mm=np.maximum(at.travel_mm, left_mm))
    phi = _poses(closing, at.travel_mm[None], t.travel_mm)[0]
    opening = opening_curve(digits, phi, at.travel_mm)
    stay_mm = _travel_of(digits, opening.phi_rad[:, :, -1])
    curves = tuple(
        replace(
            cord_curve(
                opening, legs, t.travel_mm, c.give_mm_per_n, grip_of(cords.model, hands, legs), at.travel_mm
            ),
            stay_mm=stay_mm[:, list(legs)].sum(-1),
        )
        for legs, c in zip(cords.legs, cords.curves, strict=True)
    )
    back = replace(cords, curves=curves)
    top = np.maximum(taut.max(-1) + np.radians(ABOVE_DEG), bottom + np.radians(1.0))
    up = bottom + (top - bottom) * np.linspace(0.0, 1.0, UP_NODES)[:, None]
    theta, rest = first_hold(back, up, at.tilt_rad, hands.build.wrist_friction_nmm, carried=True)
    u = (at.travel_mm - np.minimum(rest.travel_mm, at.travel_mm)) / t.travel_mm
    n, d = u.shape
    rest_phi = look(opening.phi_rad.reshape(n * d, -1, 2), u.reshape(-1, 1)).reshape(n, d, 2)
    slack = np.zeros((n, d))
    for c, legs in enumerate(cords.legs):
        kept = stay_mm[:, list(legs)].sum(-1)  # travel that the digits keep without any pull
        slack[:, list(legs)] = ((kept - rest.demand_mm[:, c]) / len(legs))[:, None]
    return theta, rest, rest_phi, slack


def _pull_log2(design: Design, g: Digits) -> Floats:
    """How much harder a cord pulls than its own elastic asks in a sound channel and sound hinges; (n, d)."""
    n = len(g.variant)
    b = nominal_build(design, n)
    sound = replace(
        g,
        friction_mu=np.broadcast_to(b.friction_mu[:, None], g.friction_mu.shape),
        hinge_friction_nmm=b.hinge_friction_nmm,
    )
    return np.log2((drawing_pull(g) + LEAST_PULL_N) / (drawing_pull(sound) + LEAST_PULL_N))


def _return(g: Digits) -> Floats:
    """Least of elastic less weight less friction as a joint bent by hand comes back; (n, d, 2) [N mm]."""
    n = len(g.variant)
    t = g.tables
    out = np.empty((n, t.digits, 2))
    for joint in range(2):
        least = np.full((n, t.digits), np.inf)
        for degrees in BENT_DEG:
            phi = np.broadcast_to(t.low_rad, (n, t.digits, 2)).copy()
            phi[..., joint] += np.radians(degrees)
            moment, _ = moments(g, phi, -1.0)
            least = np.minimum(least, moment[..., joint] - g.hinge_friction_nmm[..., joint])
        out[..., joint] = least
    return out
