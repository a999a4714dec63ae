"""Hands of the independent generator as the diagnosis study reads them: their faults by name, their answers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_ranges import ranges

Hand = dict[str, Any]


def names(hand: Hand) -> tuple[str, ...]:
    return tuple(named(f["kind"], f["place"]) for f in hand["faults"])


def named(kind: str, place: str) -> str:
    """A cause as the diagnosis writes it."""
    return f"{kind}@{place}" if place else kind


def answers(hand: Hand, *, all_of_them: bool = False) -> list[dict[str, Any]]:
    return [o for o in hand["observations"] if all_of_them or o["given"]]


__all__ = ["Hand", "answers", "named", "names", "ranges"]
