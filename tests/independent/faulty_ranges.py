"""The written ranges of `faulty_hands.toml`, and how a number is drawn from one of them."""

from __future__ import annotations

import tomllib
from functools import cache
from math import exp, log
from pathlib import Path
from typing import Any

import numpy as np

PATH = Path(__file__).with_name("faulty_hands.toml")


@cache
def ranges() -> dict[str, Any]:
    """The whole file, as it stands."""
    return tomllib.loads(PATH.read_text(encoding="utf-8"))


def draw(how: dict[str, list[float]], rng: np.random.Generator, *, harder: float = 0.0) -> float:
    """One number from `{even = [low, high]}` or `{log = [low, high]}`.

    `harder` in 0..1 leaves out that share of the range at its milder end, the one nearer to nothing.
    """
    (kind, (low, high)), *rest = how.items()
    if rest or kind not in ("even", "log"):
        raise ValueError(f"{how}: expected one of even, log")
    a, b = (log(low), log(high)) if kind == "log" else (low, high)
    u = float(rng.random())
    if harder:
        u = harder + (1.0 - harder) * u if abs(high) >= abs(low) else (1.0 - harder) * u
    x = a + (b - a) * u
    return exp(x) if kind == "log" else x


def lognormal(rng: np.random.Generator, sd_log: float, shape: int | tuple[int, ...] = ()) -> Any:
    """Ratios round 1."""
    return np.exp(sd_log * rng.standard_normal(shape))
