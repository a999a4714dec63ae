"""Engine and referee on the same hand: rest angles and closing paths, side by side.

A case may be left out only for a reason found in the referee itself: it did not come to rest, or where it
came to rest depends on how slowly the hand was driven, or on 2 % of the cuff's mass. That the engine differs,
or did not converge, is never a reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees, radians
from time import perf_counter

import numpy as np
from numpy.typing import NDArray
from referee import Hand, Pose, moment_arms, path_lengths
from referee_motion import PRESS_TO_DEG, Drive, Rest, rest_lowered, rest_worked, settle, straight, walk

from handsel.design.model import Design, Gauge
from handsel.mechanics import rest as engine
from handsel.mechanics.build import Build
from handsel.mechanics.closing import closing_path as engine_closing
from handsel.mechanics.closing import opening_path as engine_opening
from handsel.mechanics.grip import held_gauge
from handsel.mechanics.model import Model, compile_model
from handsel.mechanics.paths import crossing_length, wrist_length

Floats = NDArray[np.float64]

ANGLE_DEG = 0.05
DIGIT_DEG = 0.5
NUDGE_DEG = 0.02  # a pose that the referee is put in is disturbed by this much: a saddle does not survive it
CAREFUL = Drive(release_deg_s=2.0, still_rad_s=1e-4, still_deg=1e-4)
EDGE_RATIO = 0.02  # a cuff this much lighter or heavier is the same cuff to anyone who weighs it
SLOWER = Drive(slow_deg_s=5.0, release_deg_s=0.5, free_deg_s=60.0, still_rad_s=1e-5, still_deg=1e-5)
TAUT_N = 0.02
STILL_RAD_S = 0.01  # faster than this after all the patience: not a state

APPROACHES = {
    "lowered": (rest_lowered, engine.rest_lowered),
    "worked": (rest_worked, engine.rest_worked),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestRow:
    """One hand, one approach."""

    name: str
    approach: str
    ours_deg: float
    referee_deg: float
    converged: bool  # as the engine says
    tilt_difference_deg: float
    tension_difference_n: float
    bar_determined: bool  # both loops pull, so the bar's tilt is not a matter of chance
    referee_digits_deg: Floats
    imbalance_deg: float
    wall_ms: float  # of the referee
    excluded: str  # reason, or empty
    note: str

    @property
    def difference_deg(self) -> float:
        return self.ours_deg - self.referee_deg

    @property
    def agrees(self) -> bool:
        return abs(self.difference_deg) < ANGLE_DEG


def compare_rests(design: Design, build: Build, *, name: str) -> list[RestRow]:
    """Lowered and worked rest of one frictionless hand."""
    model = compile_model(design, build)
    rows = []
    for approach, (drive_down, solve) in APPROACHES.items():
        hand = Hand(design, build)
        found, ours = drive_down(hand, drive=CAREFUL), solve(model, friction=False)
        rest = Pose(
            theta_rad=float(np.radians(ours.rest_angle_deg[0])),
            psi_rad=float(np.radians(ours.tilt_deg[0])),
            phi_rad=np.radians(ours.phi_deg[0]),
        )
        difference = abs(float(ours.rest_angle_deg[0]) - found.angle_deg)
        excluded = note = ""
        if not found.settled:
            excluded = f"the referee still moves {found.creep_deg:.1e} deg in {CAREFUL.window_s:g} s"
        elif not difference < ANGLE_DEG:
            excluded = _depends_on_speed(design, build, approach, found)
            excluded = excluded or _on_the_edge(design, build, approach, found)
            note = "" if excluded else _what_is_there(design, build, rest)
        rows.append(
            RestRow(
                name=name,
                approach=approach,
                ours_deg=float(ours.rest_angle_deg[0]),
                referee_deg=found.angle_deg,
                converged=bool(ours.converged[0]),
                tilt_difference_deg=abs(float(ours.tilt_deg[0]) - found.tilt_deg),
                tension_difference_n=float(np.abs(ours.cord_tension_n[0] - found.tension_n).max()),
                bar_determined=_loops_pull(design, found),
                referee_digits_deg=found.digits_deg,
                imbalance_deg=found.imbalance_deg,
                wall_ms=found.wall_s * 1e3,
                excluded=excluded,
                note=note,
            )
        )
    return rows


def _loops_pull(design: Design, rest: Rest) -> bool:
    loops = [k for k, cord in enumerate(design.cords) if len(cord.legs) == 2]
    return bool(np.all(rest.tension_n[loops] > TAUT_N))


def _depends_on_speed(design: Design, build: Build, approach: str, found: Rest) -> str:
    """The reason to leave a case out, if the referee contradicts itself when driven more slowly."""
    again = APPROACHES[approach][0](Hand(design, build), drive=SLOWER)
    if abs(again.angle_deg - found.angle_deg) < ANGLE_DEG:
        return ""
    return (
        f"the referee rests at {found.angle_deg:.2f} deg, but at {again.angle_deg:.2f} deg when driven at"
        f" {SLOWER.release_deg_s:g} instead of {CAREFUL.release_deg_s:g} deg/s"
    )


def _on_the_edge(design: Design, build: Build, approach: str, found: Rest) -> str:
    """The reason to leave a case out, if the referee rests elsewhere once the cuff weighs a little else."""
    for ratio in (1 - EDGE_RATIO, 1 + EDGE_RATIO):
        near = replace(build, cuff_mass_ratio=build.cuff_mass_ratio * ratio)
        again = APPROACHES[approach][0](Hand(design, near), drive=CAREFUL)
        if abs(again.angle_deg - found.angle_deg) > 1.0:
            return (
                f"the referee rests at {found.angle_deg:.2f} deg, but at {again.angle_deg:.2f} deg with"
                f" {ratio:g} of the cuff's mass"
            )
    return ""


def _what_is_there(design: Design, build: Build, pose: Pose) -> str:
    """Whether the engine's pose is a rest in the referee too, let go there."""
    hand = Hand(design, build)
    hand.set_pose(pose)
    settle(hand, CAREFUL)
    moved = hand.theta_deg - float(np.degrees(pose.theta_rad))
    if abs(moved) < ANGLE_DEG:
        return "the referee rests there too when put there: another branch"
    return f"put there, the referee moves by {moved:+.2f} deg"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesRow:
    """Largest differences of lengths [mm] and moment arms [mm/rad] over random poses."""

    cord_mm: float
    elastic_mm: float
    cord_arm_mm: float
    elastic_arm_mm: float

    @property
    def worst(self) -> float:
        return max(self.cord_mm, self.elastic_mm, self.cord_arm_mm, self.elastic_arm_mm)


def random_poses(design: Design, count: int, seed: int) -> list[Pose]:
    """All over the range of every joint."""
    random = np.random.default_rng(seed)
    wrist, bar = design.hinge("wrist"), design.hinge("whippletree")
    joints = [[design.hinge(d.proximal_hinge), design.hinge(d.tip_hinge)] for d in design.digits]
    low = np.radians([[h.min_deg for h in pair] for pair in joints])
    high = np.radians([[h.max_deg for h in pair] for pair in joints])
    return [
        Pose(
            theta_rad=radians(random.uniform(wrist.min_deg, wrist.max_deg)),
            psi_rad=radians(random.uniform(bar.min_deg, bar.max_deg)),
            phi_rad=random.uniform(low, high),
        )
        for _ in range(count)
    ]


def engine_lines(m: Model, pose: Pose) -> tuple[Floats, Floats, Floats, Floats]:
    """Stretch of cords (c,) and elastics (d,) [mm], slopes (c, 2 + 2d) and (d, 2 + 2d) [mm/rad]."""
    phi = pose.phi_rad[None]
    d = phi.shape[1]
    span = wrist_length(m.wrist, np.array([pose.theta_rad]), np.array([pose.psi_rad]))
    flexor, extensor = crossing_length(m.flexor, phi), crossing_length(m.extensor, phi)
    leg = (span.length + flexor.length.sum(-1))[0]
    arms = np.zeros((2, d, 2 + 2 * d))
    arms[0, :, 0], arms[0, :, 1] = span.by_theta[0], span.by_psi[0]
    for k, line in enumerate((flexor, extensor)):
        for digit in range(d):
            arms[k, digit, 2 + 2 * digit : 4 + 2 * digit] = line.slope[0, digit]
    cords = range(m.cord_free_mm.shape[1])
    stretch = np.array([leg[m.cord_of_leg == c].sum() for c in cords]) - m.cord_free_mm[0]
    slopes = np.array([arms[0][m.cord_of_leg == c].sum(0) for c in cords])
    return stretch, extensor.length.sum(-1)[0] - m.elastic_free_mm[0], slopes, arms[1]


def compare_lines(design: Design, build: Build, poses: list[Pose]) -> LinesRow:
    """Lengths against cut and free length, which are path lengths themselves, and all their slopes."""
    hand, m = Hand(design, build), compile_model(design, build)
    worst = np.zeros(4)
    for pose in poses:
        cords, elastics = path_lengths(hand, pose)
        arms = moment_arms(hand, pose)
        theirs = (cords - hand.cord_length_m * 1e3, elastics - hand.elastic_free_m * 1e3, *arms)
        ours = engine_lines(m, pose)
        worst = np.maximum(worst, [np.abs(a - b).max() for a, b in zip(ours, theirs, strict=True)])
    return LinesRow(cord_mm=worst[0], elastic_mm=worst[1], cord_arm_mm=worst[2], elastic_arm_mm=worst[3])


VERDICTS = ("same", "shared", "branch", "unstable", "differs")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathRow:
    """One hand's held wrist, closing and opening; k states, each judged one way.

    same: every joint within `DIGIT_DEG`. shared: single fingers differ, but each loop's sum and the thumb
    agree. branch: they differ, and the referee stays in the engine's pose when put there and nudged, so it
    is a rest of its own; it goes on from there, so a snap that lands elsewhere counts once and what follows
    is compared on one branch. unstable: the referee leaves it, and the engine's own least stiffness is below
    zero, so it says itself that this is no rest. differs: none of these.
    """

    name: str
    theta_deg: Floats  # (k,)
    closing: NDArray[np.bool_]  # (k,)
    verdict: tuple[str, ...]  # (k,)
    worst_deg: Floats  # (k,) largest joint difference
    ours_deg: Floats  # (k, d, 2)
    referee_deg: Floats  # (k, d, 2)
    tension_difference_n: Floats  # (k,)
    our_contact_n: Floats  # (k,) sum of all contact forces
    referee_contact_n: Floats  # (k,)
    converged: bool
    wall_s: float
    excluded: str

    def count(self, verdict: str) -> int:
        return self.verdict.count(verdict)

    @property
    def touching(self) -> int:
        """States with something touching."""
        return int((self.referee_contact_n > 0.0).sum())


def compare_closing(
    design: Design, build: Build, *, name: str, gauge: Gauge | None = None, to_deg: float = PRESS_TO_DEG
) -> PathRow:
    """The engine's closing and opening path, state by state, at the same wrist angles in the referee."""
    model = compile_model(design, build)
    held = held_gauge(design, gauge) if gauge is not None else None
    down = engine_closing(model, friction=False, to_deg=to_deg, gauge=held)
    up = engine_opening(model, down, to_deg=float(down.wrist_deg[0, 0]), gauge=held)
    theta, tilt, ours, tension, stiffness, contact, good = (
        np.concatenate([getattr(p, part)[0] for p in (down, up)])
        for part in (
            "wrist_deg",
            "tilt_deg",
            "phi_deg",
            "cord_tension_n",
            "stiffness_nmm",
            "contact_n",
            "converged",
        )
    )
    hand, drive = Hand(design, build, gauge=gauge), Drive()
    hand.set_pose(straight(hand, float(theta[0])))
    theirs, tensions, verdicts, touch, slowest, began = [], [], [], [], 0.0, perf_counter()
    for k in range(len(theta)):
        state = walk(hand, theta[k : k + 1], drive=drive)
        theirs.append(state.digits_deg[0])
        tensions.append(state.tension_n[0])
        touch.append(sum(hand.contacts_n().values()))
        slowest = max(slowest, float(state.speed_rad_s[0]))
        pose = Pose(theta_rad=radians(theta[k]), psi_rad=radians(tilt[k]), phi_rad=np.radians(ours[k]))
        verdict = _judge(design, hand, pose, theirs[-1])
        verdicts.append("unstable" if verdict == "differs" and stiffness[k] < 0.0 else verdict)
    return PathRow(
        name=name,
        theta_deg=theta,
        closing=np.arange(len(theta)) < down.wrist_deg.shape[1],
        verdict=tuple(verdicts),
        worst_deg=np.abs(ours - theirs).max(axis=(1, 2)),
        ours_deg=ours,
        referee_deg=np.array(theirs),
        tension_difference_n=np.abs(tension - tensions).max(axis=1),
        our_contact_n=contact.sum(axis=-1),
        referee_contact_n=np.array(touch),
        converged=bool(good.all()),
        wall_s=perf_counter() - began,
        excluded=f"the referee still moves at {slowest:.1e} rad/s" if slowest > STILL_RAD_S else "",
    )


def _judge(design: Design, hand: Hand, ours: Pose, theirs_deg: Floats) -> str:
    """The verdict on one state; on another branch the referee is left in the engine's pose."""
    ours_deg = np.degrees(ours.phi_rad)
    if np.abs(ours_deg - theirs_deg).max() < DIGIT_DEG:
        return "same"
    if _loops_agree(design, ours_deg, theirs_deg):
        return "shared"
    return "branch" if stays(hand, ours) else "differs"


def _loops_agree(design: Design, ours: Floats, theirs: Floats) -> bool:
    """Sum over each cord's digits of all their bend, per digit, within the tolerance."""
    names = [d.name for d in design.digits]
    for cord in design.cords:
        own = [names.index(leg.digit) for leg in cord.legs]
        if abs(ours[own].sum() - theirs[own].sum()) / len(own) >= DIGIT_DEG:
            return False
    return True


def stays(hand: Hand, pose: Pose) -> bool:
    """Whether the referee, wrist held, returns to the pose after a nudge of every digit joint."""
    signs = np.random.default_rng(0).choice([-1.0, 1.0], pose.phi_rad.shape)
    nudged = pose.phi_rad + radians(NUDGE_DEG) * signs
    hand.set_pose(Pose(theta_rad=pose.theta_rad, psi_rad=pose.psi_rad, phi_rad=nudged))
    hand.grip(degrees(pose.theta_rad))
    settle(hand, CAREFUL)
    return bool(np.abs(hand.digits_deg - np.degrees(pose.phi_rad)).max() < DIGIT_DEG)
