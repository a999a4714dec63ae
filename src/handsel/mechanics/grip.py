"""What the closed hand does to a thing: force at the tips, shares of the digits, holding a cylinder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.design.model import Gauge as DesignGauge
from handsel.mechanics.closing import Path, closing_path
from handsel.mechanics.contact import Gauges, pad_points
from handsel.mechanics.model import Model

Floats = NDArray[np.float64]

PAD_FRICTION_MU = 0.5  # grip tips on smooth plastic: an estimate of ours, low for rubber
LIGHT_TUG_N = 2.0  # what one finger's light pull asks of a grip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TipForce:
    """Pinch of thumb against fingers; (n,) and (n, d)."""

    force_n: Floats  # pad force at the wrist torque asked for
    force_per_torque: Floats  # [N per N mm], between first contact and that torque
    share_ratio: Floats  # (n, d) of the cords' pull that each digit's tip gets


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hold:
    """Whether a cylinder is held; (n,)."""

    holds: NDArray[np.bool_]
    tug_n: Floats  # along the cylinder that the grip resists
    digits_on: NDArray[np.int_]  # digits that touch it
    wrist_deg: Floats  # wrist angle at which it is held


def held_gauge(design: Design, gauge: DesignGauge) -> Gauges:
    """A test cylinder lying against the palm, for the contact model."""
    normal = np.array(gauge.normal)
    return Gauges(
        centre_mm=np.array(gauge.against_mm) + 0.5 * gauge.diameter_mm * normal,
        axis=np.array(gauge.axis),
        radius_mm=0.5 * gauge.diameter_mm,
    )


def tip_force(m: Model, path: Path, *, torque_nmm: float = 600.0) -> TipForce:
    """Force between thumb and finger pads as the wrist pushes.

    Parameters: m, n hands; path, their closing path with contact; torque_nmm [N mm], wrist torque
        at which the force is read (the last step where it is not reached).
    Returns: TipForce.
    Valid for: a pinch without a thing in it; the pads' own friction is left out.
    Source: virtual work in the contact model; shares are leg tensions at the tips.
    Checked by: unit/test_linden.py
    """
    pinch = path.contact_n[:, :, : len(m.contact_pairs)].sum(-1)
    push = -path.torque_nmm
    touching = pinch > 0.01
    touched = touching.any(1)
    first = np.argmax(touching, axis=1)
    beyond = (push >= torque_nmm) & (np.arange(push.shape[1]) > first[:, None])
    reached = np.where(beyond.any(1), np.argmax(beyond, axis=1), push.shape[1] - 1)
    within = (np.arange(push.shape[1]) >= first[:, None]) & (np.arange(push.shape[1]) <= reached[:, None])
    best = np.argmax(np.where(within, pinch, -1.0), axis=1)
    row = np.arange(len(m))
    force = np.where(touched, pinch[row, best], 0.0)
    tips = np.maximum(path.leg_tension_n[row, best, :, 2], 0.0)
    total = np.maximum(tips.sum(-1, keepdims=True), 1e-12)
    return TipForce(
        force_n=force, force_per_torque=force / np.maximum(push[row, best], 1e-9), share_ratio=tips / total
    )


def hold_cylinder(m: Model, gauge: Gauges, *, torque_nmm: float = 900.0, to_deg: float = -60.0) -> Hold:
    """Whether the closing hand holds a cylinder against a light tug along it.

    Parameters: m, n hands; gauge; torque_nmm [N mm], most that the wrist gives; to_deg [deg].
    Returns: Hold. A cylinder is held when the thumb or the palm opposes at least two fingers and
        the digits press it with enough friction for `LIGHT_TUG_N`.
    Valid for: a cylinder kept where it lies; its own shift in the grip is left out.
    Source: Coulomb friction on the pads; the palm answers the digits' resultant toward it.
    Checked by: unit/test_linden.py
    """
    path = closing_path(m, to_deg=to_deg, step_deg=4.0, gauge=gauge)
    n, k = path.wrist_deg.shape
    d = m.hinge_low_rad.shape[0]
    on = path.contact_n[:, :, -2 * d :].reshape(n, k, 2, d)  # proximal pads, then tip pads
    tug = np.zeros((n, k))
    fingers = (on[..., :-1].sum(2) > 0.05).sum(-1)
    toward_palm = np.zeros((n, k))
    up = np.array([0.0, 0.0, 1.0])
    for step in range(k):
        points = pad_points(m, np.radians(path.phi_deg[:, step])).transpose(0, 2, 1, 3)  # (n, 2, d, 3)
        apart = points - gauge.centre_mm
        apart = apart - (apart @ gauge.axis)[..., None] * gauge.axis
        inward = -apart / np.maximum(np.linalg.norm(apart, axis=-1, keepdims=True), 1e-9)
        toward_palm[:, step] = (on[:, step] * (inward @ up)).sum((1, 2))
        tug[:, step] = PAD_FRICTION_MU * (on[:, step].sum((1, 2)) + np.maximum(toward_palm[:, step], 0.0))
    opposed = (toward_palm > 0.0) | (on[..., -1].sum(2) > 0.05)
    good = (fingers >= 2) & opposed & (tug >= LIGHT_TUG_N) & (-path.torque_nmm <= torque_nmm)
    held = good.any(1)
    at = np.where(held, np.argmax(good, axis=1), k - 1)
    row = np.arange(n)
    return Hold(
        holds=held,
        tug_n=np.max(np.where(-path.torque_nmm <= torque_nmm, tug, 0.0), axis=1),
        digits_on=(on.sum(2) > 0.05).sum(-1)[row, at],
        wrist_deg=path.wrist_deg[row, at],
    )
