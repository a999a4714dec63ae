"""How fast can MuJoCo find the two rests of a hand and stay within the tolerance?

    python benchmarks/mechanics_referee_sweep.py [--hands 6] [--seed 11]

The mechanics benchmark compares the engine with MuJoCo at its fastest fair setting. This script finds that
setting: a grid over time step, limit time constant, joint damping and driving speed, on a few random hands,
each result held against the same hands driven very slowly at a small time step. A setting passes when every
worked and every lowered rest angle is within 0.05 degrees and settled. The winner is then tried on fresh
hands. Time is processor time of one core, without building the models.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from dataclasses import dataclass
from pathlib import Path
from time import process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from referee import Hand, Tuning
from referee_motion import Drive, rest_lowered, rest_worked
from referee_sample import referee_variations

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.mechanics.build import Build

TOLERANCE_DEG = 0.05
SLOW_TUNING = Tuning(timestep_s=0.0005, limit_time_s=0.002)
SLOW_DRIVE = Drive(slow_deg_s=4.0, still_rad_s=1e-5, still_deg=1e-5, window_s=0.2)

TIMESTEPS_S = (0.001, 0.002, 0.004, 0.008, 0.012)
LIMIT_STEPS = (2.0, 4.0)  # limit time constant in time steps
DIGIT_DAMPING_NMS = (0.7e-3, 1.5e-3, 3e-3)
WRIST_DAMPING_NMS = (0.01, 0.03)
SLOW_DEG_S = (20.0, 60.0, 180.0)

Hands = list[tuple[Design, Build]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    tuning: Tuning
    drive: Drive
    error_deg: float  # worst over hands and both rests
    settled: bool
    lowered_ms: float  # mean processor time per rest
    worked_ms: float
    steps: float  # mean per rest

    @property
    def passes(self) -> bool:
        return self.settled and self.error_deg <= TOLERANCE_DEG

    def row(self) -> str:
        t = self.tuning
        return (
            f"{t.timestep_s * 1e3:6.1f} {t.limit_time_s * 1e3:7.1f} {t.digit_damping_nms * 1e3:7.2f}"
            f" {t.wrist_damping_nms * 1e3:7.1f} {self.drive.slow_deg_s:7.0f} {self.error_deg:10.4f}"
            f" {'yes' if self.settled else 'no':>7} {self.steps:7.0f}"
            f" {self.lowered_ms:9.2f} {self.worked_ms:9.2f}"
            f" {'pass' if self.passes else 'fail':>5}"
        )


HEAD = (
    "  step   limit   digit   wrist   drive      worst settled   steps   lowered    worked\n"
    "    ms      ms damping damping   deg/s  error deg         per rest        ms        ms"
)


def rests(hands: Hands, tuning: Tuning, drive: Drive) -> tuple[np.ndarray, bool, float, float, float]:
    """(hands, 2) lowered and worked angle [deg], all settled, mean times [ms], mean steps."""
    angles, settled, times, steps = [], True, [0.0, 0.0], 0
    for design, build in hands:
        hand = Hand(design, build, tuning=tuning)
        row = []
        for k, approach in enumerate((rest_lowered, rest_worked)):
            began = process_time()
            rest = approach(hand, drive=drive, check=False)
            times[k] += process_time() - began
            settled &= rest.settled
            row.append(rest.angle_deg)
        steps += hand.steps
        angles.append(row)
    n = len(hands)
    return np.array(angles), settled, times[0] / n * 1e3, times[1] / n * 1e3, steps / (2 * n)


def trial(hands: Hands, reference: np.ndarray, tuning: Tuning, drive: Drive) -> Outcome:
    angles, settled, lowered, worked, steps = rests(hands, tuning, drive)
    error = np.abs(angles - reference)
    return Outcome(
        tuning=tuning,
        drive=drive,
        error_deg=float(np.nan_to_num(error, nan=999.0).max()),
        settled=settled,
        lowered_ms=lowered,
        worked_ms=worked,
        steps=steps,
    )


def grid() -> list[tuple[Tuning, Drive]]:
    found = []
    for dt, limit, digit, wrist, speed in itertools.product(
        TIMESTEPS_S, LIMIT_STEPS, DIGIT_DAMPING_NMS, WRIST_DAMPING_NMS, SLOW_DEG_S
    ):
        tuning = Tuning(
            timestep_s=dt, limit_time_s=limit * dt, digit_damping_nms=digit, wrist_damping_nms=wrist
        )
        found.append(
            (tuning, Drive(slow_deg_s=speed, free_deg_s=max(120.0, speed), chunk_s=max(0.01, 2 * dt)))
        )
    return found


def sample(count: int, seed: int) -> Hands:
    design = load_design("linden")
    return [
        (placed(design, scale_ratio=scale, side="right"), build)
        for scale, build in referee_variations(design, count, seed)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", type=int, default=6)
    parser.add_argument("--seed", type=int, default=11)
    given = parser.parse_args()
    hands = sample(given.hands, given.seed)
    reference, settled, _, _, _ = rests(hands, SLOW_TUNING, SLOW_DRIVE)
    print(f"{len(hands)} hands, seed {given.seed}; reference settled: {settled}")
    print(HEAD)
    outcomes = []
    for tuning, drive in grid():
        outcomes.append(trial(hands, reference, tuning, drive))
    outcomes.sort(key=lambda o: o.lowered_ms + o.worked_ms)
    for dt in TIMESTEPS_S:
        of_step = [o for o in outcomes if o.tuning.timestep_s == dt]
        passing = [o for o in of_step if o.passes]
        print(f"-- {dt * 1e3:g} ms: {len(passing)} of {len(of_step)} settings pass")
        for o in (passing or of_step)[:3]:
            print(o.row())
    passing = [o for o in outcomes if o.passes]
    if not passing:
        print("no setting passes")
        return
    fresh = sample(4 * given.hands, given.seed + 1)
    slow, _, _, _, _ = rests(fresh, SLOW_TUNING, SLOW_DRIVE)
    print(f"fastest three that pass, on {len(fresh)} fresh hands:")
    for o in passing[:3]:
        print(trial(fresh, slow, o.tuning, o.drive).row())


if __name__ == "__main__":
    main()
