"""What answers are worth: overlooked faults, false alarms, two people, and "can't tell"."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsel.errors import OutOfRange
from handsel.inspection.answers import Look, p_good
from handsel.inspection.case import GroupAcceptance
from handsel.inspection.deciding import inspect
from inspecting import answer, bundled, sound_case, with_, without


def item_after(*observations, accepted=(), protocol=None):
    case = replace(with_(sound_case("parts"), *observations), accepted=accepted)
    if accepted:
        case = without(case, "press-no-flex")
    return inspect(case, protocol or bundled()).item("press-no-flex")


def test_probability_by_hand():
    # prior 0.05, miss 0.15, false alarm 0.03: 0.95*0.97 / (0.95*0.97 + 0.05*0.15)
    assert item_after(answer("press-no-flex", "yes")).p_conform == pytest.approx(0.9215 / 0.9290)
    # 0.95*0.03 / (0.95*0.03 + 0.05*0.85)
    assert item_after(answer("press-no-flex", "no")).p_conform == pytest.approx(0.0285 / 0.0710)


def test_one_person_answering_twice_is_no_second_look():
    once = item_after(answer("press-no-flex", "yes"))
    twice = item_after(answer("press-no-flex", "yes"), answer("press-no-flex", "yes", note="again"))
    other = item_after(answer("press-no-flex", "yes"), answer("press-no-flex", "yes", by="lead"))
    assert twice.p_conform == once.p_conform < other.p_conform


def test_a_standing_no_is_not_outvoted():
    split = item_after(
        answer("press-no-flex", "no"),
        *(answer("press-no-flex", "yes", by=f"inspector {k}") for k in (3, 4, 5)),
    )
    assert split.p_conform > 0.99
    assert split.status == "does not conform"
    assert "answers differ" in split.reason


def test_cannot_tell_decides_nothing_and_asks_for_another_person():
    alone = item_after(answer("press-no-flex", "can't tell"))
    assert (alone.status, alone.p_conform) == ("undecided", None)
    assert "another person" in alone.reason
    helped = item_after(answer("press-no-flex", "can't tell"), answer("press-no-flex", "yes", by="lead"))
    assert helped.status == "conforms"


def test_a_group_taken_as_shown_is_worth_less_than_a_look():
    shown = item_after(accepted=(GroupAcceptance(group="parts-in-fingers"),))
    looked = item_after(answer("press-no-flex", "yes"))
    assert shown.status == "conforms"
    assert shown.p_conform < looked.p_conform
    # 1.5 times the misses: 0.95*0.97 / (0.95*0.97 + 0.05*0.225)
    assert shown.p_conform == pytest.approx(0.9215 / 0.93275)


def test_a_group_never_covers_critical_ones_numbers_or_a_choice_of_good_answers():
    case = replace(
        sound_case("fitting"),
        observations=(),
        accepted=tuple(GroupAcceptance(group=h.id) for h in bundled().hold_points),
    )
    found = inspect(case, bundled())
    open_now = {i.id for i in found.items if i.status == "not seen"}
    critical = {c.id for c in bundled().characteristics if c.severity == "critical"}
    assert critical <= open_now
    assert {"worked-rest-angle", "thumb-meets-finger", "bare-fit-tried"} <= open_now
    assert "six-knots" not in open_now


def test_one_answer_replaces_the_group_where_it_was_given():
    case = replace(
        without(sound_case("strung"), "cord-through-hole"),
        accepted=(GroupAcceptance(group="strung-palm-up"),),
    )
    found = inspect(with_(case, answer("cord-through-hole", "no", "ring")), bundled())
    assert found.item("cord-through-hole", "ring").status == "does not conform"
    assert found.item("cord-through-hole", "index").status == "conforms"


def test_when_looks_are_too_weak_another_person_is_asked_for():
    weak = replace(
        bundled(),
        characteristics=tuple(
            replace(c, miss_rate=0.5, prior_nonconforming=0.3) if c.id == "press-no-flex" else c
            for c in bundled().characteristics
        ),
    )
    one = item_after(answer("press-no-flex", "yes"), protocol=weak)
    assert one.status == "undecided"
    assert "another person" in one.reason
    several = item_after(
        *(answer("press-no-flex", "yes", by=f"inspector {k}") for k in range(1, 5)), protocol=weak
    )
    assert several.status == "conforms"


@pytest.mark.parametrize("rates", [(-0.1, 0.0), (0.0, 1.1), (float("nan"), 0.0)])
def test_rates_that_are_no_fractions_are_refused(rates):
    with pytest.raises(OutOfRange, match="expected a fraction"):
        Look(good=True, miss_rate=rates[0], false_alarm_rate=rates[1])


def test_perfect_looks_that_contradict_each_other_count_as_bad():
    perfect = [Look(good=g, miss_rate=0.0, false_alarm_rate=0.0) for g in (True, False)]
    assert p_good(0.1, perfect) == 0.0
    assert p_good(0.1, perfect[:1]) == 1.0
    with pytest.raises(OutOfRange, match="prior_nonconforming is 1.5"):
        p_good(1.5, [])


def test_a_group_looked_at_in_part_says_nothing_of_the_rest():
    only = (("press-no-flex", ""),)
    case = replace(
        sound_case("parts"),
        observations=(),
        accepted=(GroupAcceptance(group="parts-in-fingers", only=only),),
    )
    result = inspect(case, bundled())
    assert result.item("press-no-flex").status == "conforms"
    assert result.item("no-pores").status == "not seen"
