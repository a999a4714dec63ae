"""How the study of plans looks at hands and tells what it found: rules that its figures hang on."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))

from faulty_readings import Said
from hand_plan_looks import Looking, looks_wrong, reads_wrong, written
from hand_plan_page import Asked, Run, lower, report

from handsel.data.load_actions import load_actions
from handsel.data.load_design import load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol


@pytest.fixture(scope="module")
def looking():
    protocol = load_protocol()
    catalogue = load_faults("wrist-hand-1", protocol)
    actions = load_actions("wrist-hand-1-actions", catalogue, protocol)
    return Looking(protocol=protocol, catalogue=catalogue, actions=actions, design=load_design("linden"))


def test_one_no_is_settled_by_others_who_look():
    assert looks_wrong([False, True, True], False) == (False, 1)
    assert looks_wrong([True, True, False], False) == (True, 2)
    assert looks_wrong([True, False, False], False) == (False, 3)
    assert looks_wrong([True, False, True, True], False) == (True, 4)


def test_what_did_not_hold_before_is_believed_to_hold_only_when_two_more_say_so():
    assert looks_wrong([False, False], True) == (False, 2)
    assert looks_wrong([False, True, True, True], True) == (True, 4)


def test_a_reading_far_from_its_limit_is_read_once_and_one_near_it_again(looking):
    tilt = looking.rule("whippletree-level", "")
    assert reads_wrong([1.0, 9.0, 9.0], tilt, 2.2) == (False, 1)
    assert reads_wrong([9.0, 1.0, 1.0], tilt, 2.2) == (True, 1)
    wrong, looks = reads_wrong([5.5, 3.0, 3.0, 3.0, 3.0, 3.0], tilt, 2.2)
    assert not wrong
    assert 1 < looks < 6


def test_what_is_amiss_goes_by_the_protocol_and_for_other_looks_by_the_catalogue(looking):
    said = [
        Said(of="whippletree-level", value=6.0, unit="deg"),
        Said(of="worked-rest-angle", value=36.0, unit="deg"),
        Said(of="tip-size", place="ring", value=91.0, unit="percent"),
        Said(of="part-size", place="ring", value=99.0, unit="percent"),
        Said(of="cord-pull", place="index", answer="sticky"),
        Said(of="cord-pull", place="thumb", answer="jammed"),
        Said(of="screw-bites", place="thumb-side", answer="no"),
        Said(of="starts", place="index", answer="late"),
    ]
    assert looking.does_not_hold(said) == {
        ("whippletree-level", ""),
        ("tip-size", "ring"),
        ("cord-pull", "thumb"),
        ("screw-bites", "thumb-side"),
    }


def test_two_peoples_readings_are_kept_where_they_have_one_method_else_the_surer_one():
    ruler = Said(of="whippletree-flush", value=2.0, unit="mm", method="ruler")
    caliper = replace(ruler, value=2.6, method="caliper")
    assert written(ruler, replace(ruler, value=2.5), "").readings == (2.0, 2.5)
    assert written(ruler, caliper, "").value == 2.6
    assert written(caliper, ruler, "").value == 2.6


def a_run(number, **more):
    """A hand that went well, but for what is given."""
    given = {
        "faults": ("wrist-tight",),
        "promised_first": 0.8,
        "promised_handed": 0.9,
        "promised_minutes": 50.0,
        "checks": 3,
        "first": "Ease the wrist hinge",
        "good_first": True,
        "good_handed": True,
        "reworks": 1,
        "minutes": 40.0,
        "fixed_minutes": 80.0,
        "restring_minutes": 160.0,
        "left": (),
    } | more
    return Run(number=number, **given)


def test_the_page_says_how_often_it_went_well_and_whether_the_seed_was_looked_at():
    asked = Asked(
        seed=7,
        hands=4,
        looked_at=(5, 6),
        whole=False,
        simulated=100,
        last_title="Take apart",
        most_tries=3,
        own_look_sees=0.85,
    )
    runs = [
        a_run(1),
        a_run(2, good_first=False, reworks=2, left=("elastics",)),
        a_run(3, good_first=False, good_handed=False, left=("elastics", "knots")),
        a_run(4, faults=("wrist-tight", "loop-long@index-middle"), first="Take apart", taken_apart=True),
    ]
    page = report(runs, asked)
    assert f"| all | 4 | 75.0 % | {100 * lower(3, 4):.1f} % | 90 % | 50.0 % |" in page
    assert "| two faults | 1 | 100.0 % |" in page
    assert "1.25 a hand (1: 3, 2: 1, 3: 0 hands)" in page
    assert "1 hands were taken apart and built again on the way, 1 of them at once, 0 after 3 reworks" in page
    assert "saw 1 of 2 (the plan reckons with 85 in 100); of the good ones it took 0 of 2 for not good" in page
    assert "| everything restrung first | 160 | 0.25 |" in page
    assert "- elastics: 2\n- knots: 1" in page
    assert "| wrist-tight | 3 | 2 | 1 |" in page
    assert "No hand of this seed was looked at" in page
    assert "figures may flatter" in report(runs, replace(asked, seed=5))
    assert "9 hands were asked for" in report(runs, replace(asked, hands=9))


def test_a_bound_lies_below_the_share_and_nearer_the_more_hands_there_are():
    assert lower(9, 10) < lower(90, 100) < 0.9
    assert lower(90, 100) == pytest.approx(0.8406, abs=0.001)
