"""The swift engine against hands that it had no part in: MuJoCo's, and a block put askew by another hand."""

from __future__ import annotations

from dataclasses import replace

import faulty_shapes as shapes
import numpy as np
import pytest
from faulty_builds import Fault
from faulty_hand import make
from swift_hands import swift_looks

from handsel.data.load_design import load_design
from handsel.mechanics.build import nominal_build
from handsel.mechanics.digit_curves import digit_tables
from handsel.mechanics.swift_cords import as_drawn
from handsel.mechanics.swift_hand import looks

LINDEN = load_design("linden")
SEED = 12  # of development
HANDS = (
    (),
    (Fault("loop-long", "index-middle"),),
    (Fault("thumb-cord-short"),),
    (Fault("cord-through-gap", "ring"),),
    (Fault("channel-friction", "little"),),
    (Fault("part-scale", "middle"),),
)


@pytest.fixture(scope="module")
def both_ways():
    """A few hands in MuJoCo, and the same hands in the swift engine."""
    made = [make(LINDEN, SEED, 500 + k, faults) for k, faults in enumerate(HANDS)]
    return [m.truth for m in made], swift_looks(LINDEN, [m.recipe for m in made])


def test_rests_tilt_and_pulls_are_mujocos(both_ways):
    truth, seen = both_ways
    for name, theirs, most in (
        ("worked_rest_deg", "worked_deg", 0.3),
        ("lowered_rest_deg", "lowered_deg", 0.3),
    ):
        away = getattr(seen, name) - [getattr(t, theirs) for t in truth]
        assert np.abs(away).max() < most, name
    assert np.abs(seen.tilt_deg - [t.tilt_deg for t in truth]).max() < 1.0
    assert np.abs(seen.pull_log2 - np.log2([t.pull_ratio for t in truth])).max() < 0.15


def test_fingers_start_when_mujocos_do_within_the_drag(both_ways):
    truth, seen = both_ways
    for row, t in enumerate(truth):
        start = np.array(t.start_deg)
        lead = start[:4] - [np.median(np.delete(start[:4], f)) for f in range(4)]
        if np.abs(lead).max() < 5.0:  # all together, to an eye
            assert np.abs(seen.start_lead_deg[row, :4]).max() < 8.0


@pytest.mark.parametrize(("turn_deg", "roll_deg"), [(6.0, 0.0), (-6.0, 0.0), (0.0, 8.0), (5.0, -7.0)])
def test_a_block_askew_is_the_same_however_it_is_put_there(turn_deg, roll_deg):
    build = nominal_build(LINDEN, 1)
    tables = digit_tables((LINDEN,))
    # The bar's axis points down, the yaw of the other one up.
    askew = replace(
        as_drawn(LINDEN, build), block_turn_deg=np.array([turn_deg]), block_roll_deg=np.array([roll_deg])
    )
    ours = looks(LINDEN, tables, askew)
    theirs = looks(shapes.block_askew(LINDEN, -turn_deg, roll_deg), tables, as_drawn(LINDEN, build))
    for name in ("worked_rest_deg", "lowered_rest_deg", "tilt_deg", "thumb_lead_deg"):
        assert getattr(ours, name) == pytest.approx(getattr(theirs, name), abs=0.05), name
    straight = looks(LINDEN, tables, as_drawn(LINDEN, build))
    assert abs(float(ours.tilt_deg[0] - straight.tilt_deg[0])) > 1.0  # it does something
