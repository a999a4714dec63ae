"""Energy of a batch of hands with exact gradient and Hessian, friction work included.

Unknowns of one hand, in this order: theta, psi, then (phi1, phi2) of each digit.

Cord friction follows the capstan law without guessing who slides: the pieces of a leg carry
tensions T_wrist, T_knuckle, T_tip; between two pieces a slider resists the cord's passing with
a force of at most (T_before + T_after) tanh(mu beta / 2), which is T_pull = T_hold exp(mu beta)
written evenly. Each slider is an elastic-plastic bristle: exact within `SLIP_MM` of travel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.build import STOP_STIFFNESS_NMM_PER_RAD
from handsel.mechanics.contact import Gauges, add_contact
from handsel.mechanics.model import Model
from handsel.mechanics.paths import Curve, WristSpan, crossing_length, wrist_length
from handsel.mechanics.posture import trig_terms

Floats = NDArray[np.float64]
Rows = NDArray[np.intp] | NDArray[np.bool_]

SLIP_MM = 0.02  # cord travel within which a bristle takes up its full force
SLIP_RAD = 0.001  # the same for hinge pins
ELASTIC_SLIP_MM = 0.3  # an elastic changes over from loading to unloading within this stretch
LEVEL_STIFFNESS = 1.0e-3  # [N mm/rad] keeps a bar with no load where it is


@dataclass(slots=True, kw_only=True, eq=False)
class Sliders:
    """Where each friction element last stuck (`at_`) and the most it can resist (`cap_`)."""

    at_q: Floats  # (n, 2 + 2d) pins
    at_leg: Floats  # (n, d, 2) digit length beyond the knuckle guides, and beyond the proximal part
    at_eyelet: Floats  # (n, e)
    at_elastic: Floats  # (n, d)
    cap_leg: Floats  # (n, d, 2) [N]
    cap_eyelet: Floats  # (n, e) [N]
    cap_elastic: Floats  # (n, d) [N]

    def take(self, rows: Rows) -> Sliders:
        return Sliders(**{k: getattr(self, k)[rows] for k in self.__slots__})

    def put(self, rows: Rows, part: Sliders) -> None:
        for k in self.__slots__:
            getattr(self, k)[rows] = getattr(part, k)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Energy, its derivatives, and the forces on the way; n hands."""

    energy: Floats  # (n,) [N mm]
    gradient: Floats  # (n, 2 + 2d) [N mm/rad]
    hessian: Floats  # (n, 2 + 2d, 2 + 2d)
    cord_tension: Floats  # (n, c) [N]
    cord_over_mm: Floats  # (n, c) path minus cord length; negative when slack
    cord_arms: Floats  # (n, c, 2 + 2d) its derivative [mm/rad]
    leg_tension: Floats  # (n, d, 3) wrist, knuckle, tip piece [N]
    elastic_tension: Floats  # (n, d) [N]
    slide_at: tuple[Floats, Floats, Floats]  # coordinates of leg, eyelet and elastic sliders [mm]
    contact_n: Floats  # (n, k) pad pairs, then gauge pads (n, 2d) when a gauge is held [N]


def bristle(distance: Floats, cap: Floats, slip: float) -> tuple[Floats, Floats, Floats]:
    """Energy, force and stiffness of an elastic-plastic friction element."""
    ratio = distance / slip
    inside = np.abs(ratio) < 1.0
    held = np.clip(ratio, -1.0, 1.0)
    energy = cap * slip * np.where(inside, 0.5 * ratio * ratio, np.abs(ratio) - 0.5)
    return energy, cap * held, np.where(inside, cap / slip, 0.0)


def evaluate(
    m: Model,
    q: Floats,
    sliders: Sliders | None,
    *,
    contact: bool = False,
    gauge: Gauges | None = None,
    soften: float = 1.0,
) -> Field:
    """Energy, gradient and Hessian at q.

    Parameters: m, n hands; q : (n, 2 + 2d) float [rad]; sliders, friction state or None for a
        frictionless hand; contact, whether pads meet each other and the palm; gauge, a held
        cylinder; soften : float [-], bristles longer by this factor.
    Returns: Field.
    Source: virtual work: tension times moment arm, with every derivative written out.
    Checked by: properties/test_mechanics.py, independent/test_rest.py
    """
    n, d = len(m), m.hinge_low_rad.shape[0]
    s = _Sum(n, d)
    phi = q[:, 2:].reshape(n, d, 2)
    cords = _cords(m, q, phi, sliders, soften, s)
    back, slide_elastic = _elastics(m, phi, sliders, s)
    _weights(m, q[:, 0], phi, s)
    _stops(m, q, s)
    if sliders is not None:
        e, f, k = bristle(q - sliders.at_q, m.pin_friction, soften * SLIP_RAD)
        s.energy += e.sum(-1)
        s.gradient += f
        s.diagonal += k
    forces = np.zeros((n, 0))
    if contact or gauge is not None:
        forces = add_contact(m, trig_terms(phi), s.energy, s.gradient, s.hessian, pads=contact, gauge=gauge)
    return Field(
        energy=s.energy,
        gradient=s.gradient,
        hessian=s.hessian,
        cord_tension=cords.tension,
        cord_over_mm=cords.surplus,
        cord_arms=cords.arms,
        leg_tension=cords.leg_tension,
        elastic_tension=back,
        slide_at=(cords.slide_leg, cords.slide_eyelet, slide_elastic),
        contact_n=forces,
    )


class _Sum:
    """The totals, with views of them by digit: what is added to a view is added to the whole."""

    def __init__(self, n: int, d: int) -> None:
        size = 2 + 2 * d
        self.energy = np.zeros(n)
        self.gradient = np.zeros((n, size))
        self.hessian = np.empty((n, size, size))  # the cords, which come first, write all of it
        self.diagonal = np.einsum("nii->ni", self.hessian)
        self.g_phi = self.gradient[:, 2:].reshape(n, d, 2)
        self.h_phi = np.lib.stride_tricks.as_strided(
            self.hessian[:, 2:, 2:],
            (n, d, 2, 2),
            (self.hessian.strides[0], 2 * 8 * (size + 1), 8 * size, 8),
        )  # the digits' own 2 x 2 blocks


class _Cords(NamedTuple):
    tension: Floats
    surplus: Floats
    arms: Floats
    leg_tension: Floats
    slide_leg: Floats
    slide_eyelet: Floats


def _cords(m: Model, q: Floats, phi: Floats, sliders: Sliders | None, soften: float, s: _Sum) -> _Cords:
    """Cords with the friction of their bends: each angle feels the tension of the piece it moves."""
    n, d = phi.shape[:2]
    span = wrist_length(m.wrist, q[:, 0], q[:, 1])
    flex = crossing_length(m.flexor, phi)
    slide_leg = flex.length.copy()
    slide_leg[..., 0] += slide_leg[..., 1]
    leg = span.length + slide_leg[..., 0]
    surplus = leg @ m.member - m.cord_free_mm
    over = np.maximum(surplus, 0.0)
    tension = m.cord_stiffness * over
    s.energy += 0.5 * (tension * over).sum(-1)
    each = np.arange(d)
    cord_arms = np.zeros((n, m.member.shape[1], 2 + 2 * d))  # d cord / d q
    cord_arms[:, :, 0], cord_arms[:, :, 1] = span.by_theta @ m.member, span.by_psi @ m.member
    cord_arms[:, m.cord_of_leg, 2 + 2 * each] = flex.slope[..., 0]
    cord_arms[:, m.cord_of_leg, 3 + 2 * each] = flex.slope[..., 1]
    columns = [np.sqrt(m.cord_stiffness * (over > 0.0))[..., None] * cord_arms]
    leg_tension = np.repeat(tension[:, m.cord_of_leg, None], 3, axis=2)
    a, b = m.eyelet_legs[:, 0], m.eyelet_legs[:, 1]
    slide_eyelet = 0.5 * (leg[:, a] - leg[:, b])
    k_leg = None
    if sliders is not None:
        e, f, k = bristle(slide_eyelet - sliders.at_eyelet, sliders.cap_eyelet, soften * SLIP_MM)
        s.energy += e.sum(-1)
        leg_tension[:, a] += 0.5 * f[..., None]
        leg_tension[:, b] -= 0.5 * f[..., None]
        columns.append(np.sqrt(k)[..., None] * _eyelet_arms(m, span, flex))
        e, f, k_leg = bristle(slide_leg - sliders.at_leg, sliders.cap_leg, soften * SLIP_MM)
        s.energy += e.sum((-1, -2))
        leg_tension[..., 1:] += f[..., :1]
        leg_tension[..., 2] += f[..., 1]
    stacked = columns[0] if len(columns) == 1 else np.concatenate(columns, 1)
    np.matmul(np.ascontiguousarray(stacked.transpose(0, 2, 1)), stacked, out=s.hessian)
    if k_leg is not None:
        s.h_phi += k_leg[..., 0, None, None] * flex.slope[..., :, None] * flex.slope[..., None, :]
        s.h_phi[..., 1, 1] += k_leg[..., 1] * flex.slope[..., 1] ** 2
    wrist_t = leg_tension[..., 0]
    s.gradient[:, 0] = (wrist_t * span.by_theta).sum(-1)
    s.gradient[:, 1] = (wrist_t * span.by_psi).sum(-1)
    s.g_phi += leg_tension[..., 1:] * flex.slope
    s.diagonal[:, 0] += (wrist_t * span.theta_theta).sum(-1)
    s.diagonal[:, 1] += (wrist_t * span.psi_psi).sum(-1) + LEVEL_STIFFNESS
    cross = (wrist_t * span.theta_psi).sum(-1)
    s.hessian[:, 0, 1] += cross
    s.hessian[:, 1, 0] += cross
    s.diagonal[:, 2:] += (leg_tension[..., 1:] * flex.bend).reshape(n, 2 * d)
    return _Cords(tension, surplus, cord_arms, leg_tension, slide_leg, slide_eyelet)


def _eyelet_arms(m: Model, span: WristSpan, flex: Curve) -> Floats:
    """Derivative of what has passed through each eyelet; (n, e, 2 + 2d) [mm/rad]."""
    n, d = span.length.shape
    out = np.zeros((n, len(m.eyelet_legs), 2 + 2 * d))
    for i, pair in enumerate(m.eyelet_legs):
        for leg, share in zip(pair, (0.5, -0.5), strict=True):
            out[:, i, 0] += share * span.by_theta[:, leg]
            out[:, i, 1] += share * span.by_psi[:, leg]
            out[:, i, 2 + 2 * leg : 4 + 2 * leg] = share * flex.slope[:, leg]
    return out


def _elastics(m: Model, phi: Floats, sliders: Sliders | None, s: _Sum) -> tuple[Floats, Floats]:
    """Elastics, with their loss as a slider; returns tension and path (n, d)."""
    line = crossing_length(m.extensor, phi)
    path = line.length.sum(-1)
    pulled = np.maximum(path - m.elastic_free_mm, 0.0)
    back = m.elastic_stiffness * pulled
    stiff = m.elastic_stiffness * (pulled > 0.0)
    s.energy += 0.5 * (back * pulled).sum(-1)
    if sliders is not None:
        e, f, k = bristle(path - sliders.at_elastic, sliders.cap_elastic, ELASTIC_SLIP_MM)
        s.energy += e.sum(-1)
        back, stiff = back + f, stiff + k
    s.g_phi += back[..., None] * line.slope
    s.h_phi += stiff[..., None, None] * line.slope[..., :, None] * line.slope[..., None, :]
    s.diagonal[:, 2:] += (back[..., None] * line.bend).reshape(len(phi), -1)
    return back, path


def _weights(m: Model, theta: Floats, phi: Floats, s: _Sum) -> None:
    """Gravity on digits and cuff in the inspection pose.

    A digit's potential is bilinear in (1, cos phi1, sin phi1) and (1, cos phi2, sin phi2), so its second
    derivatives are itself turned over, but for the terms without the angle.
    """
    c, si = np.cos(phi), np.sin(phi)
    c1, s1, c2, s2 = c[..., 0], si[..., 0], c[..., 1], si[..., 1]
    w = m.weight_terms
    x0, x1, x2 = (w[:, 0, k] + c1 * w[:, 1, k] + s1 * w[:, 2, k] for k in range(3))
    y0, y1, y2 = (c1 * w[:, 2, k] - s1 * w[:, 1, k] for k in range(3))  # by phi1
    potential = x0 + c2 * x1 + s2 * x2
    cross = c2 * y2 - s2 * y1
    s.energy += potential.sum(-1)
    s.g_phi[..., 0] += y0 + c2 * y1 + s2 * y2
    s.g_phi[..., 1] += c2 * x2 - s2 * x1
    s.h_phi[..., 0, 0] += w[:, 0, 0] + c2 * w[:, 0, 1] + s2 * w[:, 0, 2] - potential
    s.h_phi[..., 1, 1] += x0 - potential
    s.h_phi[..., 0, 1] += cross
    s.h_phi[..., 1, 0] += cross
    c, si = np.cos(theta), np.sin(theta)
    cuff = m.cuff_weight[:, 0] * c + m.cuff_weight[:, 1] * si
    s.energy += cuff
    s.gradient[:, 0] += m.cuff_weight[:, 1] * c - m.cuff_weight[:, 0] * si
    s.diagonal[:, 0] -= cuff


def _stops(m: Model, q: Floats, s: _Sum) -> None:
    beyond = q - np.clip(q, m.low_rad, m.high_rad)
    s.energy += 0.5 * STOP_STIFFNESS_NMM_PER_RAD * (beyond * beyond).sum(-1)
    s.gradient += STOP_STIFFNESS_NMM_PER_RAD * beyond
    s.diagonal += STOP_STIFFNESS_NMM_PER_RAD * (beyond != 0.0)
