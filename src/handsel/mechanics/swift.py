"""Thousands of hands a second: rest angles and closing of a hand from its digits' own curves.

The engine of `equilibrium` solves everything at once and is the measure; this one uses that digits are
coupled only through their cords, and cords only through the bar and the wrist. At each wrist angle one
number per hand is left to find, the bar's tilt. Contact between pads is left out: up to the first pinch
there is none. How far the two differ is measured in unit/test_swift.py and taken as noise by whoever uses it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.loop_curves import LoopCurve
from handsel.mechanics.model import Model
from handsel.mechanics.paths import wrist_length

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

TILTS = 3  # leg lengths by tilt: a parabola through so many
HALVINGS = 11
LEAST_NMM = 0.5  # cords carry something
SLACK_PULL = 1.0e-4  # [N/mm] a slack loop's share in the bar's balance: it leaves it to friction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cords:
    """n hands' cords as curves, and where their legs run. `free_mm` : (n, d) leg beyond which it is taut."""

    model: Model  # wrist legs, weights and stops
    free_mm: Floats
    curves: tuple[LoopCurve, ...]  # in the order of the cords
    legs: tuple[tuple[int, ...], ...]  # digits of each cord
    bar: tuple[int, int]  # the two cords on the bar
    bar_friction_nmm: Floats  # (n,)
    bar_locked: Flags  # (n,)
    locked_tilt_rad: Floats  # (n,) where a jammed one is stuck


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Hands with the wrist held; n hands, c cords, d digits.

    tilt_rad : (n,); demand_mm : (n, c) cord asked for, negative when slack; pull_n : (n, c) all legs;
    torque_nmm : (n,) of the cords on the wrist, lifting; travel_mm : (n, d).
    """

    tilt_rad: Floats
    demand_mm: Floats
    pull_n: Floats
    torque_nmm: Floats
    travel_mm: Floats


def state_at(c: Cords, theta_rad: Floats, tilt_before_rad: Floats) -> State:
    """Where bar and cords stand at a wrist angle, the bar coming from a tilt.

    Parameters: c; theta_rad, tilt_before_rad : (n,) float [rad].
    Returns: State.
    Raises: nothing of its own.
    Valid for: up to the first pinch.
    Source: balance of moments on the bar within its friction; each cord's curve.
    Checked by: unit/test_swift.py
    """
    m = c.model
    n, d = c.free_mm.shape
    reach = np.maximum(m.bar_limit_rad, 1e-6)
    length = np.empty((TILTS, n, d))
    arm = np.empty((TILTS, n, d))
    for k, share in enumerate((-1.0, 0.0, 1.0)):
        span = wrist_length(m.wrist, theta_rad, share * reach)
        length[k], arm[k] = span.length, span.by_theta
    over = length - c.free_mm
    sums = np.stack([over[..., list(legs)].sum(-1) for legs in c.legs], -1)  # (3, n, c)
    flat, slope, curve = sums[1], 0.5 * (sums[2] - sums[0]), 0.5 * (sums[2] + sums[0]) - sums[1]
    a, b = c.bar

    def load(cord: int, x: Floats) -> Floats:
        f, s, k = flat[:, cord, None], slope[:, cord, None], curve[:, cord, None]
        demand = f + x * (s + x * k)
        pull = np.where(demand < 0.0, SLACK_PULL * demand, c.curves[cord].pull(demand))
        return np.asarray(pull * (s + 2.0 * x * k) / (reach * len(c.legs[cord]))[:, None])

    # Tilt shares at which the moments cancel with friction one way and the other: they rise with the tilt.
    extra = c.bar_friction_nmm[:, None] * np.array([1.0, -1.0])
    low, high = -np.ones((n, 2)), np.ones((n, 2))
    for _ in range(HALVINGS):
        x = 0.5 * (low + high)
        over_turned = load(a, x) + load(b, x) + extra > 0.0
        high = np.where(over_turned, x, high)
        low = np.where(over_turned, low, x)
    lower, upper = (0.5 * (low + high)).T
    x = np.clip(tilt_before_rad / reach, lower, upper)
    x = np.where(c.bar_locked, np.clip(c.locked_tilt_rad / reach, -1.0, 1.0), x)
    demand = flat + x[:, None] * (slope + x[:, None] * curve)
    pull, travel = np.empty_like(demand), np.zeros((n, d))
    torque = np.zeros(n)
    arms = arm[1] + x[:, None] * (0.5 * (arm[2] - arm[0]) + x[:, None] * (0.5 * (arm[2] + arm[0]) - arm[1]))
    for k, legs in enumerate(c.legs):
        pull[:, k], moved = c.curves[k].at(demand[:, k])
        travel[:, list(legs)] = c.curves[k].split(moved)
        torque -= pull[:, k] * arms[:, list(legs)].mean(-1)
    return State(tilt_rad=x * reach, demand_mm=demand, pull_n=pull, torque_nmm=torque, travel_mm=travel)


def weight_torque(m: Model, theta_rad: Floats) -> Floats:
    """The cuff's weight about the wrist, lowering it; (n,) [N mm].

    Source: derivative of the cuff's potential by the wrist angle.
    """
    return np.asarray(m.cuff_weight[:, 1] * np.cos(theta_rad) - m.cuff_weight[:, 0] * np.sin(theta_rad))


def first_hold(
    c: Cords,
    theta_rad: Floats,
    tilt_rad: Floats,
    friction_nmm: Floats,
    *,
    carried: bool,
    halvings: int = 9,
    states: list[State] | None = None,
) -> tuple[Floats, State]:
    """Along wrist angles, where the cords begin to carry the cuff, or cease to.

    Parameters: c; theta_rad : (k, n) float [rad], in the order in which they are passed; tilt_rad : (n,)
        float [rad], before; friction_nmm : (n,) float [N mm], what the cords must carry besides the weight;
        negative where friction helps; carried, whether the cords are expected to carry at first; states, at
        those angles, where they are known already.
    Returns: theta : (n,) float [rad] where that changes, and the State there. Where it never changes, the
        last angle; where it is otherwise from the start, the first.
    Source: bisection between the two steps.
    """
    n = len(tilt_rad)

    def carries(s: State, theta: Floats) -> Flags:
        need = np.maximum(weight_torque(c.model, theta) + friction_nmm, LEAST_NMM)
        return np.asarray(s.torque_nmm >= need)

    found = np.zeros(n, dtype=bool)
    low, high = theta_rad[0].copy(), theta_rad[0].copy()
    before = tilt_rad.copy()
    tilt = tilt_rad.copy()
    for k, theta in enumerate(theta_rad):
        s = state_at(c, theta, tilt) if states is None else states[k]
        now = carries(s, theta)
        new = ~found & (now != carried)
        low = np.where(new, theta_rad[max(k - 1, 0)], low)
        high = np.where(new, theta, np.where(found, high, theta))
        before = np.where(found | new, before, s.tilt_rad)
        found |= new
        tilt = s.tilt_rad
        if found.all():
            break
    low = np.where(found, low, high)
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        s = state_at(c, middle, before)
        same = carries(s, middle) == carried
        low = np.where(same, middle, low)
        high = np.where(same, high, middle)
    return high, state_at(c, high, before)
