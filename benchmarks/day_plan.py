"""Time for a day's plan against its size, written to docs/studies/day-plan-benchmark.md.

    python benchmarks/day_plan.py [--quick]

Days are drawn as in studies/day_plan_study.py, at fixed sizes. Times are processor times of one core.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import sys
from dataclasses import replace
from pathlib import Path
from random import Random
from statistics import median
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from day_plan_study import some_day

from handsel.rework.day.model import Day
from handsel.rework.day.more import what_more_brings
from handsel.rework.day.plan import plan_day

REPORT = Path(__file__).parents[1] / "docs" / "studies" / "day-plan-benchmark.md"
SIZES = ((10, 3), (20, 5), (40, 8), (60, 12), (90, 12))
CLOSING_MIN = 90.0


def sized(hands: int, people: int, seed: int) -> Day:
    """A day of exactly this size, with too little time for all."""
    rng = Random(f"benchmark {seed}")
    found: list[Day] = []
    while sum(len(d.hands) for d in found) < hands or max(len(d.people) for d in found) < people:
        found.append(some_day(rng))
    crew = max((d.people for d in found), key=len)[:people]
    all_ = [h for d in found for h in d.hands][:hands]
    named = tuple(replace(h, code=f"R-{k:03d}", serial=f"H-{k:04d}") for k, h in enumerate(all_))
    spares: dict[str, int] = {}
    for d in found:
        for name, n in d.spares.items():
            spares[name] = spares.get(name, 0) + n
    share = hands / sum(len(d.hands) for d in found)
    spares = {name: int(n * share) for name, n in spares.items()}
    return Day(closing_min=CLOSING_MIN, hands=named, people=crew, spares=spares)


def main() -> None:
    quick = "--quick" in sys.argv
    lines = [
        "# Time for a day's plan",
        "",
        "Made by `benchmarks/day_plan.py`: processor seconds of one core, median of the days; closing in "
        f"{CLOSING_MIN:.0f} minutes, so that not all hands can be done.",
        "",
        "| hands | people | plan [s] | longest [s] | gap, mean | gap, most | one more of each [s] |",
        "| ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for hands, people in SIZES[: 3 if quick else None]:
        times, gaps, more = [], [], []
        for seed in range(2 if quick else 3):
            day = sized(hands, people, seed)
            began = process_time()
            plan = plan_day(day)
            times.append(process_time() - began)
            gaps.append(plan.gap_ratio)
            if seed == 0:
                began = process_time()
                what_more_brings(day, plan)
                more.append(process_time() - began)
        line = (
            f"| {hands} | {people} | {median(times):.2f} | {max(times):.2f} | "
            f"{100 * sum(gaps) / len(gaps):.1f} % | {100 * max(gaps):.1f} % | {median(more):.1f} |"
        )
        print(line, flush=True)
        lines.append(line)
    REPORT.write_text("\n".join([*lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
