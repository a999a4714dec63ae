"""Several photos made one reading."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt
from types import MappingProxyType

import numpy as np
import pytest

from handsel.errors import OutOfRange
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.drawing import Drawing
from handsel.vision.rest_angle.fusing import chi_squared_quantile, fuse
from handsel.vision.rest_angle.reading import RestAngle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused
from handsel.vision.rest_angle.solving import solve
from unit.vision_scenes import SIZE_PX, true_scene

LINE = np.zeros((2, 2))
PARTS = {
    "edges": 0.1,
    "size in pixels": 0.05,
    "obliquity": 0.12,
    "focal length": 0.06,
    "distortion": 0.03,
    "card turn": 0.99,
}


def reading(angle_deg, **parts):
    parts = PARTS | parts
    u = hypot(*parts.values())
    return RestAngle(rest_angle_deg=angle_deg, u_rest_angle_deg=u, low_deg=angle_deg - 1.96 * u,
                     high_deg=angle_deg + 1.96 * u, contributions=MappingProxyType(parts), fingers_point="left",
                     obliquity_deg=10.0, f35_mm=26.0, side_px=50.0, misfit=1.0, notes=(), picture_px=(100, 100),
                     drawing=Drawing(palm_card=LINE, cuff_card=LINE, palm_line=LINE, cuff_line=LINE))  # fmt: skip


def test_one_photo_stays_what_it_is():
    one = fuse([reading(30.0)])
    assert one.rest_angle_deg == 30.0
    assert one.u_rest_angle_deg == pytest.approx(hypot(*PARTS.values()))
    assert one.photo_count == 1


def test_cards_left_in_place_keep_their_turn():
    four = fuse([reading(30.0 + d) for d in (-0.1, 0.0, 0.1, 0.0)])
    assert four.contributions["card turn"] == pytest.approx(0.99)
    assert four.contributions["focal length"] == pytest.approx(0.06)
    assert four.contributions["edges"] == pytest.approx(0.05)
    assert four.u_rest_angle_deg > 0.99


def test_cards_placed_afresh_average_out():
    four = fuse([reading(30.0 + d) for d in (-0.8, 0.6, 1.0, -0.4)], placed_afresh=True)
    assert four.contributions["card turn"] == pytest.approx(0.99 / 2)
    assert four.contributions["distortion"] == pytest.approx(0.03)
    assert four.rest_angle_deg == pytest.approx(30.1)
    assert hypot(*four.contributions.values()) == pytest.approx(four.u_rest_angle_deg)


def test_the_better_photo_counts_more():
    fused = fuse([reading(30.0), reading(30.5, edges=1.0)])
    assert 30.0 < fused.rest_angle_deg < 30.05


def test_photos_of_different_hands_are_refused():
    with pytest.raises(PhotoRefused) as refused:
        fuse([reading(30.0), reading(30.1), reading(34.0)])
    assert refused.value.cause is Cause.DISAGREE
    assert "34.0" in refused.value.what


def test_the_same_spread_is_fine_when_the_cards_moved():
    fused = fuse([reading(30.0), reading(30.1), reading(32.0)], placed_afresh=True)
    assert fused.notes == ()
    with pytest.raises(PhotoRefused):
        fuse([reading(30.0), reading(30.1), reading(32.0)])


def test_photos_that_differ_a_little_too_much_widen_the_answer():
    calm, wide = fuse([reading(30.0), reading(30.1)]), fuse([reading(30.0), reading(30.6)])
    assert calm.notes == ()
    assert len(wide.notes) == 1
    assert wide.u_rest_angle_deg > calm.u_rest_angle_deg
    assert wide.spread_ratio > 1.9


def test_simulated_photos_of_cards_placed_afresh_hold_the_truth():
    rng = np.random.default_rng(0)
    inside = 0
    for _ in range(200):
        common = rng.normal(0, hypot(PARTS["focal length"], PARTS["distortion"]))
        own = hypot(PARTS["edges"], PARTS["size in pixels"], PARTS["obliquity"], PARTS["card turn"])
        fused = fuse([reading(30.0 + common + rng.normal(0, own)) for _ in range(3)], placed_afresh=True)
        inside += fused.low_deg <= 30.0 <= fused.high_deg
    assert 182 <= inside <= 199


def test_simulated_photos_of_cards_left_in_place_hold_the_truth():
    # The turn and the lean of the cards and the lens are the same in all photos of a hand; the edges are new.
    rng = np.random.default_rng(1)
    common = hypot(*(PARTS[k] for k in ("card turn", "obliquity", "focal length", "distortion")))
    own = hypot(PARTS["edges"], PARTS["size in pixels"])
    inside, apart = 0, 0
    for _ in range(400):
        hand = 30.0 + rng.normal(0, common)
        fused = fuse([reading(hand + rng.normal(0, own)) for _ in range(5)])
        inside += fused.low_deg <= 30.0 <= fused.high_deg
        apart += bool(fused.notes)
        assert fused.u_rest_angle_deg > 0.99
    assert 0.91 * 400 <= inside <= 0.99 * 400
    assert apart <= 0.06 * 400


@pytest.mark.parametrize("afresh", [False, True])
def test_hands_seen_three_times_each_hold_their_truth(afresh):
    """The whole way from edges to one reading: the same hand and cards from three sides, by simulated cameras."""
    rng = np.random.default_rng(5)
    errors, us = [], []
    for _ in range(24):
        angle, step = rng.uniform(10, 50), rng.uniform(-8, 8)
        tilts, turns = rng.uniform(-4, 4, 4), rng.normal(0, 0.7, 2)
        readings = []
        for _ in range(3):
            if afresh:
                tilts, turns = rng.uniform(-4, 4, 4), rng.normal(0, 0.7, 2)
            # A card's turn in its plane looks as if the hinge were turned.
            scene, _ = true_scene(
                rng, f35_mm=26.0, rest_deg=angle + turns[0] - turns[1], above_deg=rng.uniform(0, 30),
                aside_deg=rng.uniform(-25, 25), step_mm=step, tilts_deg=tilts,
            )  # fmt: skip
            found = solve(scene.palm, scene.cuff, SIZE_PX, Lens(f35_mm=26.0).guesses())
            readings.append(reading(found.rest_angle_deg, **found.u_by_source_deg))
        fused = fuse(readings, placed_afresh=afresh)
        errors.append(fused.rest_angle_deg - angle)
        us.append(fused.u_rest_angle_deg)
    z = np.array(errors) / np.array(us)
    assert 0.6 < np.sqrt(np.mean(z**2)) < 1.4
    assert np.mean(np.abs(z) < 1.96) >= 21 / 24
    assert np.median(us) == pytest.approx(0.99 / sqrt(3) if afresh else 0.99, rel=0.12)


def test_nothing_to_fuse():
    with pytest.raises(OutOfRange):
        fuse([])


@pytest.mark.parametrize(
    ("p", "dof", "value"),
    [
        # Tables of the chi-squared distribution, from memory of any handbook.
        (0.95, 2, 5.991),
        (0.95, 10, 18.307),
        (0.99, 5, 15.086),
        (0.999, 3, 16.266),
    ],
)
def test_quantiles_of_chi_squared(p, dof, value):
    assert chi_squared_quantile(p, dof) == pytest.approx(value, rel=0.02)


def test_quantiles_need_a_degree_of_freedom():
    with pytest.raises(OutOfRange):
        chi_squared_quantile(0.95, 0)


def test_a_reading_without_a_cards_turn_has_none_of_it():
    fused = fuse(
        [
            replace(
                reading(30.0),
                contributions=MappingProxyType({k: v for k, v in PARTS.items() if k != "card turn"}),
            )
        ]
        * 2
    )
    assert "card turn" not in fused.contributions
    assert fused.contributions["edges"] == pytest.approx(0.1 / sqrt(2))
