"""Where a hand comes to rest: damped Newton on its energy, for a whole batch at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.contact import Gauges
from handsel.mechanics.energy import Field, Sliders, evaluate
from handsel.mechanics.model import Model

Floats = NDArray[np.float64]

TOLERANCE_NMM = 1.0e-3  # largest torque left over; a fingertip's touch is a thousand times more
STEP_THETA_RAD = 0.06  # caps keep the descent in the valley that it starts in
STEP_RAD = 0.25
MOST_STEPS = 120
MOST_NUDGES, NUDGE_RAD = 4, 5.0e-3  # off a saddle, along its weakest direction
MANY = 200  # systems from which one factorisation across the batch is quicker
SHED_SHARE = 0.15  # solved rows leave the batch when they are this many: copying the rest costs too
KINK_MM, KINK_RAD = 2.0e-3, 2.0e-4  # nearer to a kink than this, a step may cross it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """Result of `relax`: the pose, its field, and whether every torque is balanced."""

    q: Floats  # (n, 2 + 2d) [rad]
    converged: NDArray[np.bool_]  # (n,)
    steps: int
    cord_over_mm: Floats  # (n, c) path minus cord length there


def relax(
    m: Model,
    q0: Floats,
    sliders: Sliders | None = None,
    *,
    hold_wrist: bool = False,
    contact: bool = False,
    gauge: Gauges | None = None,
    soften: float = 1.0,
) -> Settled:
    """Nearest minimum of energy below q0, by Newton steps that never raise the energy.

    Parameters: m, n hands; q0 : (n, 2 + 2d) float [rad]; sliders, friction or None;
        hold_wrist keeps theta (a hand holds the cuff); contact, gauge as in `evaluate`.
    Returns: Settled; a row that did not converge to a minimum is marked, never hidden.
    Valid for: starts in or next to the wanted valley (callers walk there in small steps).
    Source: Newton's method with a trust cap; negative curvature is turned over (|lambda|).
    Checked by: independent/test_rest.py, properties/test_mechanics.py
    """
    found = _descend(m, q0, sliders, hold_wrist, contact, gauge, soften)
    for _ in range(MOST_NUDGES):
        rows = np.flatnonzero(~found.stable)
        if not len(rows):
            break
        part = sliders.take(rows) if sliders is not None else None
        again = _descend(
            m.take(rows), _off_the_saddle(found, rows, hold_wrist), part, hold_wrist, contact, gauge, soften
        )
        found.put(rows, again)
    return Settled(
        q=found.q,
        converged=found.converged & found.stable,
        steps=found.steps,
        cord_over_mm=found.over_mm,
    )


@dataclass(slots=True, eq=False)
class _Found:
    """Where a descent ended."""

    q: Floats
    converged: NDArray[np.bool_]
    stable: NDArray[np.bool_]  # positive definite there: a minimum, not a saddle
    hessian: Floats
    over_mm: Floats
    steps: int

    def put(self, rows: NDArray[np.intp], part: _Found) -> None:
        self.q[rows], self.converged[rows], self.stable[rows] = part.q, part.converged, part.stable
        self.hessian[rows], self.over_mm[rows] = part.hessian, part.over_mm
        self.steps += part.steps


def _off_the_saddle(found: _Found, rows: NDArray[np.intp], hold_wrist: bool) -> Floats:
    """The poses of some rows, moved a little along their weakest direction."""
    first = 1 if hold_wrist else 0
    q = found.q[rows].copy()
    _, vectors = np.linalg.eigh(found.hessian[rows][:, first:, first:])
    weakest = vectors[:, :, 0]
    biggest = np.argmax(np.abs(weakest), axis=1)
    sign = np.sign(weakest[np.arange(len(rows)), biggest])  # the same way on every machine
    q[:, first:] += NUDGE_RAD * sign[:, None] * weakest
    return q


def _descend(
    m: Model,
    q0: Floats,
    sliders: Sliders | None,
    hold_wrist: bool,
    contact: bool,
    gauge: Gauges | None,
    soften: float,
) -> _Found:
    """Newton steps down from q0; may end on a saddle, and says so."""
    first = 1 if hold_wrist else 0
    rows, model, part = np.arange(len(q0)), m, sliders
    at, field = q0.copy(), evaluate(m, q0, sliders, contact=contact, gauge=gauge, soften=soften)
    now = _Local(field.energy, field.gradient, field.hessian, field.cord_over_mm, field.cord_arms)
    out = _Found(
        at.copy(),
        np.zeros(len(at), dtype=bool),
        np.ones(len(at), dtype=bool),
        field.hessian.copy(),
        field.cord_over_mm.copy(),
        0,
    )

    def close(some: NDArray[np.bool_]) -> None:
        ended, left = rows[some], np.abs(now.gradient[some, first:]).max(-1)
        out.q[ended], out.hessian[ended], out.over_mm[ended] = at[some], now.hessian[some], now.over_mm[some]
        out.converged[ended] = left < 100 * TOLERANCE_NMM
        _, out.stable[ended] = solve_systems(now.hessian[some][:, first:, first:], now.gradient[some, first:])

    take = np.abs(now.gradient[:, first:]).max(-1) < TOLERANCE_NMM
    if take.all():
        close(take)
        return out
    step = _step(model, at, now, hold_wrist)
    scale = np.ones(len(at))
    for out.steps in range(1, MOST_STEPS + 1):
        trial = at + scale[:, None] * step
        field = evaluate(model, trial, part, contact=contact, gauge=gauge, soften=soften)
        promised = scale * (now.gradient * step).sum(-1)
        stuck = scale < 1e-6
        take = stuck | (field.energy <= now.energy + 1e-4 * promised + 1e-11 * (1.0 + np.abs(now.energy)))
        at[take] = trial[take]
        now.put(take, field)
        done = take & ((np.abs(now.gradient[:, first:]).max(-1) < TOLERANCE_NMM) | stuck)
        if done.all() or done.sum() > SHED_SHARE * len(rows):
            close(done)
            keep = ~done
            if not keep.any():
                return out
            rows, at, step, scale, take = rows[keep], at[keep], step[keep], scale[keep], take[keep]
            now = now.rows(keep)
            model, part = model.take(keep), part.take(keep) if part is not None else None
        if take.all():
            step = _step(model, at, now, hold_wrist)
        elif take.any():
            step[take] = _step(model, at[take], now.rows(take), hold_wrist)
        scale = np.where(take, 1.0, scale * 0.35)
    close(np.ones(len(rows), dtype=bool))
    return out


@dataclass(slots=True, eq=False)
class _Local:
    """What the next step is built from, for the rows still moving."""

    energy: Floats
    gradient: Floats
    hessian: Floats
    over_mm: Floats
    arms: Floats

    def rows(self, keep: NDArray[np.bool_]) -> _Local:
        return _Local(
            self.energy[keep], self.gradient[keep], self.hessian[keep], self.over_mm[keep], self.arms[keep]
        )

    def put(self, take: NDArray[np.bool_], f: Field) -> None:
        if take.all():
            self.energy, self.gradient, self.hessian = f.energy, f.gradient, f.hessian
            self.over_mm, self.arms = f.cord_over_mm, f.cord_arms
            return
        self.energy[take], self.gradient[take], self.hessian[take] = (
            f.energy[take],
            f.gradient[take],
            f.hessian[take],
        )
        self.over_mm[take], self.arms[take] = f.cord_over_mm[take], f.cord_arms[take]


def _step(m: Model, q: Floats, now: _Local, hold_wrist: bool) -> Floats:
    """Newton step that stops where a cord comes taut or goes slack, and at a digit's stops.

    Beyond such a kink the Hessian is another one; a step that ends there is never turned back.
    """
    step = _newton(now.gradient, now.hessian, hold_wrist)
    _stop_at_stops(m, q, now, step, hold_wrist)
    rate = (now.arms @ step[..., None])[..., 0]
    crosses = (np.abs(now.over_mm) > KINK_MM) & (now.over_mm * (now.over_mm + rate) < 0.0)
    safe = np.where(crosses, rate, 1.0)
    reach = np.where(crosses, (np.abs(now.over_mm) + KINK_MM / 4) / np.abs(safe), 1.0)
    step *= np.minimum(reach.min(-1), 1.0)[:, None]
    return step


def _stop_at_stops(m: Model, q: Floats, now: _Local, step: Floats, hold_wrist: bool) -> None:
    """Where a digit would run through a stop, end its move there and solve anew for the others."""
    low, high = m.hinge_low_rad.reshape(-1), m.hinge_high_rad.reshape(-1)
    phi = q[:, 2:]
    target = np.full_like(q, np.nan)
    for _ in range(2):
        move = step[:, 2:]
        under = (phi > low + KINK_RAD) & (phi + move < low - KINK_RAD)
        above = (phi < high - KINK_RAD) & (phi + move > high + KINK_RAD)
        new = (under | above) & np.isnan(target[:, 2:])
        rows = np.flatnonzero(new.any(-1))
        if not len(rows):
            return
        target[:, 2:] = np.where(
            new, np.where(under, low - KINK_RAD / 4, high + KINK_RAD / 4) - phi, target[:, 2:]
        )
        fixed = ~np.isnan(target[rows])
        given = np.where(fixed, target[rows], 0.0)
        h, g = now.hessian[rows], now.gradient[rows]
        right = np.where(fixed, given, -(g + (h @ given[..., None])[..., 0]))
        h = np.where(fixed[:, :, None] | fixed[:, None, :], 0.0, h)
        np.einsum("nii->ni", h)[fixed] = 1.0
        first = 1 if hold_wrist else 0
        try:
            again = np.linalg.solve(h[:, first:, first:], right[:, first:, None])[..., 0]
        except np.linalg.LinAlgError:
            return
        good = (g[:, first:] * again).sum(-1) < 0.0
        step[rows[good], first:] = again[good]
        cap = np.minimum(1.0, STEP_RAD / np.maximum(np.abs(step[rows]).max(-1, keepdims=True), 1e-300))
        step[rows] *= cap


def _newton(gradient: Floats, hessian: Floats, hold_wrist: bool) -> Floats:
    """Descent steps (n, size) with caps; where a Hessian is not positive definite its eigenvalues are."""
    first = 1 if hold_wrist else 0
    g, h = gradient[:, first:], hessian[:, first:, first:]
    step, good = solve_systems(h, -g)
    bad = np.flatnonzero(~good & (np.abs(g).max(-1) > 0.0))
    if len(bad):
        values, vectors = np.linalg.eigh(h[bad])
        values = np.maximum(np.abs(values), 1e-3)
        step[bad] = -np.einsum("nij,nj->ni", vectors, np.einsum("nji,nj->ni", vectors, g[bad]) / values)
    if not hold_wrist:
        step *= np.minimum(1.0, STEP_THETA_RAD / np.maximum(np.abs(step[:, :1]), 1e-300))
    step *= np.minimum(1.0, STEP_RAD / np.maximum(np.abs(step).max(-1, keepdims=True), 1e-300))
    whole: Floats = np.zeros_like(gradient)
    whole[:, first:] = step
    return whole


def solve_systems(h: Floats, right: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Solutions of h x = right, and which h are positive definite; where one is not, x means nothing.

    A few systems go to LAPACK one by one; many go through one factorisation L D L' across the batch.

    Parameters: h : (n, k, k) float, symmetric; right : (n, k) float.
    Returns: x : (n, k) float, positive definite : (n,) bool. The inputs stay as they are.
    Source: square-root-free Cholesky factorisation.
    Checked by: properties/test_mechanics.py
    """
    n, size = right.shape
    if n < MANY:
        try:
            np.linalg.cholesky(h)
            found: Floats = np.asarray(np.linalg.solve(h, right[..., None])[..., 0], dtype=np.float64)
            return found, np.ones(n, dtype=bool)
        except np.linalg.LinAlgError:
            pass
    a = np.array(h.transpose(1, 2, 0), order="C")  # always a copy: it is worked on in place
    x = np.array(right.T, order="C")
    good = np.ones(n, dtype=bool)
    for k in range(size):
        pivot = a[k, k]
        good &= pivot > 0.0
        pivot = np.where(pivot > 0.0, pivot, 1.0)
        below = np.where(good, a[k + 1 :, k] / pivot, 0.0)  # a failed system is left alone
        for i in range(size - k - 1):
            a[k + 1 + i, k + 1 :] -= below[i] * a[k, k + 1 :]
        x[k + 1 :] -= below * x[k]
        x[k] /= pivot
        a[k, k + 1 :] = np.where(good, a[k, k + 1 :] / pivot, 0.0)
    for k in range(size - 2, -1, -1):
        x[k] -= np.einsum("in,in->n", a[k, k + 1 :], x[k + 1 :])
    return x.T.copy(), good
