"""What linden must do, each with friction on: the wishes that its geometry was searched for."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.check import check_design
from handsel.design.placing import placed
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import (
    closed_angle,
    closing_path,
    opening_path,
    snaps,
    start_angles,
    thumb_lead_deg,
)
from handsel.mechanics.grip import held_gauge, hold_cylinder, tip_force
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked

LINDEN = load_design("linden")
DIGITS = [d.name for d in LINDEN.digits]
THREE = [DIGITS.index(n) for n in ("index", "middle", "thumb")]


@pytest.fixture(scope="module", params=[0.75, 1.0, 1.25])
def hand(request):
    design = placed(LINDEN, scale_ratio=request.param, side="right")
    m = compile_model(design, nominal_build(design))
    path = closing_path(m, to_deg=-24.0, step_deg=2.0)
    assert path.converged.all()
    return design, m, path


def test_rests_at_36_degrees_worked_and_lowered(hand):
    _, m, _ = hand
    assert rest_lowered(m).rest_angle_deg[0] == pytest.approx(36.0, abs=0.3)
    assert rest_worked(m).rest_angle_deg[0] == pytest.approx(36.0, abs=0.3)


def until_closed(path):
    return path.wrist_deg[0] >= closed_angle(path)[0]


def test_knuckles_lead_the_tips(hand):
    _, _, path = hand
    knuckles, tips = np.moveaxis(path.phi_deg[0, until_closed(path)], -1, 0)
    bent = (knuckles > 3.0) & (knuckles < 75.0)  # near its stop a knuckle has done its part
    assert bent.any(0).all()
    assert (tips[bent] < 0.5 * knuckles[bent]).all()


def test_thumb_meets_index_or_middle_before_any_of_the_three_reaches_a_stop(hand):
    design, _, path = hand
    k = int(np.argmax(path.gap_mm[0].min(-1) <= 0.0))
    assert path.gap_mm[0, k].min() <= 0.05
    high = np.array(
        [[design.hinge(d.proximal_hinge).max_deg, design.hinge(d.tip_hinge).max_deg] for d in design.digits]
    )
    assert (path.phi_deg[0, : k + 1, THREE] < high[THREE][:, None]).all()


def test_closes_within_60_degrees_of_wrist_travel(hand):
    _, _, path = hand
    assert 36.0 - closed_angle(path)[0] < 60.0


def test_thumb_starts_with_the_fingers(hand):
    _, _, path = hand
    assert abs(thumb_lead_deg(path, DIGITS.index("thumb"))[0]) < 5.0
    assert np.isfinite(start_angles(path)).all()


def test_opens_fully_again_with_friction(hand):
    _, m, path = hand
    back = opening_path(m, path, to_deg=40.0, step_deg=2.0)
    assert np.abs(back.phi_deg[0, -1]).max() < 1.0


def test_closes_without_a_jump(hand):
    path = hand[2]
    assert [s for s in snaps(path) if s.wrist_after_deg >= closed_angle(path)[0]] == []


@pytest.mark.parametrize("which", [0, 1])
def test_holds_the_25_and_50_mm_cylinders(which):
    m = compile_model(LINDEN, nominal_build(LINDEN))
    hold = hold_cylinder(m, held_gauge(LINDEN, LINDEN.gauges[which]))
    assert hold.holds[0], hold
    assert hold.digits_on[0] >= 2


def test_pinches_harder_the_harder_the_wrist_pushes(hand):
    _, m, path = hand
    pinch = tip_force(m, path)
    assert pinch.force_n[0] > 0.5
    assert pinch.share_ratio[0].sum() == pytest.approx(1.0)


def test_digits_are_clear_of_the_table_in_the_inspection_pose():
    lines = check_design(LINDEN)
    judged = [line for line in lines if line.ok is not None]
    assert len(judged) >= 4
    assert all(line.ok for line in judged), [line for line in judged if not line.ok]
