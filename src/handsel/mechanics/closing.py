"""How a hand closes as the wrist bends, and opens again: the path, step by step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.contact import Gauges, pad_points
from handsel.mechanics.energy import Sliders
from handsel.mechanics.friction import fresh_sliders, settle
from handsel.mechanics.model import Model
from handsel.mechanics.rest import straight_pose, taut_angles

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SLACK_LEAD_DEG = 1.0  # a path begins this much above where the first cord comes taut
STARTED_RAD = np.radians(2.0)  # a digit that has begun to move
JUMP_RAD = np.radians(12.0)  # more than the wrist's own step could ask of a digit: it snapped
MEET_MM = 5.0  # pads this near meet in practice: the soft tips make up the rest


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """n hands at k wrist angles, in the order in which they were passed.

    wrist_deg, tilt_deg, torque_nmm : (n, k); phi_deg : (n, k, d, 2); gap_mm : (n, k, pairs),
    between the thumb's pad and the index and middle pads; contact_n : (n, k, contacts) [N];
    cord_tension_n : (n, k, c) [N]; leg_tension_n : (n, k, d, 3); stiffness_nmm : (n, k) least
    eigenvalue of the Hessian with the wrist held [N mm/rad]; snapped : (n, k) a digit jumped into
    this step; converged : (n, k).
    """

    wrist_deg: Floats
    tilt_deg: Floats
    phi_deg: Floats
    gap_mm: Floats
    contact_n: Floats
    cord_tension_n: Floats
    leg_tension_n: Floats
    torque_nmm: Floats
    stiffness_nmm: Floats
    snapped: Flags
    converged: Flags
    last_q: Floats
    last_sliders: Sliders | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Snap:
    """A digit that jumped: the poses on both sides of it."""

    hand: int
    digit: int
    wrist_before_deg: float
    wrist_after_deg: float
    phi_before_deg: tuple[float, float]
    phi_after_deg: tuple[float, float]


def closing_path(
    m: Model,
    *,
    to_deg: float = -60.0,
    step_deg: float = 2.0,
    friction: bool = True,
    contact: bool = True,
    gauge: Gauges | None = None,
) -> Path:
    """Bend the wrist slowly from slack cords to `to_deg`.

    Parameters: m, n hands; to_deg [deg], last wrist angle; step_deg [deg], largest wrist step;
        friction False only beside a frictionless referee; contact, whether pads
        meet each other and the palm; gauge, a cylinder held in the palm.
    Returns: Path; its first column is the wrist angle at which the last slack ends, plus 1 deg.
    Source: continuation in the wrist angle; each step starts from the last, sliders carried along.
    Checked by: independent/test_closing.py
    """
    theta, psi = taut_angles(m)
    begin = np.minimum(theta.max(-1) + np.radians(SLACK_LEAD_DEG), m.wrist_range_rad[1])
    q = straight_pose(m, begin, psi)
    sliders = fresh_sliders(m, q) if friction else None
    return _walk(m, q, sliders, np.radians(to_deg), step_deg, contact, gauge)


def opening_path(
    m: Model,
    closed: Path,
    *,
    to_deg: float = 60.0,
    step_deg: float = 2.0,
    contact: bool = True,
    gauge: Gauges | None = None,
) -> Path:
    """Walk the wrist back from where a closing path ended; friction now acts the other way.

    Parameters: m, n hands; closed, the path to walk back from; to_deg [deg], last wrist angle;
        step_deg [deg]; contact and gauge as on the way there.
    Returns: Path.
    """
    sliders = closed.last_sliders.take(np.arange(len(m))) if closed.last_sliders is not None else None
    return _walk(m, closed.last_q.copy(), sliders, np.radians(to_deg), step_deg, contact, gauge)


def _walk(
    m: Model,
    q: Floats,
    sliders: Sliders | None,
    end: float,
    step_deg: float,
    contact: bool,
    gauge: Gauges | None,
) -> Path:
    n, d = len(m), m.hinge_low_rad.shape[0]
    begin = q[:, 0].copy()
    count = max(1, int(np.ceil(np.degrees(np.abs(end - begin).max()) / step_deg)))
    rows: list[tuple[NDArray[Any], ...]] = []
    before = q
    for k in range(count + 1):
        guess = 2.0 * q - before if k > 2 else q.copy()  # go on as in the step before
        guess[:, 0] = begin + (end - begin) * k / count
        before = q
        q, f, ok = settle(m, guess, sliders, hold_wrist=True, contact=contact, gauge=gauge)
        jump = np.abs(q[:, 2:] - before[:, 2:]).max(-1) > max(JUMP_RAD, 9.0 * np.radians(step_deg))
        pads = pad_points(m, q[:, 2:].reshape(n, d, 2))[:, :, 1]
        i, j = m.contact_pairs[:, 0], m.contact_pairs[:, 1]
        gap = np.linalg.norm(pads[:, i] - pads[:, j], axis=-1) - m.pad_radius_mm[i, 1] - m.pad_radius_mm[j, 1]
        least = np.linalg.eigvalsh(f.hessian[:, 1:, 1:])[:, 0]
        rows.append(
            (
                np.degrees(q[:, 0]),
                np.degrees(q[:, 1]),
                np.degrees(q[:, 2:].reshape(n, d, 2)),
                gap,
                f.contact_n,
                f.cord_tension,
                f.leg_tension,
                f.gradient[:, 0],
                least,
                jump,
                ok,
            )
        )
    names = (
        "wrist_deg",
        "tilt_deg",
        "phi_deg",
        "gap_mm",
        "contact_n",
        "cord_tension_n",
        "leg_tension_n",
        "torque_nmm",
        "stiffness_nmm",
        "snapped",
        "converged",
    )
    return Path(
        **{name: np.stack(column, 1) for name, column in zip(names, zip(*rows, strict=True), strict=True)},
        last_q=q,
        last_sliders=sliders,
    )


def start_angles(path: Path) -> Floats:
    """Wrist angle at which each digit begins to move on a closing path.

    Returns: (n, d) float [deg]; nan for a digit that never moves. Linear between steps.
    """
    bent = path.phi_deg.max(-1)  # (n, k, d)
    return np.stack(
        [
            _first_crossing(path.wrist_deg, bent[:, :, g], np.degrees(STARTED_RAD))
            for g in range(bent.shape[2])
        ],
        -1,
    )


def thumb_lead_deg(path: Path, thumb: int) -> Floats:
    """How much earlier than the first finger the thumb starts [deg of wrist]; (n,)."""
    starts = start_angles(path)
    others = np.delete(starts, thumb, axis=1)
    return np.asarray(starts[:, thumb] - np.nanmax(others, axis=1))


def closed_angle(path: Path, within_mm: float = 0.0) -> Floats:
    """Wrist angle at which the thumb's pad first meets the index or middle pad.

    Parameters: path, of n hands; within_mm [mm], gap that counts as met.
    Returns: (n,) float [deg], nan if never.
    """
    return _first_crossing(path.wrist_deg, -path.gap_mm.min(-1), -within_mm)


def _first_crossing(x: Floats, y: Floats, level: float) -> Floats:
    """First x (n,) at which y (n, k) rises to level; linear between columns."""
    above = y >= level
    k = np.argmax(above, axis=1)
    row = np.arange(len(x))
    prior = np.maximum(k - 1, 0)
    y0, y1, x0, x1 = y[row, prior], y[row, k], x[row, prior], x[row, k]
    share = np.where(k > 0, (level - y0) / np.where(y1 == y0, 1.0, y1 - y0), 1.0)
    return np.where(above.any(1), x0 + np.clip(share, 0.0, 1.0) * (x1 - x0), np.nan)


def snaps(path: Path) -> tuple[Snap, ...]:
    """Every jump of a digit on the path, with the pose before and after."""
    found = []
    for hand, k in zip(*np.nonzero(path.snapped), strict=True):
        moved = np.abs(path.phi_deg[hand, k] - path.phi_deg[hand, k - 1]).max(-1)
        g = int(np.argmax(moved))
        before, after = path.phi_deg[hand, k - 1, g], path.phi_deg[hand, k, g]
        found.append(
            Snap(
                hand=int(hand),
                digit=g,
                wrist_before_deg=float(path.wrist_deg[hand, k - 1]),
                wrist_after_deg=float(path.wrist_deg[hand, k]),
                phi_before_deg=(float(before[0]), float(before[1])),
                phi_after_deg=(float(after[0]), float(after[1])),
            )
        )
    return tuple(found)
