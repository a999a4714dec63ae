"""Practice hands: each fits the protocol, and each is really refused by it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from handsel.data.load_design import load_design
from handsel.data.load_practice import BUNDLED, PracticeFault, load_practice, practice_faults
from handsel.errors import BadFile
from handsel.inspection.deciding import inspect
from handsel.inspection.rules import NumberRule
from handsel.rework.assessment import assess
from inspecting import answer, bundled, number, sound_case, with_

FAULTS = practice_faults(bundled())


def test_there_are_practice_hands_at_several_hold_points() -> None:
    assert len(FAULTS) >= 5
    assert len({f.hold_point for f in FAULTS}) >= 3
    assert len({f.id for f in FAULTS}) == len(FAULTS)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.id)
def test_a_practice_hand_answered_as_it_is_told_does_not_pass_for_its_own_reason(
    fault: PracticeFault,
) -> None:
    protocol = bundled()
    told = []
    for id, value in fault.readings.items():
        c = protocol.characteristic(id)
        assert c is not None
        assert isinstance(c.rule, NumberRule)
        told.append(number(id, value, c.rule.unit))
    by_id = {s.of for s in fault.shows if s.answer}
    for of in by_id:
        c = protocol.characteristic(of)
        assert c is not None
        bad = {s.place: s.answer for s in fault.shows if s.of == of}
        for place in protocol.places(c.per):
            word = bad.get(place, c.rule.accepted[0])  # type: ignore[union-attr]
            told.append(answer(of, word, place))
    found = inspect(with_(sound_case(fault.hold_point), *told), protocol)
    wrong = {i.id for i in found.items if i.status == "does not conform"}
    assert wrong & {s.of for s in fault.shows}
    assert wrong <= {s.of for s in fault.shows}, "nothing else is wrong with it"
    assert found.whole in ("rework", "scrap part")


def test_the_slides_of_the_long_loops_can_still_put_it_right() -> None:
    fault = next(f for f in FAULTS if f.id == "loops-long")
    told = [number(id, v, bundled().characteristic(id).rule.unit) for id, v in fault.readings.items()]  # type: ignore[union-attr]
    found = assess(
        with_(sound_case("strung"), *told),
        bundled(),
        load_design("linden"),
        design_sha256="",
        protocol_sha256="",
        program_version="",
    )
    assert found.fix.kind == "adjust"


def test_another_protocol_has_none() -> None:
    assert practice_faults(replace(bundled(), id="some-other")) == ()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('hold_point = "strung"', 'hold_point = "strong"', "no hold point"),
        ('place = "ring"', 'place = "toe"', "no place"),
        ('answer = "no"', 'answer = "yes"', "the answer is"),
        ('of = "cord-through-hole"', 'of = "no-latex"', "not looked at there"),
        ("lowered-rest-angle = 36.4\n", "", "not those of the hold point"),
        ("worked-rest-angle = 36.0", 'worked-rest-angle = "36"', "expected a number"),
    ],
)
def test_a_damaged_file_is_refused_in_words(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = (BUNDLED / "cord-through-gap.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "x.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadFile, match=says):
        load_practice(path, bundled())
