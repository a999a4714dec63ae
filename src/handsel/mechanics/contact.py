"""Pads that touch: digit on digit, digit on palm, digit on a held cylinder. One-sided springs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.build import CONTACT_STIFFNESS_N_PER_MM as K
from handsel.mechanics.model import Model
from handsel.mechanics.posture import trig_terms

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gauges:
    """A cylinder held in the palm, fixed in space: centre (3,), unit axis (3,), radius [mm]."""

    centre_mm: Floats
    axis: Floats
    radius_mm: float


def pad_points(m: Model, phi_rad: Floats) -> Floats:
    """Centres of the proximal and tip pads.

    Parameters: phi_rad : (n, d, 2) float [rad].    Returns: (n, d, 2, 3) float [mm], palm frame.
    """
    trig = trig_terms(phi_rad)[..., 0, :]
    a, b = trig[:, :, 0], trig[:, :, 1]
    out: Floats = np.einsum("dpxjk,ndj,ndk->ndpx", m.pad_terms, a, b)
    return out


def _moved(terms: Floats, trig: Floats) -> tuple[Floats, Floats, Floats]:
    """Point (n, d, 3), Jacobian (n, d, 3, 2) and second derivatives (n, d, 3, [11, 12, 22])."""
    of = trig[:, :, None, 0] @ terms @ trig[:, :, None, 1].swapaxes(-1, -2)  # (n, d, 3, order, order)
    return (
        of[..., 0, 0],
        np.stack([of[..., 1, 0], of[..., 0, 1]], -1),
        np.stack([of[..., 2, 0], of[..., 1, 1], of[..., 0, 2]], -1),
    )


def add_contact(
    m: Model,
    trig: Floats,
    energy: Floats,
    gradient: Floats,
    hessian: Floats,
    *,
    pads: bool,
    gauge: Gauges | None,
) -> Floats:
    """Add the energy of all contacts in place; return their forces [N].

    Returns: (n, k) for the pad pairs, (n, d) for the palm, and with a gauge (n, 2d) more.
    """
    tip = _moved(m.pad_terms[:, 1], trig)
    out = []
    if pads:
        out.append(_pairs(m, tip, energy, gradient, hessian))
        out.append(_palm(m, tip, energy, gradient, hessian))
    if gauge is not None:
        proximal = _moved(m.pad_terms[:, 0], trig)
        for k, moved in enumerate((proximal, tip)):
            out.append(_cylinder(moved, m.pad_radius_mm[:, k], gauge, energy, gradient, hessian))
    return np.concatenate(out, axis=1)


def _pairs(
    m: Model, tip: tuple[Floats, Floats, Floats], energy: Floats, gradient: Floats, hessian: Floats
) -> Floats:
    point, jac, second = tip
    forces = np.zeros((len(point), len(m.contact_pairs)))
    for k, (i, j) in enumerate(m.contact_pairs):
        apart = point[:, i] - point[:, j]
        distance = np.sqrt((apart * apart).sum(-1))
        depth = np.maximum(m.pad_radius_mm[i, 1] + m.pad_radius_mm[j, 1] - distance, 0.0)
        rows = np.flatnonzero(depth > 0.0)
        if not len(rows):
            continue
        forces[rows, k] = K * depth[rows]
        n_vec = apart[rows] / distance[rows, None]
        jq = np.concatenate([jac[rows, i], -jac[rows, j]], axis=2)  # (r, 3, 4) of apart
        slope = np.einsum("rx,rxq->rq", n_vec, jq)
        curve = (np.einsum("rxp,rxq->rpq", jq, jq) - slope[:, :, None] * slope[:, None, :]) / distance[
            rows, None, None
        ]
        curve[:, :2, :2] += _square(np.einsum("rx,rxs->rs", n_vec, second[rows, i]))
        curve[:, 2:, 2:] -= _square(np.einsum("rx,rxs->rs", n_vec, second[rows, j]))
        where = np.array([2 + 2 * i, 3 + 2 * i, 2 + 2 * j, 3 + 2 * j])
        _accumulate(rows, where, depth[rows], slope, curve, energy, gradient, hessian)
    return forces


def _palm(
    m: Model, tip: tuple[Floats, Floats, Floats], energy: Floats, gradient: Floats, hessian: Floats
) -> Floats:
    """The palm's inner surface faces down; it ends at the front, beyond which digits pass."""
    point, jac, second = tip
    depth = np.where(
        point[..., 0] < m.palm_front_x_mm, point[..., 2] + m.pad_radius_mm[:, 1] - m.palm_plane_z_mm, 0.0
    )
    depth = np.maximum(depth, 0.0)
    for digit in np.flatnonzero(depth.any(0)):
        rows = np.flatnonzero(depth[:, digit] > 0.0)
        where = np.array([2 + 2 * digit, 3 + 2 * digit])
        _accumulate(
            rows,
            where,
            depth[rows, digit],
            -jac[rows, digit, 2],
            -_square(second[rows, digit, 2]),
            energy,
            gradient,
            hessian,
        )
    return K * depth


def _cylinder(
    moved: tuple[Floats, Floats, Floats],
    radius: Floats,
    g: Gauges,
    energy: Floats,
    gradient: Floats,
    hessian: Floats,
) -> Floats:
    point, jac, second = moved
    across = np.eye(3) - np.outer(g.axis, g.axis)
    apart = (point - g.centre_mm) @ across
    distance = np.sqrt((apart * apart).sum(-1))
    depth = np.maximum(g.radius_mm + radius - distance, 0.0)
    for digit in np.flatnonzero(depth.any(0)):
        rows = np.flatnonzero(depth[:, digit] > 0.0)
        n_vec = apart[rows, digit] / distance[rows, digit, None]
        jq = np.einsum("xy,ryq->rxq", across, jac[rows, digit])
        slope = np.einsum("rx,rxq->rq", n_vec, jq)
        curve = (np.einsum("rxp,rxq->rpq", jq, jq) - slope[:, :, None] * slope[:, None, :]) / distance[
            rows, digit, None, None
        ]
        curve += _square(np.einsum("rx,rxs->rs", n_vec, second[rows, digit]))
        _accumulate(
            rows,
            np.array([2 + 2 * digit, 3 + 2 * digit]),
            depth[rows, digit],
            slope,
            curve,
            energy,
            gradient,
            hessian,
        )
    out: Floats = K * depth
    return out


def _square(s: Floats) -> Floats:
    """(r, [11, 12, 22]) as (r, 2, 2)."""
    return np.stack([np.stack([s[:, 0], s[:, 1]], -1), np.stack([s[:, 1], s[:, 2]], -1)], 1)


def _accumulate(
    rows: NDArray[np.intp],
    where: NDArray[np.intp],
    depth: Floats,
    slope: Floats,
    curve: Floats,
    energy: Floats,
    gradient: Floats,
    hessian: Floats,
) -> None:
    """Add K/2 depth^2 with depth' = -slope and depth'' = -curve."""
    energy[rows] += 0.5 * K * depth * depth
    gradient[rows[:, None], where] -= K * depth[:, None] * slope
    hessian[rows[:, None, None], where[:, None], where] += K * (
        slope[:, :, None] * slope[:, None, :] - depth[:, None, None] * curve
    )
