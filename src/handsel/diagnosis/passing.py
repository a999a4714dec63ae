"""Whether a simulated hand passes its protocol: a faultless hand does, one that is brought with a fault does not.

Hands of a library are drawn again until that is so. Of faults whose hands may pass, the mild ones fall away by
this, as they do among the hands that are brought.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import NONE, Bench, Drawn, draw
from handsel.mechanics.draws import Draws

PART = 1500
TRIES = 8  # after that a hand is kept as it is: a fault so mild that it hardly ever shows


def passes(catalogue: Catalogue, columns: tuple[str, ...], seen: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether hands keep every limit of the protocol that a simulation can tell.

    Parameters: catalogue, with its limits; columns, names of the quantities; seen : (columns, n) float.
    Returns: (n,) bool.
    Raises: nothing of its own.
    Valid for: quantities without error of reading.
    Source: the protocol's own limits, by load_faults.    Checked by: unit/test_library.py
    """
    out = np.ones(seen.shape[1], dtype=np.bool_)
    for limit in catalogue.limits:
        some = np.zeros_like(out)
        for column in limit.columns:
            x = seen[columns.index(column)]
            some |= (x >= (-np.inf if limit.low is None else limit.low)) & (
                x <= (np.inf if limit.high is None else limit.high)
            )
        out &= some
    return out


def as_brought(
    catalogue: Catalogue, columns: tuple[str, ...], faults: NDArray[np.int16], seen: NDArray[np.float32]
) -> NDArray[np.bool_]:
    """Whether hands are such as are brought: without a fault they pass, with one they fail something.

    Parameters: catalogue; columns; faults : (n, 2) int, NONE for none; seen : (columns, n) float.
    Returns: (n,) bool.
    Source: own.    Checked by: unit/test_library.py
    """
    certain = np.array([bool(f.kind.fails) for f in catalogue.faults] + [False])  # the last: no fault
    fails = certain[faults].any(axis=1) | ~passes(catalogue, columns, seen)
    return np.asarray(fails == (faults[:, 0] != NONE))


def draw_as_brought(bench: Bench, faults: NDArray[np.int16], draws: Draws) -> Drawn:
    """Simulated hands with given faults, each drawn again until it is such as is brought.

    Parameters: bench; faults : (n, 2) int, NONE for none; draws.
    Returns: Drawn.
    Raises: nothing of its own.
    Valid for: as hands.draw.
    Source: rejection; TRIES bounds it.    Checked by: unit/test_library.py
    """
    made = _in_parts(bench, faults, draws)
    severity, seen = made.severity, made.seen
    for _ in range(TRIES):
        again = np.flatnonzero(~as_brought(bench.catalogue, bench.columns, faults, seen))
        if not len(again):
            break
        new = _in_parts(bench, faults[again], draws)
        severity[again], seen[:, again] = new.severity, new.seen
    return Drawn(faults=faults, severity=severity, seen=seen)


def _in_parts(bench: Bench, faults: NDArray[np.int16], draws: Draws) -> Drawn:
    """Many hands, a part at a time: what is worked out for one part fits the processor's own memory."""
    count = max(1, len(faults) // PART)
    parts = [draw(bench, part, draws) for part in np.array_split(faults, count)]
    return Drawn(
        faults=faults,
        severity=np.concatenate([p.severity for p in parts]),
        seen=np.concatenate([p.seen for p in parts], axis=1),
    )
