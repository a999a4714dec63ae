"""Independent faulty hands, one line of JSON each, in a folder of your choice.

    python studies/faulty_hands.py FOLDER --seed 11 [--hands 300] [--minutes M] [--faults KIND@PLACE,...]

Every hand is a MuJoCo hand with friction, built with no, one or two faults, worked by a simulated volunteer
who writes down an answer to every question of the fault catalogue; see tests/independent/faulty_hand.py. About
half a second of one core each. A run that was stopped goes on where it stopped; a half-written line is dropped.
Which seeds are for development and which for published figures: tests/independent/faulty_hands.toml.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from time import perf_counter
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_builds import Fault
from faulty_hand import as_line, make

from handsel.data.load_design import load_design


def file_of(folder: Path, seed: int, name: str = "hands") -> Path:
    return folder / f"{name}-{seed}.jsonl"


def hands(path: Path) -> Iterator[dict[str, Any]]:
    """The hands of one file, without a last line that was cut short."""
    with path.open(encoding="utf-8") as lines:
        for line in lines:
            if line.endswith("\n"):
                yield json.loads(line)


def done(path: Path) -> set[int]:
    """Numbers that are there already; cuts off what was half written."""
    if not path.exists():
        return set()
    text = path.read_bytes()
    whole = text[: text.rfind(b"\n") + 1]
    if len(whole) < len(text):
        path.write_bytes(whole)
    return {h["number"] for h in hands(path)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--hands", type=int, default=300)
    parser.add_argument("--minutes", type=float, default=float("inf"), help="stop after so long")
    parser.add_argument("--faults", default="", help="KIND@PLACE,...: these instead of drawn ones")
    asked = parser.parse_args()
    fixed = tuple(Fault(*f.split("@", 1)) for f in asked.faults.split(",") if f) or None
    asked.folder.mkdir(parents=True, exist_ok=True)
    path = file_of(asked.folder, asked.seed, "fixed" if fixed else "hands")
    have, design, began = done(path), load_design("linden"), perf_counter()
    with path.open("a", encoding="utf-8") as out:
        for number in range(asked.hands):
            if number in have:
                continue
            if perf_counter() - began > 60.0 * asked.minutes:
                break
            try:
                line = as_line(make(design, asked.seed, number, fixed))
            except RuntimeError as never:  # said aloud, kept out, counted by whoever reads the file
                line = {"seed": asked.seed, "number": number, "left_out": str(never)}
            out.write(json.dumps(line) + "\n")
            out.flush()
    print(f"{len(done(path))} hands in {path}")


if __name__ == "__main__":
    main()
