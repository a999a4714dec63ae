"""Rest angles and closing paths per second, against MuJoCo at its fastest fair setting, in one run.

    python benchmarks/mechanics.py [--quick]

Both sides solve frictionless hands (MuJoCo has no capstan law of its own) on one core. MuJoCo's setting is
found by the sweep of mechanics_referee_sweep.py: the fastest whose every rest stays within 0.05 degrees of
the same hands driven very slowly. Times are processor times. The figures are written to
docs/studies/mechanics-benchmark.md.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import process_time

import numpy as np
from mechanics_referee_sweep import SLOW_DRIVE, SLOW_TUNING, Outcome, grid, rests, sample, trial
from referee import Hand
from referee_motion import closing_path as referee_closing
from referee_motion import rest_lowered as referee_lowered

from handsel.data.load_design import load_design
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import closing_path
from handsel.mechanics.model import Model, compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked

REPORT = Path(__file__).parents[1] / "docs" / "studies" / "mechanics-benchmark.md"
LINDEN = load_design("linden")
SEED = 11


def hands(n: int, *, frictionless: bool) -> Model:
    """n hands of linden with random cord errors."""
    random = np.random.default_rng(SEED)
    plain = nominal_build(LINDEN, n, frictionless=frictionless)
    return compile_model(LINDEN, replace(plain, excess_mm=random.normal(0.0, 3.0, (n, 3))))


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Median processor time of a few runs, after one that is not counted."""
    work()
    out = []
    for _ in range(times):
        began = process_time()
        work()
        out.append(process_time() - began)
    return median(out)


def fastest_fair(quick: bool) -> Outcome:
    few = sample(3 if quick else 6, SEED)
    reference, _, _, _, _ = rests(few, SLOW_TUNING, SLOW_DRIVE)
    tried = [trial(few, reference, *setting) for setting in (grid()[::12] if quick else grid())]
    passing = sorted((o for o in tried if o.passes), key=lambda o: o.lowered_ms)
    if not passing:
        raise SystemExit("no MuJoCo setting stays within the tolerance: nothing to compare with")
    return passing[0]


def referee_closing_s(fair: Outcome, count: int) -> float:
    """Mean processor time of MuJoCo's walk from 36 to -60 degrees, steps of 2 degrees, one way."""
    times = []
    for design, build in sample(count, SEED + 2):
        hand = Hand(design, build, tuning=fair.tuning)
        referee_lowered(hand, drive=fair.drive, check=False)
        began = process_time()
        referee_closing(hand, start_deg=36.0, to_deg=-60.0, step_deg=2.0, drive=fair.drive)
        times.append((process_time() - began) / 2.0)
    return float(np.mean(times))


def main() -> None:
    quick = "--quick" in sys.argv
    fair = fastest_fair(quick)
    n = 200 if quick else 2000
    free, rubbing, one = (
        hands(n, frictionless=True),
        hands(n, frictionless=False),
        hands(1, frictionless=False),
    )
    batch_s = seconds(lambda: rest_lowered(free, friction=False))
    worked_s = seconds(lambda: rest_worked(free.take(np.arange(n // 4)), friction=False), 1) * 4
    ours_path_s = seconds(lambda: closing_path(free.take(np.arange(n // 4)), friction=False), 1) / (n // 4)
    theirs_path_s = referee_closing_s(fair, 2 if quick else 4)
    lines = [
        "# Rest angles and closing paths per second",
        "",
        f"`python benchmarks/mechanics.py{' --quick' if quick else ''}`, seed {SEED}, one core,"
        " processor time.",
        f"MuJoCo at {fair.tuning.timestep_s * 1e3:g} ms steps,"
        f" digit damping {fair.tuning.digit_damping_nms:g} N m s,"
        f" wrist damping {fair.tuning.wrist_damping_nms:g} N m s,"
        f" driven at {fair.drive.slow_deg_s:g} deg/s:"
        f" the fastest setting of the sweep within 0.05 deg (worst {fair.error_deg:.3f} deg).",
        "",
        "| what | engine | MuJoCo | ratio |",
        "| --- | --- | --- | --- |",
        _row(f"lowered rest, batch of {n}, frictionless", batch_s / n, fair.lowered_ms / 1e3),
        _row(f"worked rest, batch of {n // 4}, frictionless", worked_s / n, fair.worked_ms / 1e3),
        _row(f"closing path 36 to -60 deg, batch of {n // 4}, frictionless", ours_path_s, theirs_path_s),
        "",
        "| the engine alone, with friction | per second |",
        "| --- | --- |",
        f"| lowered rest, batch of {n} | {n / seconds(lambda: rest_lowered(rubbing), 1):.0f} |",
        f"| worked rest, batch of {n // 10} | "
        f"{(n // 10) / seconds(lambda: rest_worked(rubbing.take(np.arange(n // 10))), 1):.0f} |",
        f"| one lowered rest | {1 / seconds(lambda: rest_lowered(one), 9):.0f}"
        f" ({seconds(lambda: rest_lowered(one), 9) * 1e3:.1f} ms) |",
        f"| one lowered rest, frictionless | "
        f"{seconds(lambda: rest_lowered(hands(1, frictionless=True), friction=False), 9) * 1e3:.1f} ms |",
        "",
        "| hands in the batch (frictionless, lowered) | time per hand [ms] |",
        "| --- | --- |",
    ]
    for size in (1, 10, 100, 1000) if quick else (1, 10, 100, 1000, 2000, 5000, 20000):
        batch = hands(size, frictionless=True)
        took = seconds(lambda batch=batch: rest_lowered(batch, friction=False), 1)
        lines.append(f"| {size} | {took / size * 1e3:.3f} |")
    REPORT.parent.mkdir(parents=True, exist_ok=True)
    REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


def _row(what: str, ours_s: float, theirs_s: float) -> str:
    return f"| {what} | {1 / ours_s:.0f} per s | {1 / theirs_s:.1f} per s | {theirs_s / ours_s:.0f} |"


if __name__ == "__main__":
    main()
