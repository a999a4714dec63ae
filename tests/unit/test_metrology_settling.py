"""What settles an undecided verdict, in the cases a bench meets."""

from math import inf

import pytest

from handsel.errors import OutOfRange
from handsel.metrology.decision import Action, BetterMethod, Limits, Verdict, decide, what_settles
from handsel.metrology.quantity import Quantity

AT_LEAST_30 = Limits(low=30, unit="deg")


def undecided(value=30.4, u=0.8, dof=inf, limits=AT_LEAST_30):
    decision = decide(Quantity(value=value, u=u, dof=dof, unit="deg", origin="rest angle"), limits)
    assert decision.verdict is Verdict.UNDECIDED
    return decision


def test_just_above_the_limit_with_a_large_common_error_no_reading_helps():
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.5)
    assert found.readings is None
    assert found.action is Action.NONE_KNOWN
    assert found.minutes == inf
    assert found.sentence == ("Nothing given here settles it. No number of further readings settles it: "
                              "the error common to all readings alone keeps it undecided. "
                              "Find a better method.")


def test_a_smaller_common_error_and_readings_do():
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.1)
    # Hand calculation: u must fall to 0.4 / 1.64485 = 0.24318, of which 0.22166 may be scatter;
    # 1/0.22166^2 - 1/(0.8^2 - 0.1^2) = 18.766, times 0.6^2 = 6.76, so 7.
    assert found.readings == 7
    assert found.readings_verdict is Verdict.CONFORMS
    assert found.action is Action.READ_AGAIN
    assert found.sentence == "Read again 7 times, each afresh."


def test_readings_may_settle_it_against_the_hand():
    found = what_settles(undecided(value=29.5), u_repeat=0.4, u_common=0.1)
    assert found.readings_verdict is Verdict.DOES_NOT_CONFORM


def test_a_scatter_taken_as_known_can_settle_what_few_readings_left_open():
    # Two readings: one degree of freedom, so 30 + 6.31 u is asked for; a known scatter asks 1.645 u.
    found = what_settles(undecided(value=32, u=0.8, dof=1), u_repeat=0.8, u_common=0.0)
    assert found.readings == 1


def test_half_turns_move_it_clear_of_the_limit():
    # 30 + 1.645 * 0.8 = 31.316: 0.916 away, two half turns of 0.465.
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.5, step=0.465)
    assert found.steps == 2
    assert found.step == 0.465
    assert found.action is Action.MOVE_CLEAR
    assert "Move it 2 steps of +0.465° and be clear of the limit" in found.sentence


def test_at_the_upper_limit_the_same_step_goes_the_other_way():
    decision = undecided(value=44.8, limits=Limits(low=30, high=45, unit="deg"))
    found = what_settles(decision, u_repeat=0.6, u_common=0.5, step=0.465)
    assert found.step == -0.465
    assert found.steps == 3


def test_limits_too_narrow_for_the_method_cannot_be_cleared_by_moving():
    decision = undecided(value=30.5, limits=Limits(low=30, high=31, unit="deg"))
    found = what_settles(decision, u_repeat=0.6, u_common=0.5, step=0.1)
    assert found.steps is None


def test_the_quickest_method_that_settles_it_is_taken():
    methods = [BetterMethod(name="a second photo", u=0.5, minutes=1),
               BetterMethod(name="two cards on a board", u=0.2, minutes=8),
               BetterMethod(name="a protractor on the pads", u=0.2, minutes=3)]
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.5, better_methods=methods)
    assert found.method == methods[2]
    assert found.action is Action.BETTER_METHOD
    assert found.minutes == 3
    assert "Measure with a protractor on the pads (standard uncertainty 0.2°)." in found.sentence


def test_a_method_may_be_given_as_name_and_u():
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.5, better_methods=[("two cards", 0.2)])
    assert found.method.name == "two cards"


@pytest.mark.parametrize(("per_reading", "per_step", "action"), [
    (0.1, 2, Action.READ_AGAIN), (1, 0.5, Action.MOVE_CLEAR), (5, 5, Action.BETTER_METHOD)])
def test_the_soonest_is_counted_in_minutes(per_reading, per_step, action):
    found = what_settles(undecided(), u_repeat=0.6, u_common=0.1, step=0.465,
                         better_methods=[BetterMethod(name="two cards", u=0.2, minutes=6)],
                         minutes_per_reading=per_reading, minutes_per_step=per_step)
    assert found.action is action


def test_a_settled_verdict_needs_nothing():
    decision = decide(Quantity(value=36, u=0.8, unit="deg", origin="rest angle"), AT_LEAST_30)
    found = what_settles(decision, u_repeat=0.6, u_common=0.5, step=0.465)
    assert (found.action, found.readings, found.minutes) == (Action.NOTHING, 0, 0)
    assert found.sentence == "Settled: it conforms."


def test_exactly_on_the_limit_reading_on_is_no_use():
    found = what_settles(undecided(value=30.0), u_repeat=0.6, u_common=0.0)
    assert found.readings is None
    assert found.never_because == "the value lies too near the limit"


@pytest.mark.parametrize(("change", "says"), [
    ({"u_repeat": -1}, "u_repeat is -1"), ({"u_repeat": float("nan")}, "u_repeat is nan"),
    ({"u_common": -0.1}, "u_common is -0.1"), ({"u_common": 0.9}, "u_common is 0.9"),
    ({"step": 0}, "step is 0"), ({"step": inf}, "step is inf"),
    ({"minutes_per_reading": -1}, "minutes_per_reading"),
    ({"better_methods": [("cards", -0.1)]}, "cards: u is -0.1"),
    ({"better_methods": [("", 0.1)]}, "name is ''")])
def test_numbers_that_cannot_be_are_refused(change, says):
    given = {"u_repeat": 0.6, "u_common": 0.5, **change}
    with pytest.raises(OutOfRange) as refused:
        what_settles(undecided(), **given)
    assert says in str(refused.value)
    assert refused.value.do


def test_a_repeat_without_scatter_is_worth_one_reading():
    assert what_settles(undecided(), u_repeat=0.0, u_common=0.1).readings == 1
    assert what_settles(undecided(), u_repeat=1e-300, u_common=0.1).readings == 1
