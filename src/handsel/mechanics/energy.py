"""Energy of a batch of hands with exact gradient and Hessian, friction work included.

Unknowns of one hand, in this order: theta, psi, then (phi1, phi2) of each digit.

Cord friction follows the capstan law without guessing who slides: the pieces of a leg carry
tensions T_wrist, T_knuckle, T_tip; between two pieces a slider resists the cord's passing with
a force of at most (T_before + T_after) tanh(mu beta / 2), which is T_pull = T_hold exp(mu beta)
written evenly. Each slider is an elastic-plastic bristle: exact within `SLIP_MM` of travel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.build import STOP_STIFFNESS_NMM_PER_RAD
from handsel.mechanics.model import Model
from handsel.mechanics.paths import crossing_length, wrist_length
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

    at_theta: Floats  # (n,)
    at_psi: Floats  # (n,)
    at_phi: Floats  # (n, d, 2)
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
class Gauges:
    """A cylinder held in the palm, fixed in space: centre (3,), unit axis (3,), radius [mm]."""

    centre_mm: Floats
    axis: Floats
    radius_mm: float


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
        frictionless hand; contact, whether pads meet each other and the palm; gauge, a held cylinder.
    Returns: Field.
    Source: virtual work: tension times moment arm, with every derivative written out.
    Checked by: properties/test_mechanics.py, independent/test_rest.py
    """
    n, d = len(m), m.hinge_low_rad.shape[0]
    theta, psi, phi = q[:, 0], q[:, 1], q[:, 2:].reshape(n, d, 2)
    size = 2 + 2 * d
    gradient, hessian = np.zeros((n, size)), np.zeros((n, size, size))
    g_phi = gradient[:, 2:].reshape(n, d, 2)  # views into the same memory
    diag = np.einsum("nii->ni", hessian)
    h_phi = diag[:, 2:].reshape(n, d, 2)
    one, two = 2 + 2 * np.arange(d), 3 + 2 * np.arange(d)

    span = wrist_length(m.wrist, theta, psi)
    flex = crossing_length(m.flexor, phi)
    stretch_of = crossing_length(m.extensor, phi)
    leg = span.length + flex.length[..., 0] + flex.length[..., 1]
    n_cords = m.cord_free_mm.shape[1]
    cord_length = np.stack([leg[:, m.cord_of_leg == c].sum(-1) for c in range(n_cords)], -1)
    surplus = cord_length - m.cord_free_mm
    over = np.maximum(surplus, 0.0)
    tension = m.cord_stiffness * over
    energy = 0.5 * (tension * over).sum(-1)

    leg_tension = np.repeat(tension[:, m.cord_of_leg, None], 3, axis=2)
    slide_leg = np.stack([flex.length.sum(-1), flex.length[..., 1]], -1)
    pair_a, pair_b = m.eyelet_legs[:, 0], m.eyelet_legs[:, 1]
    slide_eyelet = 0.5 * (leg[:, pair_a] - leg[:, pair_b])
    k_leg = k_eyelet = None
    if sliders is not None:
        e, f, k_eyelet = bristle(slide_eyelet - sliders.at_eyelet, sliders.cap_eyelet, soften * SLIP_MM)
        energy += e.sum(-1)
        leg_tension[:, pair_a] += 0.5 * f[..., None]
        leg_tension[:, pair_b] -= 0.5 * f[..., None]
        e, f, k_leg = bristle(slide_leg - sliders.at_leg, sliders.cap_leg, soften * SLIP_MM)
        energy += e.sum((-1, -2))
        leg_tension[..., 1:] += f[..., :1]
        leg_tension[..., 2:] += f[..., 1:]

    # Gradient and curvature of the cords, with the tension of the piece that each angle moves.
    wrist_t = leg_tension[..., 0]
    gradient[:, 0] = (wrist_t * span.by_theta).sum(-1)
    gradient[:, 1] = (wrist_t * span.by_psi).sum(-1)
    g_phi += leg_tension[..., 1:] * flex.slope
    diag[:, 0] = (wrist_t * span.theta_theta).sum(-1)
    diag[:, 1] = (wrist_t * span.psi_psi).sum(-1) + LEVEL_STIFFNESS
    hessian[:, 0, 1] = (wrist_t * span.theta_psi).sum(-1)
    h_phi += leg_tension[..., 1:] * flex.bend

    arms = np.zeros((n, d, size))  # d leg / d q
    arms[:, :, 0], arms[:, :, 1] = span.by_theta, span.by_psi
    arms[:, np.arange(d), one], arms[:, np.arange(d), two] = flex.slope[..., 0], flex.slope[..., 1]
    taut = m.cord_stiffness * (over > 0.0)
    cord_arms = np.stack([arms[:, m.cord_of_leg == c].sum(1) for c in range(n_cords)], 1)
    columns = [np.sqrt(taut)[..., None] * cord_arms]
    if k_eyelet is not None:
        columns.append(np.sqrt(k_eyelet)[..., None] * 0.5 * (arms[:, pair_a] - arms[:, pair_b]))
    stacked = np.concatenate(columns, 1)
    hessian[:, 1, 0] = hessian[:, 0, 1]
    hessian += stacked.transpose(0, 2, 1) @ stacked
    if k_leg is not None:
        s1, s2 = flex.slope[..., 0], flex.slope[..., 1]
        h_phi[..., 0] += k_leg[..., 0] * s1 * s1
        h_phi[..., 1] += (k_leg[..., 0] + k_leg[..., 1]) * s2 * s2
        hessian[:, one, two] += k_leg[..., 0] * s1 * s2
        hessian[:, two, one] += k_leg[..., 0] * s1 * s2

    pulled = np.maximum(stretch_of.length.sum(-1) - m.elastic_free_mm, 0.0)
    back = m.elastic_stiffness * pulled
    energy += 0.5 * (back * pulled).sum(-1)
    stiff = m.elastic_stiffness * (pulled > 0.0)
    slide_elastic = stretch_of.length.sum(-1)
    if sliders is not None:
        e, f, k = bristle(slide_elastic - sliders.at_elastic, sliders.cap_elastic, ELASTIC_SLIP_MM)
        energy += e.sum(-1)
        back, stiff = back + f, stiff + k
    e1, e2 = stretch_of.slope[..., 0], stretch_of.slope[..., 1]
    g_phi += back[..., None] * stretch_of.slope
    h_phi += back[..., None] * stretch_of.bend + stiff[..., None] * stretch_of.slope**2
    cross = stiff * e1 * e2

    (a, a1, a2), (b, b1, b2) = trig_terms(phi[..., 0]), trig_terms(phi[..., 1])
    wb, wb1 = _apply(m.weight_terms, b), _apply(m.weight_terms, b1)
    energy += (a * wb).sum((-1, -2))
    g_phi[..., 0] += (a1 * wb).sum(-1)
    g_phi[..., 1] += (a * wb1).sum(-1)
    h_phi[..., 0] += (a2 * wb).sum(-1)
    h_phi[..., 1] += (a * _apply(m.weight_terms, b2)).sum(-1)
    cross = cross + (a1 * wb1).sum(-1)
    hessian[:, one, two] += cross
    hessian[:, two, one] += cross

    c, s = np.cos(theta), np.sin(theta)
    w0, w1 = m.cuff_weight[:, 0], m.cuff_weight[:, 1]
    energy += w0 * c + w1 * s
    gradient[:, 0] += w1 * c - w0 * s
    diag[:, 0] -= w0 * c + w1 * s

    beyond = np.minimum(phi - m.hinge_low_rad, 0.0) + np.maximum(phi - m.hinge_high_rad, 0.0)
    energy += 0.5 * STOP_STIFFNESS_NMM_PER_RAD * (beyond * beyond).sum((-1, -2))
    g_phi += STOP_STIFFNESS_NMM_PER_RAD * beyond
    h_phi += STOP_STIFFNESS_NMM_PER_RAD * (beyond != 0.0)
    for column, low, high in ((0, *m.wrist_range_rad), (1, -m.bar_limit_rad, m.bar_limit_rad)):
        x = np.minimum(q[:, column] - low, 0.0) + np.maximum(q[:, column] - high, 0.0)
        energy += 0.5 * STOP_STIFFNESS_NMM_PER_RAD * x * x
        gradient[:, column] += STOP_STIFFNESS_NMM_PER_RAD * x
        diag[:, column] += STOP_STIFFNESS_NMM_PER_RAD * (x != 0.0)

    if sliders is not None:
        e, f, k = bristle(phi - sliders.at_phi, m.hinge_friction, soften * SLIP_RAD)
        energy += e.sum((-1, -2))
        g_phi += f
        h_phi += k
        for column, at, cap in ((0, sliders.at_theta, m.wrist_friction), (1, sliders.at_psi, m.bar_friction)):
            e, f, k = bristle(q[:, column] - at, cap, soften * SLIP_RAD)
            energy += e
            gradient[:, column] += f
            diag[:, column] += k

    forces = np.zeros((n, 0))
    if contact or gauge is not None:
        from handsel.mechanics.contact import add_contact

        forces = add_contact(
            m, (a, a1, a2), (b, b1, b2), energy, gradient, hessian, pads=contact, gauge=gauge
        )
    return Field(
        energy=energy,
        gradient=gradient,
        hessian=hessian,
        cord_tension=tension,
        cord_over_mm=surplus,
        cord_arms=cord_arms,
        leg_tension=leg_tension,
        elastic_tension=back,
        slide_at=(slide_leg, slide_eyelet, slide_elastic),
        contact_n=forces,
    )


def _apply(terms: Floats, b: Floats) -> Floats:
    return (terms @ b[..., None])[..., 0]
