"""Draws are even, normal, independent, and the same for ever."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.mechanics.draws import Draws


def test_uniform_draws_fill_their_range_evenly() -> None:
    x = Draws(1).uniform(20000)
    assert x.min() >= 0.0
    assert x.max() < 1.0
    counts, _ = np.histogram(x, bins=20, range=(0.0, 1.0))
    assert ((counts - 1000.0) ** 2 / 1000.0).sum() < 43.8  # chi-squared, 19 degrees of freedom, 0.1 %


def test_normal_draws_have_normal_quantiles() -> None:
    z = Draws(2).normal(20000)
    assert z.mean() == pytest.approx(0.0, abs=0.025)
    assert np.quantile(z, (0.025, 0.16, 0.5, 0.84, 0.975)) == pytest.approx(
        [-1.96, -0.994, 0, 0.994, 1.96], abs=0.05
    )


def test_neighbours_and_columns_are_independent() -> None:
    z = Draws(3).normal(5000, 3)
    flat = z.ravel()
    assert abs(np.corrcoef(flat[:-1], flat[1:])[0, 1]) < 0.03
    assert np.abs(np.corrcoef(z.T) - np.eye(3)).max() < 0.05


def test_a_stream_goes_on_and_seeds_differ() -> None:
    one = Draws(4)
    first, second = one.uniform(10), one.uniform(10)
    assert (np.concatenate([first, second]) == Draws(4).uniform(20)).all()
    assert not np.isin(Draws(5).uniform(1000), Draws(4).uniform(1000)).any()


def test_the_stream_is_what_it_has_always_been() -> None:
    """Worked out with whole numbers of any size, not with numpy's."""
    mask = 2**64 - 1
    z = (4 * 1_000_003 + 1) * 0x9E3779B97F4A7C15 & mask
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9 & mask
    z = (z ^ (z >> 27)) * 0x94D049BB133111EB & mask
    z ^= z >> 31
    assert Draws(4).uniform(1)[0] == (z >> 11) * 2.0**-53
