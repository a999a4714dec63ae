"""What to do with a hand: plain reworks, a search for causes, or nothing; by the bundled examples."""

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

import diagnosing
from handsel.cli import handsel
from handsel.data.hand_plan_tables import hand_plan_table
from handsel.data.load_actions import load_actions
from handsel.data.load_case import load_case
from handsel.data.load_design import load_design
from handsel.data.load_protocol import load_protocol
from handsel.data.schemas import schema
from handsel.inspection.case import Observation
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand import plain
from handsel.rework.hand.advice import advise

EXAMPLES = Path(__file__).parents[2] / "examples"


def example(number):
    return load_case(next(EXAMPLES.glob(f"{number:02d}-*.toml")))


def advice_on(case, library=None):
    """As the command advises; without a library, none may be asked for."""
    protocol, catalogue = load_protocol(), diagnosing.of_kinds(*diagnosing.FEW)
    actions = load_actions("wrist-hand-1-actions", diagnosing.whole(), protocol)

    def hands():
        if library is None:
            raise AssertionError("no cause has to be searched for")
        return library

    return advise(case, protocol, load_design("linden"), catalogue, actions, hands)


def work_on(case):
    told_by_causes = {o.id for o in diagnosing.whole().observables}
    return plain.plain_work(case, load_protocol(), told_by_causes, None)


def seen(of, place="", **answer):
    return Observation(of=of, place=place, by="inspector 2", **answer)


def test_a_good_hand_is_left_alone():
    told = advice_on(example(1))
    assert told.released
    assert told.way is None
    assert told.sentence.startswith("Nothing is to be put right.")


def test_a_hand_with_open_looks_is_sent_on_to_them_and_not_taken_apart():
    for number in (10, 11):
        told = advice_on(example(number))
        assert not told.released
        assert told.way is None
        assert told.open_minutes > 5.0
        assert "still to be looked at" in told.sentence
    assert "Closed firmly 20 times" in advice_on(example(10)).sentence


def test_a_cracked_cuff_is_replaced_without_a_search():
    told = advice_on(example(9))
    assert told.plan is None
    assert told.sentence.startswith("Print and form a new cuff: “The cuff has no crack” does not hold.")
    assert told.way.minutes > 30.0


def test_before_it_is_strung_a_hand_shows_its_faults_by_themselves():
    told = advice_on(example(8))
    assert told.plan is None
    assert told.sentence.startswith("Put thumb and finger parts on their right digits")


def test_of_a_strung_hand_a_crack_is_plain_and_what_cords_do_is_not():
    case = example(1)
    cracked = replace(case, observations=(*case.observations, seen("cuff-no-cracks", answer="no")))
    assert [r.rework for r in work_on(cracked).reworks] == ["replace-cuff"]
    assert not work_on(cracked).search
    sticks = replace(case, observations=(*case.observations, seen("reopens-fully", "index", answer="no")))
    assert work_on(sticks).search
    assert not work_on(sticks).reworks


def test_a_hand_that_cannot_close_is_searched_for_causes_though_its_angle_passes():
    assert work_on(example(6)).search
    assert not work_on(example(6)).reworks, "that the rod slips is the cords' doing, not a rework by itself"


def test_what_is_plain_comes_before_what_is_searched_for():
    library = diagnosing.library_with(*diagnosing.FEW)
    case = example(12)
    both = replace(case, observations=(*case.observations, seen("cuff-no-cracks", answer="no")))
    alone, told = advice_on(case, library), advice_on(both, library)
    assert alone.plain is None
    assert alone.sentence == alone.plan.sentence
    assert told.sentence.startswith("Print and form a new cuff")
    assert "After that:" in told.sentence
    assert told.way.minutes == pytest.approx(told.plain.minutes + alone.way.minutes)
    assert told.way.recheck_minutes == pytest.approx(told.plain.recheck_minutes + alone.way.recheck_minutes)
    assert told.way.p_success < alone.way.p_success
    as_json = hand_plan_table(told, "R-1 (H-1)").model_dump(mode="json")
    jsonschema.validate(as_json, schema("hand-plan"))
    assert as_json["plain"]["title"] == told.plain.title


def test_looks_that_only_tell_causes_apart_ask_for_a_search_when_they_speak_against_the_hand():
    """Little was looked at and nothing of it fails; then the index finger stays where it is bent to, or comes back."""
    library = diagnosing.library_with(*diagnosing.FEW)
    case = example(11)

    def bent(answer):
        looks = [seen("springs-back", f"index.{joint}", answer=answer) for joint in ("knuckle", "tip")]
        return advice_on(replace(case, observations=(*case.observations, *looks)), library)

    assert bent("stays").plan is not None
    assert bent("returns").plan is None


def test_a_rework_is_done_where_its_item_touches():
    protocol = load_protocol()
    item = next(
        i for i in work_on(example(1)).inspection.items if i.id == "finger-cords-taut" and i.place == "ring"
    )
    rework = protocol.rework("restring-loop")
    assert plain.rework_place(item, rework, protocol) == "ring-little"


def test_at_the_terminal_a_good_hand_leaves_with_the_good_status_and_json_says_so():
    done = CliRunner().invoke(handsel, ["plan", str(EXAMPLES / "01-good-hand.toml"), "--json"])
    told = json.loads(done.stdout)
    jsonschema.validate(told, schema("hand-plan"))
    assert done.exit_code == 0
    assert told["released"]
    assert told["plan"] is told["plain"] is None
    cracked = CliRunner().invoke(handsel, ["plan", str(EXAMPLES / "09-cracked-cuff.toml")])
    assert cracked.exit_code == 1
    assert "Print and form a new cuff" in " ".join(cracked.output.split())


def test_reworks_of_the_same_kind_at_the_same_place_are_done_once():
    case = example(9)
    burr = replace(case, observations=(*case.observations, seen("cuff-no-white-line", answer="no")))
    assert work_on(burr).reworks.count(ReworkDone(rework="replace-cuff", place="")) <= 1
    assert len(set(work_on(burr).reworks)) == len(work_on(burr).reworks)
