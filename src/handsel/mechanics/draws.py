"""Random numbers that stay the same for ever: the same hand gets the same answer on every machine.

Numpy does not promise its streams from one version to the next, and a record that cannot be computed
again proves nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX1, _MIX2 = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)


class Draws:
    """A stream of independent draws.

    Source: splitmix64 (Steele, Lea and Flood 2014, constants from memory): a counter whose bits are
        mixed; normal draws by the transform of Box and Muller.
    Checked by: unit/test_draws.py
    """

    def __init__(self, seed: int) -> None:
        self._at = seed * 1_000_003

    def uniform(self, *shape: int) -> Floats:
        """Even draws from 0, included, to 1, excluded; (shape)."""
        count = int(np.prod(shape))
        z = np.arange(self._at + 1, self._at + count + 1, dtype=np.uint64) * _STEP
        self._at += count
        z = (z ^ (z >> np.uint64(30))) * _MIX1
        z = (z ^ (z >> np.uint64(27))) * _MIX2
        z ^= z >> np.uint64(31)
        return np.asarray((z >> np.uint64(11)) * 2.0**-53).reshape(shape)

    def normal(self, *shape: int) -> Floats:
        """Draws with mean 0 and standard deviation 1; (shape)."""
        radius = np.sqrt(-2.0 * np.log1p(-self.uniform(*shape)))
        return np.asarray(radius * np.cos(2.0 * np.pi * self.uniform(*shape)))
