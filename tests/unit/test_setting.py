"""What setting a hand by its own readings brings: more than leaving it, less if one reads badly, nothing for a tilt."""

from dataclasses import replace
from pathlib import Path

import pytest

from handsel.data.load_actions import load_actions
from handsel.data.load_case import load_case
from handsel.data.load_design import load_design
from handsel.data.load_faults import load_faults
from handsel.design.placing import placed
from handsel.inspection.deciding import inspect
from handsel.mechanics.excess import estimate_lengths, slides_of
from handsel.rework.assessment import wanted_from
from handsel.rework.hand.length_ways import length_ways
from handsel.rework.moves import Chooser
from handsel.rework.setting import THUMB_IN_BETWEEN_DEG, conforms_as_left, once_set

EXAMPLES = Path(__file__).parents[2] / "examples"
LINDEN = load_design("linden")
WELL = {"angle_u_deg": 0.5, "lead_u_deg": 0.5}
BADLY = {"angle_u_deg": 6.0, "lead_u_deg": 6.0}


def chooser_of(name, protocol):
    case = load_case(EXAMPLES / name)
    design = placed(LINDEN, scale_ratio=case.hand.scale_ratio, side=case.hand.side)
    readings = inspect(case, protocol).readings
    found = estimate_lengths(design, readings, slides_of(design, readings))
    return Chooser(design, found, wanted_from(case, protocol), thumb_aim_deg=THUMB_IN_BETWEEN_DEG)


@pytest.fixture(scope="module")
def shallow(protocol):
    return chooser_of("03-a-little-shallow.toml", protocol)


def test_a_hand_set_by_its_readings_conforms_more_often_than_one_left_after_the_move(shallow):
    moved = shallow.adjusted()
    assert conforms_as_left(shallow, shallow.stay()) < conforms_as_left(shallow, moved)
    assert once_set(shallow, moved, **WELL).p_conforms > conforms_as_left(shallow, moved)


def test_it_is_worth_less_the_worse_one_reads(shallow):
    moved = shallow.adjusted()
    assert once_set(shallow, moved, **BADLY).p_conforms < once_set(shallow, moved, **WELL).p_conforms - 0.1


def test_what_stands_level_or_not_no_screw_changes(shallow):
    """With a tilt beyond its limit in every guess the hand never conforms, however well it is set."""
    limit = shallow.wanted.tilt_limit_deg
    strict = Chooser(shallow.design, shallow.found, replace(shallow.wanted, tilt_limit_deg=-1.0))
    assert limit > 0.0
    assert once_set(strict, strict.adjusted(), **WELL).p_conforms == 0.0


def test_a_thumb_that_starts_first_does_not_conform_though_it_is_within_the_limit_of_timing(shallow):
    """It leaves the fingers' cords slack at rest."""
    left = shallow.adjusted()
    early = replace(left, lead_deg=0.0 * left.lead_deg + 2.0)
    late = replace(left, lead_deg=0.0 * left.lead_deg - 2.0)
    assert shallow.wanted.lead_limit_deg > 2.0
    assert conforms_as_left(shallow, early) == 0.0
    assert conforms_as_left(shallow, late) > 0.0


def test_new_cords_and_slides_are_promised_with_their_setting(protocol):
    case = load_case(EXAMPLES / "12-one-loop-long.toml")
    catalogue = load_faults("wrist-hand-1", protocol)
    actions = load_actions("wrist-hand-1-actions", catalogue, protocol)
    bare, with_setting = (length_ways(case, protocol, LINDEN, how) for how in (None, actions.setting))
    assert bare is not None
    assert with_setting is not None
    assert with_setting.now_p == bare.now_p
    for cord, way in bare.cords.items():
        assert with_setting.cords[cord].p_success >= way.p_success
    assert with_setting.every.p_success > bare.every.p_success


def test_the_angle_that_is_told_is_the_one_that_the_setting_leaves(protocol):
    """Screws ten turns in come forward first; the angle there is too small, and the setting turns them in a little."""
    case = load_case(EXAMPLES / "05-screws-pulled-in.toml")
    catalogue = load_faults("wrist-hand-1", protocol)
    actions = load_actions("wrist-hand-1-actions", catalogue, protocol)
    bare, with_setting = (length_ways(case, protocol, LINDEN, how) for how in (None, actions.setting))
    assert bare.slides.screw_turns == with_setting.slides.screw_turns < -8.0
    assert bare.slides.worked_rest_angle_deg.value < 30.0
    assert 30.0 < with_setting.slides.worked_rest_angle_deg.value < 36.0
    assert with_setting.slides.p_success > bare.slides.p_success + 0.3
