"""The two rest angles of a hand: worked (let up from below) and lowered (let down from above)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.energy import Sliders, evaluate
from handsel.mechanics.equilibrium import relax
from handsel.mechanics.friction import fresh_sliders, settle
from handsel.mechanics.model import Model
from handsel.mechanics.paths import crossing_length, wrist_length

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

JUST_TAUT_RAD = 2.0e-4  # where a descent begins: the cord that will hold already counts
LIFT_RAD = np.radians(60.0)  # "well above": where the cuff is let down from
PRESS_RAD = np.radians(4.0)  # how far below the last cord's tautness the cuff is pressed first
MOVED_RAD = np.radians(3.0)  # a digit that has visibly moved
DOWN_STEPS, UP_STEPS, MORE_STEPS = 3, 7, 8
START_RAD, TAUT_STEP_RAD, MOST_TAUT_STEPS = np.radians(36.0), 1e-7, 12
TAUT_N = 0.02  # a cord that springs back under a fingertip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rest:
    """A hand at rest; n hands.

    rest_angle_deg, tilt_deg : (n,) float [deg]; phi_deg : (n, d, 2) float [deg];
    cord_tension_n : (n, c) float [N]; taut : (n, c); converged : (n,);
    held : (n,) whether wrist friction alone keeps the cuff where it was let go.
    """

    rest_angle_deg: Floats
    tilt_deg: Floats
    phi_deg: Floats
    cord_tension_n: Floats
    taut: Flags
    converged: Flags
    held: Flags
    q: Floats
    sliders: Sliders | None


def taut_angles(m: Model) -> tuple[Floats, Floats]:
    """Wrist angle at which each cord just comes taut with digits straight, and the bar's tilt there.

    Parameters: m, n hands.
    Returns: theta : (n, c) float [rad], psi : (n,) float [rad]. Cords that share the bar share its
        angle: the bar tilts until both are taut, or to its stop, where the shorter one holds.
    Source: Newton on path length minus cord length, which falls steadily as the cuff rises.
    """
    n, d = len(m), m.hinge_low_rad.shape[0]
    straight = crossing_length(m.flexor, np.broadcast_to(m.hinge_low_rad, (n, d, 2))).length.sum(-1)
    on_bar = np.unique(m.cord_of_leg[(m.wrist.even != 0.0).any((0, 2))])
    result = np.empty((n, m.cord_free_mm.shape[1]))
    for c in np.setdiff1d(np.arange(result.shape[1]), on_bar):
        result[:, c] = _single_taut(m, straight, int(c))
    theta, psi = _bar_taut(m, straight, on_bar)
    result[:, on_bar] = theta[:, None]
    return result, psi


def _single_taut(m: Model, straight: Floats, c: int) -> Floats:
    """Wrist angle at which one cord of the cuff comes taut; (n,) [rad]."""
    mine = m.cord_of_leg == c
    legs, fixed = m.wrist.legs(mine), straight[:, mine].sum(-1) - m.cord_free_mm[:, c]
    theta, level = np.full(len(m), START_RAD), np.zeros(len(m))
    for _ in range(MOST_TAUT_STEPS):
        span = wrist_length(legs, theta, level)
        slope = np.minimum(span.by_theta.sum(-1), -1.0)
        step = (span.length.sum(-1) + fixed) / slope
        theta = np.clip(theta - step, *m.wrist_range_rad)
        if np.abs(step).max() < TAUT_STEP_RAD:
            break
    return theta


def _bar_taut(m: Model, straight: Floats, cords: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Wrist angle and tilt at which the cords of the bar come taut together; (n,) each [rad]."""
    mine = np.isin(m.cord_of_leg, cords)
    legs = m.wrist.legs(mine)
    member = (m.cord_of_leg[mine][:, None] == cords).astype(float)
    fixed = straight[:, mine] @ member - m.cord_free_mm[:, cords]
    theta, psi = np.full(len(m), START_RAD), np.zeros(len(m))
    rows = np.arange(len(m))
    for _ in range(MOST_TAUT_STEPS):
        span = wrist_length(legs, theta, psi)
        x, by_theta, by_psi = span.length @ member + fixed, span.by_theta @ member, span.by_psi @ member
        tilt = psi
        if len(cords) == 2:
            det = _away_from_zero(by_theta[:, 0] * by_psi[:, 1] - by_theta[:, 1] * by_psi[:, 0])
            tilt = psi - (by_theta[:, 0] * x[:, 1] - by_theta[:, 1] * x[:, 0]) / det
            tilt = np.clip(tilt, -m.bar_limit_rad, m.bar_limit_rad)
        ahead = x + by_psi * (tilt - psi)[:, None]  # stretch once the bar has tilted
        pick = rows, np.argmax(ahead, 1)
        step = ahead[pick] / np.minimum(by_theta[pick], -1.0)
        done = max(float(np.abs(step).max()), float(np.abs(tilt - psi).max())) < TAUT_STEP_RAD
        theta, psi = np.clip(theta - step, *m.wrist_range_rad), tilt
        if done:
            break
    return theta, psi


def _away_from_zero(x: Floats) -> Floats:
    return np.where(np.abs(x) < 1e-6, 1e-6, x)


def straight_pose(m: Model, theta: Floats, psi: Floats) -> Floats:
    """Digits straight, wrist and bar as given [rad]; (n, 2 + 2d)."""
    n, d = len(m), m.hinge_low_rad.shape[0]
    q = np.zeros((n, 2 + 2 * d))
    q[:, 0], q[:, 1] = theta, psi
    q[:, 2:] = m.hinge_low_rad.reshape(-1)
    return q


def rest_lowered(m: Model, *, friction: bool = True) -> Rest:
    """Rest after the cuff was lifted well above and let down.

    Parameters: m, n hands; friction False only to compare with a frictionless referee.
    Returns: Rest.
    Valid for: pads out of contact, as at any rest angle that can be worn.
    Checked by: independent/test_rest.py
    """
    theta, psi = taut_angles(m)
    start = np.minimum(theta.max(-1) - JUST_TAUT_RAD, m.wrist_range_rad[1])
    sliders = None
    held = np.zeros(len(m), dtype=bool)
    if friction:
        lifted = straight_pose(m, np.maximum(LIFT_RAD, start), psi)
        held = evaluate(m, lifted, None).gradient[:, 0] <= m.pin_friction[:, 0]
        start = np.where(held, lifted[:, 0], start)
    q = straight_pose(m, start, psi)
    q[:, 2:] -= 1e-6  # just into the stops, so that they count from the first step
    if friction:
        sliders = fresh_sliders(m, q)
        sliders.at_q[:, 0] = q[:, 0] + np.where(held, 0.0, 0.01)  # it arrives here moving down
    if sliders is None:
        found = relax(m, q)
        return _rest(
            found.q, m.cord_stiffness * np.maximum(found.cord_over_mm, 0.0), found.converged, held, None
        )
    q, field, converged = settle(m, q, sliders, hold_wrist=False)
    return _rest(q, field.cord_tension, converged, held, sliders)


def rest_worked(m: Model, *, friction: bool = True) -> Rest:
    """Rest after the cuff was pressed down until every digit moved, then let up slowly.

    Parameters: as `rest_lowered`.    Returns: Rest, with the friction state to go on from.
    The five closings that come first seat the knots: their give is part of the build's excess.
    Checked by: independent/test_rest.py
    """
    theta, psi = taut_angles(m)
    q = straight_pose(m, np.minimum(theta.max(-1) + 1e-4, m.wrist_range_rad[1]), psi)
    sliders = fresh_sliders(m, q) if friction else None
    q = _press(m, q, sliders, np.maximum(theta.min(-1) - PRESS_RAD, m.wrist_range_rad[0]))
    q, sliders = _let_up(m, q, sliders, theta.max(-1) + np.radians(2.0))
    before = q[:, 0].copy()
    q, field, converged = settle(m, q, sliders, hold_wrist=False)
    held = np.abs(q[:, 0] - before) < np.radians(0.02)
    return _rest(q, field.cord_tension, converged, held & friction, sliders)


def _press(m: Model, q: Floats, sliders: Sliders | None, goal: Floats) -> Floats:
    """Drive the wrist down to `goal`, then on until every digit has moved."""
    begin, before = q[:, 0].copy(), q
    for k in range(1, DOWN_STEPS + 1):
        guess = 2.0 * q - before if k > 2 else q.copy()  # go on as in the step before
        guess[:, 0] = begin + (goal - begin) * k / DOWN_STEPS
        before = q
        q, _, _ = settle(m, guess, sliders, hold_wrist=True)
    d = m.hinge_low_rad.shape[0]
    for _ in range(MORE_STEPS):
        moved = (q[:, 2:].reshape(-1, d, 2) - m.hinge_low_rad).max(-1).min(-1) >= MOVED_RAD
        rows = np.flatnonzero(~moved & (q[:, 0] > m.wrist_range_rad[0]))
        if not len(rows):
            break
        part = sliders.take(rows) if sliders is not None else None
        at = q[rows]
        at[:, 0] = np.maximum(at[:, 0] - np.radians(2.5), m.wrist_range_rad[0])
        q[rows], _, _ = settle(m.take(rows), at, part, hold_wrist=True)
        if sliders is not None and part is not None:
            sliders.put(rows, part)
    return q


def _let_up(m: Model, q: Floats, sliders: Sliders | None, top: Floats) -> tuple[Floats, Sliders | None]:
    """Let the wrist up in steps; each hand stops at the last step at which the cuff still pushes up.

    Moving up, pin friction acts against it, so the push is the torque with that friction included.
    """
    bottom = q[:, 0].copy()
    rows, last, state = np.arange(len(q)), q.copy(), sliders
    for k in range(1, UP_STEPS + 1):
        part = state.take(rows) if state is not None else None
        at = last[rows].copy()
        at[:, 0] = bottom[rows] + (top[rows] - bottom[rows]) * k / UP_STEPS
        at, field, _ = settle(m.take(rows), at, part, hold_wrist=True)
        pushing = field.gradient[:, 0] < 0.0
        last[rows[pushing]] = at[pushing]
        if state is not None and part is not None:
            state.put(rows[pushing], part.take(pushing))
        rows = rows[pushing]
        if not len(rows):
            break
    return last, state


def _rest(q: Floats, tension: Floats, converged: Flags, held: Flags, sliders: Sliders | None) -> Rest:
    return Rest(
        rest_angle_deg=np.degrees(q[:, 0]),
        tilt_deg=np.degrees(q[:, 1]),
        phi_deg=np.degrees(q[:, 2:].reshape(len(q), -1, 2)),
        cord_tension_n=tension,
        taut=tension > TAUT_N,
        converged=converged,
        held=held,
        q=q,
        sliders=sliders,
    )
