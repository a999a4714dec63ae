"""The written-out derivatives against differences of the plain numbers."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.camera import FocalGuess
from handsel.vision.rest_angle.hand_view import COUNT, place
from handsel.vision.rest_angle.slopes import hinge_slope, slopes
from independent.angle_draws import stacked
from unit.vision_scenes import random_state, scene_of

GUESS = FocalGuess(log_f35=3.3, sd=0.05, weight=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_values_and_derivatives_are_those_of_the_plain_numbers(seed):
    rng = np.random.default_rng(seed)
    scene = scene_of(rng)
    state = random_state(rng)
    n = len(scene.at_px)
    u_edge, weights = rng.uniform(0.02, 0.1, n), rng.uniform(0.2, 1.0, n)
    value, jacobian = slopes(scene, state, GUESS, u_edge, weights)
    plain = stacked(scene, state[None], GUESS, u_edge, weights)[0]
    np.testing.assert_allclose(value, plain, rtol=1e-9, atol=1e-8)
    for k in range(COUNT):
        step = np.zeros(COUNT)
        step[k] = 1e-6
        ahead, behind = stacked(scene, np.vstack([state + step, state - step]), GUESS, u_edge, weights)
        difference = (ahead - behind) / 2e-6
        scale = np.abs(difference).max() + 1.0
        assert np.abs(jacobian[:, k] - difference).max() < 2e-5 * scale, k


def test_the_hinge_angle_changes_as_it_says():
    rng = np.random.default_rng(7)
    scene, state = scene_of(rng), random_state(rng)
    slope = hinge_slope(scene, state, GUESS)
    steps = 1e-6 * np.eye(COUNT)
    difference = (place(scene, state + steps).hinge - place(scene, state - steps).hinge) / 2e-6
    assert np.abs(slope - difference).max() < 1e-6
    assert np.abs(slope).max() > 0.5
