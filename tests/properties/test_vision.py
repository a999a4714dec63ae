"""Laws of the photo measurement that hold for any hand and any photos of it."""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.vision.camera import Lens
from handsel.vision.rest_angle.fusing import fuse
from handsel.vision.rest_angle.refused import PhotoRefused
from handsel.vision.rest_angle.solving import solve
from unit.test_vision_fusing import reading
from unit.vision_scenes import SIZE_PX, true_scene

HANDS = st.fixed_dictionaries(
    {
        "rest_deg": st.floats(0, 60),
        "above_deg": st.floats(-5, 35),
        "aside_deg": st.floats(-30, 30),
        "distance_mm": st.floats(300, 650),
        "fingers": st.sampled_from(["left", "right"]),
    }
)


def solved(scene):
    return solve(scene.palm, scene.cuff, SIZE_PX, Lens(f35_mm=26.0).guesses())


def mirrored(card):
    """A card as a mirror standing beside the scene shows it, read as the mirrored card it is not: edges only."""
    flip = np.array([-1.0, 1.0])
    h = np.diag([-1.0, 1.0, 1.0]) @ card.homography @ np.diag([-1.0, 1.0, 1.0])
    h[0] += (SIZE_PX[0] - 1) * h[2]
    return replace(
        card,
        card_mm=card.card_mm * flip,
        at_px=card.at_px * flip + [SIZE_PX[0] - 1, 0],
        normal=card.normal * flip,
        homography=h,
    )


@given(HANDS, st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_a_mirror_shows_the_same_angle_with_the_fingers_the_other_way(hand, seed):
    scene, _ = true_scene(np.random.default_rng(seed), f35_mm=26.0, **hand)
    plain = solved(scene)
    other = solved(replace(scene, palm=mirrored(scene.palm), cuff=mirrored(scene.cuff)))
    assert other.fingers_right is not plain.fingers_right
    u = hypot(*plain.u_by_source_deg.values())
    assert other.rest_angle_deg == pytest.approx(plain.rest_angle_deg, abs=0.02 + 0.1 * u)


@given(HANDS, st.integers(0, 1000), st.floats(-15, 15))
@settings(max_examples=25, deadline=None)
def test_a_camera_that_is_rolled_reads_the_same(hand, seed, roll_deg):
    scene, _ = true_scene(np.random.default_rng(seed), f35_mm=26.0, **hand)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    turn, middle = np.array([[c, -s], [s, c]]), (np.array(SIZE_PX) - 1) / 2

    def rolled(card):
        whole = np.eye(3)
        whole[:2, :2], whole[:2, 2] = turn, middle - turn @ middle
        return replace(
            card,
            at_px=(card.at_px - middle) @ turn.T + middle,
            normal=card.normal @ turn.T,
            homography=whole @ card.homography,
        )

    plain, other = solved(scene), solved(replace(scene, palm=rolled(scene.palm), cuff=rolled(scene.cuff)))
    u = hypot(*plain.u_by_source_deg.values())
    assert other.rest_angle_deg == pytest.approx(plain.rest_angle_deg, abs=0.02 + 0.1 * u)


@given(HANDS, st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_a_stated_uncertainty_is_never_far_from_the_error(hand, seed):
    scene, _ = true_scene(np.random.default_rng(seed), f35_mm=26.0, **hand)
    found = solved(scene)
    u = hypot(*found.u_by_source_deg.values())
    assert 0.02 < u < 1.2
    assert abs(found.rest_angle_deg - hand["rest_deg"]) < 5.0 * u + 0.05


@given(st.lists(st.floats(-0.15, 0.15), min_size=1, max_size=8), st.floats(0, 60), st.booleans())
def test_more_photos_never_tell_less_and_their_mean_lies_among_them(offsets, angle, afresh):
    readings = [reading(angle + d) for d in offsets]
    try:
        fused = fuse(readings, placed_afresh=afresh)
    except PhotoRefused:
        return
    assert min(r.rest_angle_deg for r in readings) - 1e-9 <= fused.rest_angle_deg
    assert fused.rest_angle_deg <= max(r.rest_angle_deg for r in readings) + 1e-9
    if not fused.notes:
        assert fused.u_rest_angle_deg <= readings[0].u_rest_angle_deg * (1 + 1e-12)
    assert fused.contributions["focal length"] == pytest.approx(0.06)
