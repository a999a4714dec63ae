"""What a person does with a hand, done slowly in MuJoCo: let down, worked and let go, closed and opened.

The cuff is held by an equality constraint on the wrist whose torque is the torque of the holding hand.
Letting go happens when that torque passes through nothing, so the cuff leaves the hand at its rest and
does not fall into it: whichever of several rests the approach leads to is the one that is found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import degrees, radians
from time import perf_counter

import numpy as np
from numpy.typing import NDArray
from referee import Hand, Pose

Floats = NDArray[np.float64]

NEAR_MM = 1.0
MOVED_DEG = 3.0  # of a digit, both joints together: it has left its stop under the press
PRESS_TO_DEG = -60.0  # as far down as a cuff is pressed


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """How slowly: chosen by the sweep in benchmarks/."""

    free_deg_s: float = 120.0  # while every cord is slack by NEAR_MM or more
    slow_deg_s: float = 20.0
    release_deg_s: float = 20.0  # while letting go: with friction, what is overrun stays overrun
    lift_deg: float = 0.0  # let down from here or higher: from well above, a tight pin may not let go
    chunk_s: float = 0.01  # between looks at the state
    still_rad_s: float = 1e-3  # settled: no joint faster,
    still_deg: float = 1e-3  # and the wrist moved less than this over the last window
    window_s: float = 0.1
    patience_s: float = 10.0  # longest wait for stillness


WITH_FRICTION = Drive(release_deg_s=0.5, lift_deg=60.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rest:
    """Where the cuff came to rest, and how much that is worth."""

    angle_deg: float
    tilt_deg: float
    digits_deg: Floats  # (d, 2)
    tension_n: Floats  # (c,)
    contacts: tuple[tuple[str, str], ...]
    creep_deg: float  # wrist travel over the last window
    imbalance_deg: float  # distance to the stationary point of the energy; nan with friction
    settled: bool
    held: bool  # no cord pulls: the wrist pin alone carries the cuff
    pressed_to_deg: float  # lowest angle before letting go; nan when only let down
    time_s: float  # in the model
    wall_s: float
    pose: Pose


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """States along the held wrist, in the order visited; k states."""

    theta_deg: Floats  # (k,)
    tilt_deg: Floats  # (k,)
    digits_deg: Floats  # (k, d, 2)
    tension_n: Floats  # (k, c)
    holding_nmm: Floats  # (k,)
    contacts: tuple[tuple[tuple[str, str], ...], ...]  # per state
    speed_rad_s: Floats  # (k,) of the fastest joint when recorded: how settled it was
    closing: NDArray[np.bool_]  # (k,) on the way down
    wall_s: float


def rest_lowered(hand: Hand, *, drive: Drive | None = None, check: bool = True) -> Rest:
    """Cuff lifted until every cord is slack, then let down slowly and released when it carries itself."""
    drive, began = drive or Drive(), perf_counter()
    start = max(slack_angle_deg(hand), drive.lift_deg)
    hand.set_pose(straight(hand, start))
    gentle = replace(drive, slow_deg_s=drive.release_deg_s)
    if not _pin_carries(hand, gentle, start):
        _move_until(hand, gentle, to_deg=PRESS_TO_DEG, done=lambda: hand.holding_nmm() <= 0.0)
    return _release(hand, drive, began, float("nan"), check)


def _pin_carries(hand: Hand, gentle: Drive, start_deg: float) -> bool:
    """Whether the cuff, moved down a little, has to be pushed: then the wrist pin alone carries it."""
    if hand.model.dof_frictionloss[hand.wrist] == 0.0:
        return False
    _move_until(
        hand, replace(gentle, free_deg_s=gentle.slow_deg_s), to_deg=start_deg - 1.0, done=lambda: False
    )
    return hand.holding_nmm() <= 0.0


def rest_worked(hand: Hand, *, drive: Drive | None = None, check: bool = True) -> Rest:
    """Cuff pressed down until all cords are taut and all digits have moved, then let go slowly."""
    drive, began = drive or Drive(), perf_counter()
    hand.set_pose(straight(hand, slack_angle_deg(hand)))
    _move_until(hand, drive, to_deg=PRESS_TO_DEG, done=lambda: all_moved(hand))
    pressed = hand.theta_deg
    highest = degrees(hand.model.jnt_range[hand.wrist, 1])
    gentle = replace(drive, slow_deg_s=drive.release_deg_s)
    _move_until(hand, gentle, to_deg=highest, done=lambda: hand.holding_nmm() >= 0.0)
    return _release(hand, drive, began, pressed, check)


def closing_path(
    hand: Hand,
    *,
    start_deg: float,
    to_deg: float = PRESS_TO_DEG,
    step_deg: float = 2.0,
    drive: Drive | None = None,
) -> Path:
    """From the hand's present state: wrist held at steps down to `to_deg` and back up to `start_deg`."""
    down = np.linspace(start_deg, to_deg, max(2, round((start_deg - to_deg) / step_deg) + 1))
    return walk(hand, np.concatenate([down, down[-2::-1]]), drive=drive)


def walk(hand: Hand, stops_deg: Floats, *, drive: Drive | None = None) -> Path:
    """From the hand's present state: the held wrist is taken to each angle in turn and read when still."""
    drive, began = drive or Drive(), perf_counter()
    rows = [_stop_at(hand, drive, float(theta)) for theta in stops_deg]
    return Path(
        theta_deg=np.array([r[0] for r in rows]),
        tilt_deg=np.array([r[1] for r in rows]),
        digits_deg=np.array([r[2] for r in rows]),
        tension_n=np.array([r[3] for r in rows]),
        holding_nmm=np.array([r[4] for r in rows]),
        contacts=tuple(r[5] for r in rows),
        speed_rad_s=np.array([r[6] for r in rows]),
        closing=np.arange(len(rows)) <= int(np.argmin(stops_deg)),
        wall_s=perf_counter() - began,
    )


def straight(hand: Hand, theta_deg: float) -> Pose:
    return Pose(theta_rad=radians(theta_deg), psi_rad=0.0, phi_rad=np.zeros_like(hand.phi, dtype=float))


def slack_angle_deg(hand: Hand, clear_mm: float = 1.0) -> float:
    """A wrist angle, digits straight, at which every cord is slack by `clear_mm` at least.

    The highest angle the wrist reaches when there is none.
    """
    highest = degrees(hand.model.jnt_range[hand.wrist, 1])
    for theta in np.arange(hand.design.target_rest_angle_deg - 20.0, highest, 2.0):
        over = hand.lengths_at(straight(hand, float(theta)))[hand.cords] - hand.cord_length_m
        if np.all(over * 1e3 < -clear_mm):
            return float(theta)
    return highest


def all_moved(hand: Hand) -> bool:
    """Every cord pulls and every digit has left its stop."""
    return bool(np.all(hand.tensions_n() > 0.0) and np.all(hand.digits_deg.sum(axis=1) > MOVED_DEG))


def _move_until(hand: Hand, drive: Drive, *, to_deg: float, done: Callable[[], bool]) -> None:
    """Carry the held cuff toward `to_deg`, fast while all cords are slack, until a cord pulls and `done`."""
    dt = hand.tuning.timestep_s
    chunk = max(1, round(drive.chunk_s / dt))
    theta, way = hand.theta_deg, 1.0 if to_deg > hand.theta_deg else -1.0
    hand.grip(theta)
    hand.advance(chunk)
    was_free = False
    while (to_deg - theta) * way > 0.0:
        slack_mm = hand.slack_mm()
        free = slack_mm > NEAR_MM
        if was_free and not free:  # the cuff runs a little behind the hand that moves it: stop there first
            theta = hand.theta_deg
            hand.grip(theta)
            hand.advance(2 * chunk)
        was_free = free
        speed = way * (drive.free_deg_s if free else drive.slow_deg_s)
        some = min(chunk, max(1, round((to_deg - theta) / (speed * dt))))
        hand.advance(some, wrist_deg_s=speed)
        theta += speed * some * dt
        if slack_mm < 0.0 and done():
            return


def _release(hand: Hand, drive: Drive, began: float, pressed_deg: float, check: bool) -> Rest:
    hand.let_go()
    creep, settled = settle(hand, drive)
    wall = perf_counter() - began
    pose, contacts, tension = hand.pose(), tuple(hand.contacts_n()), hand.tensions_n()
    return Rest(
        angle_deg=degrees(pose.theta_rad),
        tilt_deg=degrees(pose.psi_rad),
        digits_deg=np.degrees(pose.phi_rad),
        tension_n=tension,
        contacts=contacts,
        creep_deg=creep,
        settled=settled,
        held=bool(np.all(tension <= 0.0)),
        imbalance_deg=hand.imbalance_deg() if check else float("nan"),
        pressed_to_deg=pressed_deg,
        time_s=float(hand.data.time),
        wall_s=wall,
        pose=pose,
    )


def settle(hand: Hand, drive: Drive) -> tuple[float, bool]:
    """Wait until nothing moves; wrist travel over the last window [deg], and whether it became still."""
    steps = max(1, round(drive.window_s / hand.tuning.timestep_s))
    creep = float("inf")
    for _ in range(max(1, round(drive.patience_s / drive.window_s))):
        before = hand.theta_deg
        hand.advance(steps)
        creep = abs(hand.theta_deg - before)
        if creep < drive.still_deg and np.abs(hand.data.qvel).max() < drive.still_rad_s:
            return creep, True
    return creep, False


Row = tuple[float, float, Floats, Floats, float, tuple[tuple[str, str], ...], float]


def _stop_at(hand: Hand, drive: Drive, theta_deg: float) -> Row:
    """Carry the held cuff to one angle, wait until the digits are still, and read everything."""
    _move_until(hand, drive, to_deg=theta_deg, done=lambda: False)
    hand.grip(theta_deg)
    settle(hand, drive)
    speed = float(np.abs(hand.data.qvel).max())
    return (
        hand.theta_deg,
        degrees(hand.data.qpos[hand.bar]),
        hand.digits_deg,
        hand.tensions_n(),
        hand.holding_nmm(),
        tuple(hand.contacts_n()),
        speed,
    )
