"""The normal approximation against draws from the posterior itself."""

from __future__ import annotations

from math import hypot

import numpy as np
import pytest

from handsel.vision.camera import Lens
from handsel.vision.rest_angle.solving import solve
from independent.angle_draws import sample
from unit.vision_scenes import SIZE_PX, true_scene


@pytest.mark.parametrize(
    ("seed", "aside_deg", "above_deg", "f35_mm"),
    [
        (1, 20.0, 25.0, 26.0),
        (2, 3.0, 4.0, 26.0),
        (3, -28.0, 10.0, None),
        (4, 8.0, 33.0, 26.0),
    ],
)
def test_mean_and_spread_agree_with_draws(seed, aside_deg, above_deg, f35_mm):
    rng = np.random.default_rng(seed)
    scene, _ = true_scene(rng, f35_mm=26.0, rest_deg=30.0, above_deg=above_deg, aside_deg=aside_deg)
    posterior = solve(scene.palm, scene.cuff, SIZE_PX, Lens(f35_mm=f35_mm).guesses())
    drawn = sample(posterior, count=16000, seed=seed)
    u = hypot(*posterior.u_by_source_deg.values())
    assert drawn.effective_count > 50
    assert abs(drawn.rest_angle_deg - posterior.rest_angle_deg) < 0.3 * u
    assert 0.8 < drawn.u_rest_angle_deg / u < 1.25
    assert drawn.low_deg < drawn.rest_angle_deg < drawn.high_deg


def test_the_same_seed_draws_the_same():
    scene, _ = true_scene(np.random.default_rng(5), f35_mm=26.0, rest_deg=30.0, above_deg=10.0, aside_deg=5.0)
    posterior = solve(scene.palm, scene.cuff, SIZE_PX, Lens(f35_mm=26.0).guesses())
    assert sample(posterior, count=500, seed=3) == sample(posterior, count=500, seed=3)
    assert sample(posterior, count=500, seed=3) != sample(posterior, count=500, seed=4)
