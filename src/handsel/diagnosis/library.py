"""The library of simulated hands that a case is compared with: in strata, one for each set of faults.

Every stratum has its share of hands whatever its prior; the priors come in as weights when a case is asked
about, so that editing one rebuilds nothing. The library is made in rounds; each holds some hands of every
stratum, so that it can be used after the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import NONE, Bench, Drawn, columns_of
from handsel.diagnosis.passing import draw_as_brought
from handsel.mechanics.draws import Draws

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]

SOLVER = "swift-5"  # changes with anything that moves a number of a simulated hand
ROUNDS = 12
FAULTLESS, SINGLE, PAIR, CORDS = 240, 22, 2, 8  # hands of each stratum in one round; two wrong cord lengths
SEED = 50
GRID = 0.025  # of scales


@dataclass(frozen=True, kw_only=True, eq=False)
class Library:
    """Simulated hands of one design and scale. n hands, s strata.

    faults : (n, 2) int; severity : (n, 2) float; seen : (columns, n) float; strata : (s, 2) int;
    stratum : (n,) int.
    """

    columns: tuple[str, ...]
    scale_ratio: float
    rounds: int  # of ROUNDS that it holds
    faults: NDArray[np.int16]
    severity: Floats32
    seen: Floats32
    strata: NDArray[np.int16]
    stratum: NDArray[np.int32]

    @cached_property
    def counts(self) -> Floats:
        """Hands of each stratum; (s,)."""
        return np.bincount(self.stratum, minlength=len(self.strata)).astype(float)

    @cached_property
    def spread(self) -> Floats32:
        """Standard deviation of each quantity within each stratum; (columns, s)."""
        size, count = len(self.strata), np.maximum(self.counts, 1.0)
        out = np.empty((len(self.columns), size), dtype=np.float32)
        for k, x in enumerate(self.seen):
            mean = np.bincount(self.stratum, weights=x, minlength=size) / count
            square = np.bincount(self.stratum, weights=(x - mean[self.stratum]) ** 2, minlength=size)
            out[k] = np.sqrt(square / np.maximum(count - 1.0, 1.0))
        return out

    def column(self, name: str) -> int:
        """Index of a quantity."""
        return self.columns.index(name)


def library_key(catalogue: Catalogue, design_sha256: str, scale_ratio: float) -> str:
    """What a library's hands depend on, as one fingerprint: design and its hardware, scale, catalogue, solver.

    Parameters: catalogue; design_sha256, of the design's file; scale_ratio, on the grid [-].
    Returns: 64 hexadecimal digits.
    """
    parts = (SOLVER, design_sha256, f"{scale_ratio:.4f}", catalogue.physics_sha256, f"{ROUNDS}", f"{SEED}")
    sizes = f"{FAULTLESS} {SINGLE} {PAIR} {CORDS}"
    return sha256("\n".join((*parts, sizes)).encode()).hexdigest()


def scale_on_grid(design: Design, scale_ratio: float) -> float:
    """The nearest scale that libraries are made for.

    Parameters: design; scale_ratio of a hand [-].    Returns: scale on the grid [-].
    """
    low, high = np.ceil(design.scale_min_ratio / GRID), np.floor(design.scale_max_ratio / GRID)
    return float(np.clip(np.round(scale_ratio / GRID), low, high) * GRID)


def strata_of(catalogue: Catalogue) -> NDArray[np.int16]:
    """Every set of faults that is simulated: none, each, and each pair that can be.

    Parameters: catalogue.    Returns: (s, 2) int, NONE where there is no second, or none.
    """
    single = [(f.index, NONE) for f in catalogue.faults]
    return np.array([(NONE, NONE), *single, *catalogue.pairs], dtype=np.int16)


def make_round(bench: Bench, number: int) -> Drawn:
    """One round of the library: some hands of every stratum, such as are brought for diagnosis.

    Parameters: bench; number, from 0 to ROUNDS - 1: the same number gives the same hands.
    Returns: Drawn.
    Raises: nothing of its own.
    Valid for: as passing.draw_as_brought.    Source: own.    Checked by: unit/test_library.py
    """
    strata = strata_of(bench.catalogue)
    count = np.where(strata[:, 0] == NONE, FAULTLESS, np.where(strata[:, 1] == NONE, SINGLE, PAIR))
    # Two wrong lengths make many different hands: they show in one another's readings.
    lengths = [any(e.to == "cord-length" for e in f.kind.effects) for f in bench.catalogue.faults]
    wrong = np.array([*lengths, False])
    count[wrong[strata[:, 0]] & wrong[strata[:, 1]]] = CORDS
    faults = np.repeat(strata, count, axis=0)
    return draw_as_brought(bench, faults, Draws(SEED * ROUNDS + number))


def library_of(catalogue: Catalogue, rounds: Sequence[Drawn], scale_ratio: float) -> Library:
    """A library from one round or more.

    Parameters: catalogue; rounds, at least one; scale_ratio [-].
    Returns: Library.
    """
    strata = strata_of(catalogue)
    faults = np.concatenate([r.faults for r in rounds])
    base = len(catalogue.faults) + 1
    code = (strata[:, 0].astype(np.int64) + 1) * base + strata[:, 1] + 1
    order = np.argsort(code)
    mine = (faults[:, 0].astype(np.int64) + 1) * base + faults[:, 1] + 1
    return Library(
        columns=columns_of(catalogue),
        scale_ratio=scale_ratio,
        rounds=len(rounds),
        faults=faults,
        severity=np.concatenate([r.severity for r in rounds]),
        seen=np.ascontiguousarray(np.concatenate([r.seen for r in rounds], axis=1)),
        strata=strata,
        stratum=order[np.searchsorted(code, mine, sorter=order)].astype(np.int32),
    )
