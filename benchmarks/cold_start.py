"""From typing the command to the answer, in a fresh process, as ratios to starting Python with numpy.

    python benchmarks/cold_start.py

Processor time of the whole child process, median of five after one that is not counted.
"""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[1]
EXAMPLE = str(ROOT / "examples" / "01-good-hand.toml")
CALLS = {
    "python with numpy": ["-c", "import numpy"],
    "handsel --help": ["-m", "handsel.cli", "--help"],
    "handsel assess": ["-m", "handsel.cli", "assess", EXAMPLE],
}


def cpu_s(arguments: list[str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    times = {name: median([cpu_s(call) for _ in range(6)][1:]) for name, call in CALLS.items()}
    plain = times["python with numpy"]
    for name, took in times.items():
        print(f"{name:20} {took:6.2f} s  {took / plain:5.1f} x")


if __name__ == "__main__":
    main()
