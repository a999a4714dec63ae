"""Noisy hands through the whole loop, written to docs/studies/closed-loop.md.

    python studies/closed_loop.py [--hands 500] [--seed 1] [--jobs 1] [--minutes M]

A hand in MuJoCo is read with a person's errors, assessed, put right as ordered and read again; see
tests/independent/referee_loop.py. Some seconds a hand; with --minutes it stops after the hand that it is at
when the time is over, and says how many there were.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cache, partial
from math import sqrt
from pathlib import Path
from time import perf_counter

import mujoco
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

import referee_loop as loop
from referee_loop import Run

from handsel.data.load_case import load_case
from handsel.data.load_design import load_design
from handsel.data.load_protocol import load_protocol
from handsel.design.model import Design
from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol

ROOT = Path(__file__).parents[1]
OUT = ROOT / "docs" / "studies" / "closed-loop.md"
HANDS = 500
COVERAGE, SUCCESS = (0.92, 0.98), 0.95


@cache
def given() -> tuple[Design, Protocol, Case]:
    """Design, protocol, and the case of a sound hand that the readings are put into."""
    sound = load_case(ROOT / "examples" / "01-good-hand.toml")
    sound = replace(sound, hand=replace(sound.hand, scale_ratio=1.0))
    return load_design("linden"), load_protocol(), sound


def one(number: int, seed: int) -> Run:
    return loop.run(number, seed, *given())


def runs(hands: int, seed: int, jobs: int, minutes: float) -> Iterator[Run]:
    began = perf_counter()
    with multiprocessing.Pool(jobs) if jobs > 1 else _Here() as pool:
        for r in pool.imap(partial(one, seed=seed), range(hands)):
            yield r
            if perf_counter() - began > 60.0 * minutes:
                return


class _Here:
    """One process: the same calls as a pool."""

    def __enter__(self) -> _Here:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def imap(self, do: Callable[[int], Run], numbers: Iterable[int]) -> Iterator[Run]:
        return map(do, numbers)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", type=int, default=HANDS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=float("inf"), help="stop after so long")
    parser.add_argument("--out", type=Path, default=OUT)
    asked = parser.parse_args()
    began, done = perf_counter(), []
    for r in runs(asked.hands, asked.seed, asked.jobs, asked.minutes):
        done.append(r)
        print(line(r), flush=True)
    text = report(done, asked.seed, asked.jobs, perf_counter() - began)
    asked.out.parent.mkdir(parents=True, exist_ok=True)
    asked.out.write_text(text, encoding="utf-8")
    print(text.split("## Every hand")[0])


def report(done: list[Run], seed: int, jobs: int, wall_s: float) -> str:
    kept = [r for r in done if not r.excluded]
    moved = [r for r in kept if not r.asked and r.kind in ("adjust", "restring")]
    out = [r for r in kept if not r.good or (r in moved and not r.covered)]
    return "\n".join(
        [
            "# From readings to a hand put right",
            "",
            f"Written by `python studies/closed_loop.py --hands {len(done)} --seed {seed}`; MuJoCo"
            f" {mujoco.mj_versionString()}. {len(done)} hands in {wall_s / 60:.1f} min on {jobs}"
            f" core{'s' if jobs > 1 else ''} that other work shared,"
            f" {np.mean([r.wall_s for r in done]):.1f} s a hand"
            f" (median {np.median([r.wall_s for r in done]):.1f} s). The full study is {HANDS} hands: run it"
            " without arguments.",
            "",
            *setting(),
            "",
            "## What came out",
            "",
            *results(done, kept, moved),
            "",
            "## How far off, and where",
            "",
            *errors(moved),
            "",
            "## Every hand that missed something",
            "",
            "Angle in degrees; lead is thumb less fingers.",
            "",
            HEAD,
            "| --- " * (HEAD.count("|") - 1) + "|",
            *(row(r) for r in out),
            "",
        ]
    )


def setting() -> list[str]:
    return [
        "## What was simulated",
        "",
        f"- Hands: linden at scale 1. Each cord's length is off by {loop.CORD_SD_MM:g} mm (standard"
        f" deviation), of which a template shared by the three makes {loop.TEMPLATE_SD_MM:g} mm. Friction of"
        f" cords N(0.2, 0.05), never below {loop.MU_LEAST}; wrist pin {loop.WRIST_NMM[0]:g} to"
        f" {loop.WRIST_NMM[1]:g} N mm. In {loop.PULLED_IN_SHARE:.0%} of the hands the screws are in by 1 to"
        f" {loop.PULLED_IN_TURNS} half turns already; the thumb pin is {loop.PIN_PLACED_SD_MM} mm out of line"
        " (standard deviation).",
        f"- Truth: worked and lowered rest of the MuJoCo hand with friction, let go at"
        f" {loop.DRIVE.release_deg_s:g} deg/s; where thumb and fingers start, from MuJoCo's path lengths with"
        " straight digits.",
        f"- Readings: angles u = {loop.ANGLE_U} deg ({loop.ANGLE_COMMON} of it common to repeats), tilt"
        f" {loop.TILT_U:g} deg, start of the thumb {loop.FIRST['thumb-starts-with-fingers'].u_deg} deg,"
        f" bend of its tip {loop.FIRST['thumb-tip-bend'].u_deg} deg, bar and pin {loop.FRONT_U_MM} mm; a"
        f" press says the wrong word in {loop.PRESS_WRONG:.0%}, and slack is felt from"
        f" {loop.FEELS_SLACK_MM} mm a leg. A digit counts as bent from {loop.BENT_SHOWS_DEG:g} deg, both"
        f" joints together. When the tool asks for another reading it gets {loop.PHOTOS} more, up to"
        f" {loop.REREADS} times, the thumb's start then by video"
        f" ({loop.BETTER['thumb-starts-with-fingers'].u_deg} deg).",
        f"- Work: screws as ordered, in half turns, each met within {360 * loop.TURN_OFF:.0f} degrees of the"
        f" key (even); pin sd {loop.PIN_SD_MM} mm; cords cut to the whole millimetre, even within"
        f" {loop.CUT_OFF_MM:g} mm of it; every knot seats by N({loop.SEAT_MM}, {loop.SEAT_SD_MM}) mm.",
    ]


def results(done: list[Run], kept: list[Run], moved: list[Run]) -> list[str]:
    still = [r for r in kept if r.kind == "nothing to change"]
    waiting = [r for r in kept if r.asked]
    good, covered = sum(r.good for r in kept), sum(r.covered for r in moved)
    reasons = Counter(r.excluded for r in done if r.excluded)
    asked = Counter(r.asked for r in waiting)
    return [
        f"- New worked angle within the stated 95 % interval: {share(covered, len(moved))} of the hands that"
        f" were changed (goal {COVERAGE[0]:.0%} to {COVERAGE[1]:.0%}:"
        f" {met(COVERAGE[0] <= covered / len(moved) <= COVERAGE[1])}). Thumb's lead likewise:"
        f" {share(sum(r.lead_covered for r in moved), len(moved))}. Present angle of hands where nothing is"
        f" to be changed: {share(sum(r.covered for r in still), len(still))}.",
        f"- Ends between 30 and 45 deg with thumb and fingers within 5 deg: {share(good, len(kept))} of all"
        f" hands (goal at least {SUCCESS:.0%}: {met(good / len(kept) >= SUCCESS)}); of those changed"
        f" {share(sum(r.good for r in moved), len(moved))}. Before anything was done:"
        f" {share(sum(before_good(r) for r in kept), len(kept))}. Angle alone:"
        f" {share(sum(r.angle_good for r in kept), len(kept))}.",
        f"- Fixes: {listed(Counter(r.kind for r in kept))}. New cords:"
        f" {listed(Counter(f'{r.new_cords} cord(s)' for r in kept if r.new_cords)) or 'none'}. Hands for"
        f" which the tool first asked for another reading: {sum(r.reread > 0 for r in kept)}.",
        f"- Hands that the tool does not move, because it still asks for something after that:"
        f" {len(waiting)}" + (f" ({listed(asked)})." if asked else "."),
        f"- The wrist pin alone carries the cuff at the end: {sum(r.held for r in kept)}.",
        f"- Rests at which the referee still crept: {sum(r.crept_deg > 0.0 for r in kept)}, by less than"
        f" {loop.STILL_DEG} deg in the last 0.1 s of {loop.DRIVE.patience_s:g} s.",
        f"- Left out: {len(done) - len(kept)} of {len(done)}"
        + (f" ({listed(reasons)})." if reasons else "."),
    ]


def errors(moved: list[Run]) -> list[str]:
    lines = [
        "| hands | number | mean of (true - stated) | sd | sd in stated u | covered | stated u, median |"
    ]
    lines.append("| --- | ---: | ---: | ---: | ---: | ---: | ---: |")
    groups = {
        "changed, all": moved,
        "adjust": [r for r in moved if r.kind == "adjust"],
        "restring": [r for r in moved if r.kind == "restring"],
        "thumb ends first": [r for r in moved if r.after_lead_deg > 0.0],
        "fingers end first": [r for r in moved if r.after_lead_deg <= 0.0],
    }
    for name, some in groups.items():
        if len(some) < 2:
            continue
        off = np.array([r.after_deg - r.stated_angle.value for r in some if r.stated_angle is not None])
        u = np.array([r.stated_angle.u for r in some if r.stated_angle is not None])
        lines.append(
            f"| {name} | {len(some)} | {off.mean():+.2f} deg | {off.std(ddof=1):.2f} deg |"
            f" {(off / u).std(ddof=1):.2f} | {sum(r.covered for r in some) / len(some):.0%} |"
            f" {np.median(u):.2f} deg |"
        )
    return lines


def share(count: int, n: int) -> str:
    """A share with its own 95 % interval (Wilson's)."""
    if n == 0:
        return "none"
    p, z = count / n, 1.96
    middle, half = p + z**2 / (2 * n), z * sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    low, high = ((middle + s * half) / (1 + z**2 / n) for s in (-1, 1))
    return f"{p:.1%} ({count} of {n}; 95 % interval {low:.0%} to {high:.0%})"


def met(yes: bool) -> str:
    return "met" if yes else "**not met**"


def before_good(r: Run) -> bool:
    return loop.LEAST_DEG <= r.before_deg <= loop.MOST_DEG and abs(r.before_lead_deg) <= loop.LEAD_WITHIN_DEG


def listed(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {n}" for name, n in counts.most_common())


HEAD = (
    "| hand | cords off [mm] | angle, lead before | fix | angle, lead after | stated angle | stated lead |"
    " cords | missed |"
)


def row(r: Run) -> str:
    a, b = r.stated_angle, r.stated_lead
    missed = [w for w, ok in (("interval", r.covered), ("angle", r.angle_good)) if not ok]
    missed += ["timing"] if abs(r.after_lead_deg) > loop.LEAD_WITHIN_DEG else []
    return (
        f"| {r.number} | {', '.join(f'{x:+.1f}' for x in r.excess_mm)} | {r.before_deg:.1f},"
        f" {r.before_lead_deg:+.1f} | {r.kind}{f' ({r.asked})' if r.asked else ''} | {r.after_deg:.1f},"
        f" {r.after_lead_deg:+.1f} | {f'{a.low:.1f} to {a.high:.1f}' if a else ''} |"
        f" {f'{b.low:+.1f} to {b.high:+.1f}' if b else ''} | {r.new_cords} | {', '.join(missed)} |"
    )


def line(r: Run) -> str:
    more = f"{r.reread} {r.turns:+.1f} mu {r.mu:.2f} pin {r.wrist_nmm:.0f} crept {r.crept_deg:.3f}"
    return f"{row(r)} {more} {r.excluded} {r.wall_s:.1f} s"


if __name__ == "__main__":
    main()
