"""A case that does not fit its protocol is refused, with what would be right."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsel.inspection.case import BadCase, Concession, GroupAcceptance, Observation
from handsel.inspection.deciding import inspect
from inspecting import answer, bundled, hand, number, sound_case, substitute, with_


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (answer("worked-rest-angel", "yes"), "Did you mean worked-rest-angle"),
        (answer("six-knots", "yep"), "the answer is 'yep'; expected one of: yes, no, can't tell"),
        (answer("six-knots", "Yes"), "Did you mean yes"),
        (number("six-knots", 6.0, "count"), "a number is given for something that is answered in words"),
        (answer("worked-rest-angle", "yes"), "a number is expected"),
        (number("worked-rest-angle", 36.0, "mm"), "it is checked in deg"),
        (
            number("worked-rest-angle", 36.0, "deg", method="foto"),
            "not a method for this number. Did you mean photo",
        ),
        (answer("cord-through-hole", "no"), "“no” does not say which digit"),
        (answer("cord-through-hole", "yes", "idnex"), "there is no digit 'idnex'"),
        (answer("finger-cords-taut", "taut", "thumb"), "there is no finger 'thumb'"),
        (answer("six-knots", "yes", "index"), "it concerns the whole hand"),
        (substitute("six-knots"), "it has no substitute check"),
        (Observation(of="six-knots"), "the answer is None"),
    ],
)
def test_an_observation_that_does_not_fit(wrong, said):
    with pytest.raises(BadCase) as caught:
        inspect(with_(sound_case(), wrong), bundled())
    assert said in str(caught.value)
    assert caught.value.where.startswith("hand.toml")


def test_other_things_that_do_not_fit():
    case = sound_case()
    for wrong, said in (
        (replace(case, hand=hand("strnug")), "Did you mean strung"),
        (replace(case, hand=hand("strung", design="willow")), "was not written for the design 'willow'"),
        (replace(case, accepted=(GroupAcceptance(group="strung-palm"),)), "Did you mean strung-palm-up"),
        (
            replace(case, accepted=(GroupAcceptance(group="strung-palm-up", only=(("six-knot", ""),)),)),
            "Did you mean six-knots",
        ),
        (
            replace(
                case, accepted=(GroupAcceptance(group="strung-palm-up", only=(("six-knots", "index"),)),)
            ),
            "it concerns the whole hand",
        ),
        (
            replace(case, concessions=(Concession(of="six-knot", by="lead", reason="x"),)),
            "Did you mean six-knots",
        ),
        (
            replace(case, concessions=(Concession(of="six-knots", by="lead", reason="x", place="index"),)),
            "it concerns the whole hand",
        ),
    ):
        with pytest.raises(BadCase) as caught:
            inspect(wrong, bundled())
        assert said in str(caught.value)


def test_a_protocol_for_any_design_takes_any():
    anywhere = replace(bundled(), designs=())
    assert inspect(replace(sound_case(), hand=hand("strung", design="willow")), anywhere).whole == "release"
