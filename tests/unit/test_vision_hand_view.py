"""The hand as numbers: the angle that is measured is the one that was meant."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.camera import FocalGuess
from handsel.vision.rest_angle.hand_view import (
    CENTRE,
    KNOWN_GROUP,
    STRETCH,
    about,
    in_picture,
    misses_px,
    place,
    surprises,
    turns,
)
from unit.vision_scenes import SIZE_PX, true_scene


def test_rotations_turn_the_way_they_say():
    quarter = np.array([np.pi / 2])
    np.testing.assert_allclose(about(2, quarter)[0] @ [1, 0, 0], [0, 1, 0], atol=1e-12)
    np.testing.assert_allclose(about(0, quarter)[0] @ [0, 1, 0], [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(turns(np.array([[0, 0, np.pi / 2]])), about(2, quarter), atol=1e-10)
    np.testing.assert_allclose(turns(np.zeros((1, 3)))[0], np.eye(3), atol=1e-12)


@pytest.mark.parametrize("fingers", ["right", "left"])
@pytest.mark.parametrize("tilts", [(0, 0, 0, 0), (4, -4, -3, 4), (-4, 3, 4, 2)])
def test_the_hinge_angle_is_that_between_the_lines_seen_along_the_hinge(fingers, tilts):
    rng = np.random.default_rng(3)
    scene, state = true_scene(
        rng,
        f35_mm=26,
        rest_deg=33.0,
        above_deg=20,
        aside_deg=15,
        fingers=fingers,
        tilts_deg=tilts,
        noise_px=1e-6,
    )
    at = place(scene, state[None])
    sign = -1.0 if fingers == "right" else 1.0
    assert np.degrees(at.hinge[0]) == pytest.approx(sign * 33.0, abs=1e-9)
    # By projecting both cards' x axes along the hinge axis, without the decomposition.
    lines = [(at.hand[0].T @ card[0])[:2, 0] for card in (at.palm, at.cuff)]
    between = np.arctan2(lines[1][1], lines[1][0]) - np.arctan2(lines[0][1], lines[0][0])
    assert np.degrees(between) == pytest.approx(sign * 33.0, abs=1e-9)
    assert lines[0][1] == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(np.degrees(at.cuff_tilts[0]), tilts[2:], atol=1e-9)


def test_a_camera_above_sees_the_side_face_from_above():
    rng = np.random.default_rng(4)
    scene, state = true_scene(rng, f35_mm=26, rest_deg=20, above_deg=30, aside_deg=0, noise_px=1e-6)
    at = place(scene, state[None])
    to_camera = -at.hand[0].T @ at.palm_at[0]
    assert np.degrees(np.arctan2(to_camera[1], to_camera[2])) == pytest.approx(
        30.0, abs=8.0
    )  # the card is off centre


def test_true_states_miss_nothing_and_surprise_nobody():
    rng = np.random.default_rng(5)
    scene, state = true_scene(rng, f35_mm=50, rest_deg=40, above_deg=15, aside_deg=-10, noise_px=1e-9)
    assert np.abs(misses_px(scene, state[None])).max() < 0.06
    known, group = surprises(scene, state[None], FocalGuess(log_f35=np.log(50), sd=0.01, weight=1))
    assert known.shape == (1, 17)
    assert group is KNOWN_GROUP
    assert np.abs(known).max() < 2.5


def test_a_longer_lens_alone_leaves_the_cards_where_they_are():
    rng = np.random.default_rng(6)
    scene, state = true_scene(rng, f35_mm=26, rest_deg=30, above_deg=10, aside_deg=5)
    longer = state.copy()
    longer[0] += 0.5
    for s in (state, longer):
        s[1:4] = 0.0
    middles = [in_picture(scene, s[None], place(scene, s[None]).palm_at[None])[0, 0] for s in (state, longer)]
    np.testing.assert_allclose(middles[0], middles[1], atol=1e-9)


def test_a_stretched_picture_is_taller_about_its_optical_centre():
    rng = np.random.default_rng(7)
    scene, state = true_scene(rng, f35_mm=26, rest_deg=30, above_deg=10, aside_deg=5)
    taller = state.copy()
    taller[STRETCH] = 0.05
    points = rng.uniform(-80, 80, (1, 9, 3)) + [0.0, 0.0, 400.0]
    centre = (np.array(SIZE_PX) - 1) / 2 + state[CENTRE]
    plain, tall = (in_picture(scene, s[None], points)[0] - centre for s in (state, taller))
    np.testing.assert_allclose(tall, plain * [1.0, 1.05], atol=1e-9)
