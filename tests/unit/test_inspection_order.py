"""Steps out of order, and what still stands after a rework."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsel.inspection.case import BadCase, Concession, Done, GroupAcceptance
from handsel.inspection.deciding import inspect
from inspecting import answer, bundled, number, sound_case, substitute, with_, without

HIDDEN = ("knots-worked-in", "knots-tied-tight", "tails-left-long")


def sealed_too_early():
    """At the hold point before sealing, and the glue is on already."""
    return replace(sound_case("strung"), done=(Done(what="sealed"),))


def test_sealed_too_early_names_what_can_no_longer_be_seen_and_ways_on():
    found = inspect(sealed_too_early(), bundled())
    assert found.whole == "not decided yet"
    (early,) = found.out_of_order
    assert early.step == "sealed"
    assert "was not passed yet" in early.reason
    assert any("Closed firmly 20 times" in text for text in early.hidden)
    text = " ".join(early.ways_on)
    assert "no mark has moved" in text  # the substitute check
    assert "lead concedes" in text
    assert "Replace all three cords" in text  # taking the step back
    item = found.item("knots-worked-in")
    assert item.status == "not seen"
    assert "too early" in item.reason
    assert item.to_check == bundled().characteristic("knots-worked-in").substitute.how


def test_the_substitute_check_leads_on():
    case = sealed_too_early()
    done = replace(case, observations=case.observations + tuple(substitute(id) for id in HIDDEN))
    found = inspect(done, bundled())
    assert found.whole == "release"
    assert found.out_of_order[0].hidden == ()  # still said, with nothing left hidden
    # A substitute check has its own miss rate.
    assert (
        found.item("knots-worked-in").p_conform
        < inspect(sound_case(), bundled()).item("knots-worked-in").p_conform
    )
    failed = replace(case, observations=case.observations + (substitute("knots-worked-in", "no"),))
    assert inspect(failed, bundled()).whole == "rework"


def test_the_lead_can_concede_what_is_hidden():
    concessions = tuple(Concession(of=id, by="lead", reason="cord holds 20 N, seen by two") for id in HIDDEN)
    found = inspect(replace(sealed_too_early(), concessions=concessions), bundled())
    assert found.whole == "release"
    assert found.item("knots-worked-in").status == "not seen"
    assert found.item("knots-worked-in").conceded_by == "lead"


def test_what_was_seen_before_the_step_stands():
    case = sealed_too_early()
    seen = tuple(replace(o, before="sealed") if o.of in HIDDEN else o for o in case.observations)
    found = inspect(replace(case, observations=seen), bundled())
    assert found.whole == "release"
    assert len(found.out_of_order) == 1


def test_a_step_in_its_turn_hides_nothing_that_was_seen():
    case = replace(sound_case("finished"), done=(Done(what="sealed"), Done(what="grip-tips-on")))
    found = inspect(case, bundled())
    assert (found.whole, found.out_of_order) == ("release", ())
    missing = inspect(without(case, "knots-sealed"), bundled())
    assert missing.item("knots-sealed", "index").to_check.startswith("Roll the grip tip back")


def test_a_step_before_the_one_it_needs_is_out_of_order():
    case = replace(sound_case("finished"), done=(Done(what="grip-tips-on"), Done(what="sealed")))
    (early,) = inspect(case, bundled()).out_of_order
    assert early.step == "grip-tips-on"
    assert "was done later" in early.reason


def test_a_step_long_past_can_have_been_too_early():
    case = replace(sound_case("finished"), done=(Done(what="sealed", at="dry-fit"),))
    found = inspect(case, bundled())
    assert [o.step for o in found.out_of_order] == ["sealed"]
    assert found.item("knots-worked-in").status == "not seen"


def test_an_assumed_step_still_offers_both_ways():
    found = inspect(without(sound_case("strung"), "cuff-drops-freely"), bundled())
    item = found.item("cuff-drops-freely")
    assert "If that can no longer be seen" in item.to_check
    assert found.out_of_order == ()


def test_answers_older_than_a_rework_that_undoes_them_do_not_count():
    case = replace(sound_case("strung"), done=(Done(what="turn-screws-in"),))
    found = inspect(case, bundled())
    assert found.whole == "not decided yet"
    assert found.item("worked-rest-angle").status == "not seen"
    assert "undone by: Turn both tension screws in" in found.item("worked-rest-angle").reason
    assert found.item("cord-through-hole", "index").status == "conforms"  # a screw undoes no threading


def test_answers_marked_as_later_than_the_rework_count():
    case = replace(sound_case("strung"), done=(Done(what="turn-screws-in"),))
    anew = replace(case, observations=tuple(replace(o, after="turn-screws-in") for o in case.observations))
    assert inspect(anew, bundled()).whole == "release"
    # A group looked at again counts too; its numbers do not.
    case = replace(case, accepted=(GroupAcceptance(group="strung", after="turn-screws-in"),))
    open_ids = {i.id for i in inspect(case, bundled()).open_items if i.blocks}
    assert "whippletree-rocks-strung" not in open_ids
    assert "worked-rest-angle" in open_ids


def test_a_rework_at_one_place_leaves_the_others():
    case = replace(sound_case("dry-fit"), done=(Done(what="ease-hinge", place="ring"),))
    found = inspect(case, bundled())
    assert found.item("knuckle-hinges-free", "ring").status == "not seen"
    assert found.item("knuckle-hinges-free", "index").status == "conforms"


def test_a_knot_tied_again_can_be_seen_again_although_the_others_are_sealed():
    case = replace(sealed_too_early(), done=(Done(what="sealed"), Done(what="retie-knot", place="index")))
    seen = answer("knots-tied-tight", "yes", "index", after="retie-knot")
    found = inspect(replace(case, observations=(*case.observations, seen)), bundled())
    assert found.item("knots-tied-tight", "index").status == "conforms"
    assert found.item("knots-tied-tight", "ring").status == "not seen"
    assert found.item("knots-tied-tight", "thumb").status == "not seen"


def test_restringing_takes_the_sealing_back():
    case = replace(sealed_too_early(), done=(Done(what="sealed"), Done(what="restring-all")))
    anew = replace(case, observations=tuple(replace(o, after="restring-all") for o in case.observations))
    found = inspect(anew, bundled())
    assert (found.whole, found.out_of_order) == ("release", ())


def test_sealed_too_early_a_second_time_is_found_again():
    case = replace(
        sealed_too_early(),
        done=(Done(what="sealed"), Done(what="restring-all"), Done(what="sealed", name="sealed again")),
    )
    anew = replace(case, observations=tuple(replace(o, after="restring-all") for o in case.observations))
    assert inspect(anew, bundled()).item("knots-worked-in").status == "not seen"
    between = replace(
        case,
        observations=tuple(
            replace(o, after="restring-all", before="sealed again") for o in case.observations
        ),
    )
    assert inspect(between, bundled()).whole == "release"


def test_a_later_number_replaces_the_older_one():
    case = replace(sound_case("strung"), done=(Done(what="turn-screws-in"),))
    both = replace(
        case,
        observations=(
            *(replace(o, after="turn-screws-in") for o in without(case, "worked-rest-angle").observations),
            number("worked-rest-angle", 28.5, "deg"),
            number("worked-rest-angle", 33.0, "deg", after="turn-screws-in"),
        ),
    )
    found = inspect(both, bundled())
    assert found.whole == "release"
    assert found.readings["worked_rest_angle_deg"].value == 33.0


@pytest.mark.parametrize(
    ("done", "said"),
    [
        ((Done(what="glued"),), "neither a step nor a rework"),
        ((Done(what="sealed"), Done(what="sealed")), "listed twice"),
        ((Done(what="ease-hinge", place="toe"),), "cannot be done at 'toe'"),
        ((Done(what="sealed", place="index"),), "cannot be done at 'index'"),
        ((Done(what="restring-all", place="index"),), "cannot be done at 'index'"),
    ],
)
def test_what_was_done_has_to_be_known(done, said):
    with pytest.raises(BadCase, match=said):
        inspect(replace(sound_case("strung"), done=done), bundled())


def test_before_and_after_have_to_name_something_done():
    with pytest.raises(BadCase, match="'restringing' is not among the things done"):
        inspect(with_(sound_case(), number("worked-rest-angle", 36.0, "deg", after="restringing")), bundled())
