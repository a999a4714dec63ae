"""Lengths and moment arms of the engine against MuJoCo's spatial tendons, wrapping included."""

from __future__ import annotations

import numpy as np
import pytest
from comparison import compare_lines, random_poses
from referee import Hand, path_lengths
from referee_sample import referee_variations

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.mechanics.build import Build
from handsel.mechanics.model import compile_model
from handsel.mechanics.paths import wrap_angle

LINDEN = load_design("linden")
HANDS, POSES, TOLERANCE_MM = 6, 40, 1e-5


def hands() -> list[tuple[str, Design, Build]]:
    found = []
    for k, (scale, build) in enumerate(referee_variations(LINDEN, HANDS, seed=101)):
        side = ("right", "left")[k % 2]
        found.append((f"{side}-{scale:.2f}", placed(LINDEN, scale_ratio=scale, side=side), build))
    return found


@pytest.mark.parametrize(("design", "build"), [pytest.param(d, b, id=name) for name, d, b in hands()])
def test_lengths_and_arms_agree_everywhere(design, build):
    row = compare_lines(design, build, random_poses(design, POSES, seed=7))
    assert row.worst < TOLERANCE_MM, row


def test_the_random_poses_do_bear_on_the_cylinders():
    # Otherwise the comparison above would say nothing about wrapping.
    _, design, build = hands()[0]
    hand, m = Hand(design, build), compile_model(design, build)
    poses = random_poses(design, POSES, seed=7)
    barrel = hand.model.geom("barrel").id
    bears = 0
    for pose in poses:
        path_lengths(hand, pose)
        data = hand.data
        used = int(data.ten_wrapadr[-1] + data.ten_wrapnum[-1])  # MuJoCo leaves old entries behind
        bears += bool(np.any(data.wrap_obj.reshape(-1)[:used] == barrel))
    arcs = np.array([wrap_angle(m.extensor, pose.phi_rad[None])[0] for pose in poses])
    assert 5 <= bears <= POSES - 5, "the wrist barrel, sometimes touched and sometimes not"
    assert np.all((arcs > 0.1).sum(axis=0) > POSES / 2), "every knuckle cylinder"


def test_stiffnesses_agree():
    for name, design, build in hands():
        hand, m = Hand(design, build), compile_model(design, build)
        assert m.cord_stiffness[0] == pytest.approx(hand.cord_k * 1e-3, rel=1e-9), name
        assert m.elastic_stiffness[0] == pytest.approx(hand.elastic_k * 1e-3, rel=1e-9), name
