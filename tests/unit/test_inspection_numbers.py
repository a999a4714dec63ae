"""Numbers against their limits: uncertainty of the method, repeated readings, what settles them."""

from __future__ import annotations

import pytest

from handsel.inspection.case import BadCase, Observation
from handsel.inspection.deciding import inspect
from handsel.metrology.decision import Action
from inspecting import answer, bundled, number, sound_case, substitute, with_


def angle(**what):
    observation = Observation(of="worked-rest-angle", unit="deg", **what)
    return inspect(with_(sound_case(), observation), bundled()).item("worked-rest-angle")


def test_the_method_says_what_a_reading_is_worth_when_the_case_does_not():
    assert angle(value=36.0).decision.quantity.u == 0.8  # photo is the first method
    assert angle(value=36.0, method="protractor").decision.quantity.u == 1.5
    assert angle(value=36.0, method="protractor", u=0.4).decision.quantity.u == 0.4


def test_repeated_readings_shrink_only_what_is_not_common():
    many = angle(readings=(35.5, 36.5) * 50)
    assert many.decision.quantity.u == pytest.approx(0.5, rel=0.02)  # the common part stays
    assert many.decision.quantity.value == pytest.approx(36.0)


def test_an_undecided_angle_says_what_settles_it():
    item = angle(value=30.4, u=0.8)
    # P(X >= 30) with X ~ N(30.4, 0.8) is 0.6915
    assert (item.status, item.p_conform) == ("undecided", pytest.approx(0.6915, abs=5e-5))
    assert item.settling.readings is None  # a common error of 0.5 deg keeps it open for ever
    assert item.settling.action is Action.MOVE_CLEAR
    assert item.settling.steps == 2  # 30.4 + 2 * 0.46 is 1.28 u + inside
    assert "half a turn of both tension screws" in item.reason


def test_a_rough_reading_is_settled_by_a_better_method():
    item = angle(value=31.3, method="protractor")
    assert item.status == "undecided"
    assert item.settling.method is not None
    assert item.settling.method.name == "photo"


def test_a_limit_may_be_judged_only_in_its_own_unit():
    angle_in_mm = with_(sound_case(), Observation(of="worked-rest-angle", value=36.0, unit="mm"))
    with pytest.raises(BadCase, match="the number is in mm; it is checked in deg"):
        inspect(angle_in_mm, bundled())


@pytest.mark.parametrize("value", [180.0, -90.0, 3600.0])
def test_a_number_that_cannot_be_meant_is_asked_for_again(value):
    with pytest.raises(BadCase, match="cannot be meant"):
        angle(value=value)


def test_a_number_given_twice_is_not_guessed_at():
    twice = with_(
        sound_case(), number("worked-rest-angle", 36.0, "deg"), number("worked-rest-angle", 22.0, "deg")
    )
    with pytest.raises(BadCase, match="given more than once"):
        inspect(twice, bundled())
    mixed = with_(sound_case("parts"), number("part-mass", 100.0, "percent"), substitute("part-mass"))
    with pytest.raises(BadCase, match="given more than once"):
        inspect(mixed, bundled())


def test_a_number_that_nobody_could_read_is_undecided():
    item = inspect(with_(sound_case(), answer("worked-rest-angle", "can't tell")), bundled()).item(
        "worked-rest-angle"
    )
    assert item.status == "undecided"
    assert item.to_check


def test_what_only_records_is_recorded():
    found = inspect(with_(sound_case(), number("lowered-rest-angle", 12.0, "deg")), bundled())
    assert found.item("lowered-rest-angle").status == "recorded"
    assert found.whole == "release"
    assert found.readings["lowered_rest_angle_deg"].value == 12.0


def test_readings_go_to_the_mechanics_even_where_they_do_not_count():
    slack = with_(
        sound_case(),
        *(answer("finger-cords-taut", "slack", d) for d in ("index", "middle", "ring", "little")),
    )
    found = inspect(slack, bundled())
    assert found.readings["worked_rest_angle_deg"].value == 36.0
    assert found.readings["press_index"] == "slack"


def test_where_people_differ_the_mechanics_gets_the_worse_answer():
    both = with_(
        sound_case(),
        *(answer("finger-cords-taut", "taut", d) for d in ("index", "middle", "ring", "little")),
        answer("finger-cords-taut", "slack", "index", by="lead"),
    )
    assert inspect(both, bundled()).readings["press_index"] == "slack"
