"""Lengths of lines that cross a hinge, with exact first and second derivatives."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
NEVER_RAD = 1.0e6


class Curve(NamedTuple):
    """A length and its first and second derivative by one angle; arrays of one shape."""

    length: Floats
    slope: Floats
    bend: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossing:
    """Straight-or-wrapped spans from a parent's point a to a child's point b; any common shape.

    a o                      seen along the hinge axis; ra, rb radii of a and b,
       \\   b                 gap_rad the angle between them on the side of the cylinder,
     ra \\ / rb               rise_mm their distance along the axis
         +  hinge
    """

    ra_mm: Floats
    rb_mm: Floats
    gap_rad: Floats  # at angle 0
    sense: Floats  # +1: the gap opens with positive rotation (back), -1: it closes (palm side)
    radius_mm: Floats  # cylinder; 0 for none
    rise_mm: Floats
    onset_rad: Floats  # gap beyond which the line bears on the cylinder; beyond reach without one
    tangents_mm: Floats  # both tangents together, once it does

    def take(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Crossing:
        return Crossing(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


def crossing(
    *, ra_mm: Floats, rb_mm: Floats, gap_rad: Floats, sense: Floats, radius_mm: Floats, rise_mm: Floats
) -> Crossing:
    """Spans from their measures, with what the wrap needs worked out once.

    Parameters: as the fields of Crossing; arrays of one shape.    Returns: Crossing.
    Source: tangents to a circle from outside points.
    """
    r = radius_mm
    onset = np.arccos(np.minimum(r / ra_mm, 1.0)) + np.arccos(np.minimum(r / rb_mm, 1.0))
    tangents = np.sqrt(np.maximum(ra_mm**2 - r * r, 0.0)) + np.sqrt(np.maximum(rb_mm**2 - r * r, 0.0))
    return Crossing(
        ra_mm=ra_mm,
        rb_mm=rb_mm,
        gap_rad=gap_rad,
        sense=sense,
        radius_mm=r,
        rise_mm=rise_mm,
        onset_rad=np.where(r > 0.0, onset, NEVER_RAD),
        tangents_mm=tangents,
    )


def crossing_length(c: Crossing, angle_rad: Floats) -> Curve:
    """Length of each span at its hinge angle: a chord, or two tangents and an arc.

    Parameters: c, spans of any shape (...); angle_rad : (...) float [rad], hinge rotation.
    Returns: length [mm], slope [mm/rad], bend [mm/rad^2], each (...).
    Valid for: points outside the cylinder; less than a full turn.
    Source: law of cosines for the chord; tangent-arc geometry for the wrap (a taut line on a
        cylinder is a geodesic: straight when unrolled, so the rise adds in quadrature).
    Checked by: published/test_mechanics.py, independent/test_paths.py
    """
    gap = c.gap_rad + c.sense * angle_rad
    product = c.ra_mm * c.rb_mm
    cosine, sine = np.cos(gap), np.sin(gap)
    flat = np.sqrt(np.maximum(c.ra_mm**2 + c.rb_mm**2 - 2.0 * product * cosine, 1e-18))
    slope = product * sine / flat
    bend = (product * cosine - slope * slope) / flat
    if c.radius_mm.any():
        wrapped = gap > c.onset_rad
        flat = np.where(wrapped, c.tangents_mm + c.radius_mm * (gap - c.onset_rad), flat)
        slope = np.where(wrapped, c.radius_mm, slope)
        bend = np.where(wrapped, 0.0, bend)
    length = np.sqrt(flat * flat + c.rise_mm**2)
    along = flat * slope / length
    bend = (slope * slope + flat * bend - along * along) / length
    return Curve(length, c.sense * along, bend)


def wrap_angle(c: Crossing, angle_rad: Floats) -> Floats:
    """Arc over which each span bears on its cylinder [rad]; 0 where it clears."""
    return np.maximum(c.gap_rad + c.sense * angle_rad - c.onset_rad, 0.0)


class WristSpan(NamedTuple):
    """Length of wrist spans by wrist angle and bar tilt: value, gradient and second derivatives."""

    length: Floats
    by_theta: Floats
    by_psi: Floats
    theta_theta: Floats
    theta_psi: Floats
    psi_psi: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WristLegs:
    """Spans from the bar or pin on the cuff to a guide on the palm; (n, d, ...).

    The moving point is centre + cos(psi) * even + sin(psi) * odd in the cuff, in axes (u, w, axis) of
    the wrist hinge, rotation going from u to w.
    """

    guide: Floats  # (n, d, 3)
    centre: Floats  # (n, d, 3)
    even: Floats  # (n, d, 3)
    odd: Floats  # (n, d, 3)
    barrel_mm: Floats  # (n, 1)

    def legs(self, which: NDArray[np.bool_]) -> WristLegs:
        """Some of the legs, of all hands."""
        return WristLegs(
            guide=self.guide[:, which],
            centre=self.centre[:, which],
            even=self.even[:, which],
            odd=self.odd[:, which],
            barrel_mm=self.barrel_mm,
        )

    def take(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> WristLegs:
        return WristLegs(
            guide=self.guide[rows],
            centre=self.centre[rows],
            even=self.even[rows],
            odd=self.odd[rows],
            barrel_mm=self.barrel_mm[rows],
        )


def wrist_length(w: WristLegs, theta: Floats, psi: Floats) -> WristSpan:
    """Length of the cord between cuff and palm, over the wrist barrel where it bears on it.

    Parameters: theta, psi : (n,) float [rad].
    Returns: WristSpan of (n, d) arrays [mm, mm/rad, mm/rad^2].
    Source: a taut line pulls along its last free piece, so d length / d point is the unit vector
        there and the second derivative is the transverse projection over the free length.
    Checked by: independent/test_paths.py, properties/test_mechanics.py
    """
    cp, sp = np.cos(psi)[:, None, None], np.sin(psi)[:, None, None]
    p = w.centre + cp * w.even + sp * w.odd
    p1 = cp * w.odd - sp * w.even  # by psi
    p2 = w.centre - p  # second derivative by psi: minus the turning part
    ct, st = np.cos(theta)[:, None], np.sin(theta)[:, None]

    def turned(v: Floats) -> tuple[Floats, Floats]:
        return ct * v[..., 0] - st * v[..., 1], st * v[..., 0] + ct * v[..., 1]

    vx, vy = turned(p)
    v1x, v1y = turned(p1)
    v2x, v2y = turned(p2)
    flat, tx, ty, free = _last_free_piece(w, vx, vy)
    across_theta = -ty * -vy + tx * vx  # n . dv/dtheta with n = (-ty, tx), dv/dtheta = (-vy, vx)
    f_t = tx * -vy + ty * vx
    f_p = tx * v1x + ty * v1y
    across_psi = -ty * v1x + tx * v1y
    f_tt = across_theta**2 / free - (tx * vx + ty * vy)
    f_tp = across_theta * across_psi / free + (tx * -v1y + ty * v1x)
    f_pp = across_psi**2 / free + (tx * v2x + ty * v2y)
    rise, rise1, rise2 = p[..., 2] - w.guide[..., 2], p1[..., 2], p2[..., 2]
    length = np.sqrt(flat * flat + rise * rise)
    g_t = flat * f_t / length
    g_p = (flat * f_p + rise * rise1) / length
    return WristSpan(
        length,
        g_t,
        g_p,
        (f_t * f_t + flat * f_tt - g_t * g_t) / length,
        (f_t * f_p + flat * f_tp - g_t * g_p) / length,
        (f_p * f_p + flat * f_pp + rise1 * rise1 + rise * rise2 - g_p * g_p) / length,
    )


def _last_free_piece(w: WristLegs, vx: Floats, vy: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Plane length, unit vector at the moving point and length of the free piece that ends there.

    A cord in use lies on the back of the wrist, so the gap is counted through the back, from the
    moving point v to the guide in the sense in which the cuff rises.
    """
    gx, gy = w.guide[..., 0], w.guide[..., 1]
    dx, dy = vx - gx, vy - gy
    flat = np.sqrt(dx * dx + dy * dy)
    tx, ty = dx / flat, dy / flat
    r = w.barrel_mm
    if not r.any():
        return flat, tx, ty, flat
    if (vx * gy - vy * gx >= r * flat).all():  # every line passes the back of the barrel in the clear
        return flat, tx, ty, flat
    rv2, rg2 = vx * vx + vy * vy, gx * gx + gy * gy
    gap = np.mod(np.arctan2(gy, gx) - np.arctan2(vy, vx), 2.0 * np.pi)
    arc = gap - np.arccos(np.minimum(r / np.sqrt(rg2), 1.0)) - np.arccos(np.minimum(r / np.sqrt(rv2), 1.0))
    wrapped = (arc > 0.0) & (r > 0.0)
    if not wrapped.any():
        return flat, tx, ty, flat
    tv, tg = np.sqrt(np.maximum(rv2 - r * r, 1e-12)), np.sqrt(np.maximum(rg2 - r * r, 1e-12))
    # From the tangent point r/rv * (v turned by arccos(r/rv)) to v, made a unit vector.
    wx, wy = (tv * vx + r * vy) / rv2, (tv * vy - r * vx) / rv2
    return (
        np.where(wrapped, tg + tv + r * arc, flat),
        np.where(wrapped, wx, tx),
        np.where(wrapped, wy, ty),
        np.where(wrapped, tv, flat),
    )
