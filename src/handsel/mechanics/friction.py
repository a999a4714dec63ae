"""Cord, pin and elastic friction as states that follow the hand's motion step by step."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.contact import Gauges
from handsel.mechanics.energy import ELASTIC_SLIP_MM, SLIP_MM, SLIP_RAD, Field, Sliders, evaluate
from handsel.mechanics.equilibrium import relax
from handsel.mechanics.model import Model
from handsel.mechanics.paths import Crossing, wrap_angle

Floats = NDArray[np.float64]

MOST_PASSES, PATH_PASSES = 12, 4  # at rest; on the way, where the next step goes on refining
CAP_TOLERANCE_N = 5.0e-3
SOFT = 20.0  # bristles this much longer find the moving ones first; the true ones then refine


def fresh_sliders(m: Model, q: Floats) -> Sliders:
    """Friction at rest in pose q: nothing is pulled on yet."""
    f = evaluate(m, q, None)
    n, d = len(m), m.hinge_low_rad.shape[0]
    s = Sliders(
        at_q=q.copy(),
        at_leg=f.slide_at[0].copy(),
        at_eyelet=f.slide_at[1].copy(),
        at_elastic=f.slide_at[2].copy(),
        cap_leg=np.zeros((n, d, 2)),
        cap_eyelet=np.zeros((n, len(m.eyelet_legs))),
        cap_elastic=np.zeros((n, d)),
    )
    set_caps(m, q, f, s)
    return s


def turning_angles(m: Model, q: Floats) -> Floats:
    """How far each leg of cord bends round its guides in pose q.

    Parameters: q : (n, 2 + 2d) float [rad].
    Returns: (n, d, 2) float [rad]: guides and hole on the palm with the knuckle; guides on the digit.
    Source: angle between the directions before and after each bend, plus arcs on cylinders.
    """
    n, d = len(m), m.hinge_low_rad.shape[0]
    t, phi = m.turns, q[:, 2:].reshape(n, d, 2)
    out1, in1 = _directions(t.a1, t.b1, m.flexor, phi[..., 0], 0)
    out2, _ = _directions(t.a2, t.b2, m.flexor, phi[..., 1], 1)
    arcs = wrap_angle(m.flexor, phi)
    c, s = np.cos(q[:, 0])[:, None], np.sin(q[:, 0])[:, None]
    cp, sp = np.cos(q[:, 1])[:, None, None], np.sin(q[:, 1])[:, None, None]
    p = m.wrist.centre + cp * m.wrist.even + sp * m.wrist.odd
    point = np.stack([c * p[..., 0] - s * p[..., 1], s * p[..., 0] + c * p[..., 1], p[..., 2]], -1)
    arriving = m.wrist.guide - point
    arriving = arriving / np.linalg.norm(arriving, axis=-1, keepdims=True)
    palm = (
        _between(arriving, t.channel_at_guide)
        + t.palm_bends_rad
        + _between(out1, t.channel_at_exit)
        + arcs[..., 0]
    )
    digit = _between(in1, t.bone_at_entry) + _between(out2, t.bone_at_exit) + arcs[..., 1]
    return np.stack([palm, digit], -1)


def _between(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.arccos(np.clip((a * b).sum(-1), -1.0, 1.0)))


def _directions(a: Floats, b: Floats, crossing: Crossing, phi: Floats, k: int) -> tuple[Floats, Floats]:
    """Unit directions of a span where it leaves a and where it reaches b (in b's own body)."""
    c, s = np.cos(phi), np.sin(phi)
    bx, by = c * b[:, 0] - s * b[:, 1], s * b[:, 0] + c * b[:, 1]
    flat = np.stack([bx - a[:, 0], by - a[:, 1], np.broadcast_to(b[:, 2] - a[:, 2], bx.shape)], -1)
    leave = flat / np.linalg.norm(flat, axis=-1, keepdims=True)
    arrive = leave
    r = crossing.radius_mm[..., k]
    if r.any():
        gap = crossing.gap_rad[..., k] + crossing.sense[..., k] * phi
        ra, rb = crossing.ra_mm[..., k], crossing.rb_mm[..., k]
        half_a, half_b = np.arcsin(np.minimum(r / ra, 1.0)), np.arcsin(np.minimum(r / rb, 1.0))
        on = (gap > np.arccos(np.minimum(r / ra, 1.0)) + np.arccos(np.minimum(r / rb, 1.0))) & (r > 0.0)
        side = -crossing.sense[..., k]  # the line turns round the hinge against or with the rotation
        leave = np.where(on[..., None], _toward(a[:, 0], a[:, 1], -side * half_a, -1.0), leave)
        arrive = np.where(on[..., None], _toward(bx, by, side * half_b, 1.0), arrive)
    x, y = arrive[..., 0], arrive[..., 1]
    return leave, np.stack([c * x + s * y, -s * x + c * y, arrive[..., 2]], -1)


def _toward(x: Floats, y: Floats, turn: Floats, sign: float) -> Floats:
    """Unit vector from a point to the hinge (sign -1) or from it (+1), turned in the plane."""
    r = np.hypot(x, y)
    ux, uy = sign * x / r, sign * y / r
    c, s = np.cos(turn), np.sin(turn)
    out: Floats = np.stack([c * ux - s * uy, s * ux + c * uy, np.zeros_like(c * ux)], -1)
    return out


def set_caps(m: Model, q: Floats, f: Field, s: Sliders) -> float:
    """Refresh what each slider can resist from the tensions of field f; returns the largest change [N].

    Source: capstan law T_pull / T_hold = exp(mu beta), as |T1 - T2| <= (T1 + T2) tanh(mu beta / 2).
    """
    mu = m.friction_mu.reshape(len(m), -1)  # (n, 1), or (n, d) where digits rub differently
    grip = np.tanh(0.5 * mu[:, :, None] * turning_angles(m, q))
    t = np.maximum(f.leg_tension, 0.0)
    leg = grip * np.stack([t[..., 0] + t[..., 1], t[..., 1] + t[..., 2]], -1)
    pair = m.cord_of_leg[m.eyelet_legs[:, 0]]
    smooth = mu if mu.shape[1] == 1 else mu[:, m.eyelet_legs].min(-1)  # the channel is rough, not the eyelet
    eyelet = 2.0 * f.cord_tension[:, pair] * np.tanh(0.5 * smooth * m.eyelet_turn_rad)
    pulled = np.maximum(f.slide_at[2] - m.elastic_free_mm, 0.0)
    elastic = 0.5 * m.elastic_loss[:, None] * m.elastic_stiffness * pulled
    change = max(
        float(np.abs(leg - s.cap_leg).max(initial=0.0)),
        float(np.abs(eyelet - s.cap_eyelet).max(initial=0.0)),
        float(np.abs(elastic - s.cap_elastic).max(initial=0.0)),
    )
    s.cap_leg, s.cap_eyelet, s.cap_elastic = leg, eyelet, elastic
    return change


def advance(m: Model, q: Floats, f: Field, s: Sliders) -> None:
    """Carry the sliders along: those that slipped now stick where their force just holds."""

    def dragged(at: Floats, now: Floats, slip: float) -> Floats:
        out: Floats = at + np.sign(now - at) * np.maximum(np.abs(now - at) - slip, 0.0)
        return out

    s.at_q = dragged(s.at_q, q, SLIP_RAD)
    s.at_leg = dragged(s.at_leg, f.slide_at[0], SLIP_MM)
    s.at_eyelet = dragged(s.at_eyelet, f.slide_at[1], SLIP_MM)
    s.at_elastic = dragged(s.at_elastic, f.slide_at[2], ELASTIC_SLIP_MM)


def settle(
    m: Model,
    q: Floats,
    s: Sliders | None,
    *,
    hold_wrist: bool,
    contact: bool = False,
    gauge: Gauges | None = None,
) -> tuple[Floats, Field, NDArray[np.bool_]]:
    """One step of the motion: relax, refresh the friction caps, and so on until both agree.

    The sliders are advanced in place. Returns: pose, field and convergence, per hand.
    """
    if s is None:
        found = relax(m, q, None, hold_wrist=hold_wrist, contact=contact, gauge=gauge)
        return found.q, evaluate(m, found.q, None, contact=contact, gauge=gauge), found.converged
    q = relax(m, q, s, hold_wrist=hold_wrist, contact=contact, gauge=gauge, soften=SOFT).q
    for _ in range(PATH_PASSES if hold_wrist else MOST_PASSES):
        found = relax(m, q, s, hold_wrist=hold_wrist, contact=contact, gauge=gauge)
        q = found.q
        f = evaluate(m, q, s, contact=contact, gauge=gauge)
        if set_caps(m, q, f, s) < CAP_TOLERANCE_N * (1.0 + 0.01 * float(f.leg_tension.max(initial=0.0))):
            break
    advance(m, q, f, s)
    return q, f, found.converged
