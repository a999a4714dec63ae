"""What a case file says reaches the diagnosis as long as it still stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnosing import whole
from handsel.data.load_case import load_case
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.from_case import seen_in_case

EXAMPLES = Path(__file__).parents[2] / "examples"
HEAD = """
format = "handsel-case/1"
hand = { code = "R-014", serial = "H-0031", design = "linden", scale_ratio = 1.0, side = "left", hold_point = "strung" }
"""


def seen(tmp_path: Path, text: str, shown: str = "") -> set[tuple[str, str, str | float | None, bool]]:
    path = tmp_path / "case.toml"
    path.write_text(f'{HEAD}inspected = {{ by = "inspector 2", on = 2026-11-21{shown} }}\n{text}', encoding="utf-8")
    return {
        (s.of, s.place, s.answer if s.answer is not None else s.value, s.in_group)
        for s in seen_in_case(load_case(path), load_protocol(), whole())
    }


def test_numbers_answers_and_tables_of_digits_come_through(tmp_path):
    found = seen(
        tmp_path,
        """observation = [
          { of = "worked-rest-angle", readings_deg = [31.0, 33.0] },
          { of = "finger-cords-taut", digits = { index = "slack", ring = "taut" } },
          { of = "springs-back", digits = { index-knuckle = "slow" } },
          { of = "no-sharp-edges", answer = "yes" },
        ]""",
    )
    assert found == {
        ("worked-rest-angle", "", 32.0, False),
        ("finger-cords-taut", "index", "slack", False),
        ("finger-cords-taut", "ring", "taut", False),
        ("springs-back", "index-knuckle", "slow", False),
    }


def test_one_answer_for_all_places_counts_for_each_when_all_is_well(tmp_path):
    good = seen(tmp_path, 'observation = [{ of = "elastics-there", answer = "yes" }]')
    assert len(good) == 5
    assert all(group for *_, group in good)
    # "No" without a place says that something is wrong somewhere: nothing is known of any one digit.
    assert not seen(tmp_path, 'observation = [{ of = "elastics-there", answer = "no" }]')


def test_a_group_taken_as_shown_gives_way_to_an_answer_by_itself(tmp_path):
    found = seen(
        tmp_path,
        'observation = [{ of = "reopens-fully", digit = "ring", answer = "no" }]',
        ', all_as_shown = ["strung"]',
    )
    assert ("reopens-fully", "ring", "no", False) in found
    assert ("reopens-fully", "ring", "yes", True) not in found
    assert ("reopens-fully", "index", "yes", True) in found
    assert not any(of == "worked-rest-angle" for of, *_ in found)  # a number is never taken as shown


def test_what_a_rework_undid_counts_no_more(tmp_path):
    text = """observation = [
      { of = "worked-rest-angle", value_deg = 27.0 },
      { of = "worked-rest-angle", value_deg = 35.0, after = "turn-screws-in" },
      { of = "springs-back", digits = { index-knuckle = "stays" } },
    ]
    done = [{ what = "turn-screws-in" }]
    """
    found = seen(tmp_path, text)
    assert ("worked-rest-angle", "", 35.0, False) in found
    assert ("worked-rest-angle", "", 27.0, False) not in found
    assert not any(of == "springs-back" for of, *_ in found)  # of unknown age: any rework may have changed it


def test_every_example_can_be_taken():
    for path in sorted(EXAMPLES.glob("*.toml")):
        assert seen_in_case(load_case(path), load_protocol(), whole()), path.name


def test_a_number_is_worth_what_its_method_is_worth(tmp_path):
    path = tmp_path / "case.toml"
    numbers = """observation = [
      { of = "worked-rest-angle", method = "protractor", value_deg = 31.0 },
      { of = "lowered-rest-angle", method = "protractor", readings_deg = [31.0, 32.0, 30.0, 31.0] },
      { of = "whippletree-flush", method = "ruler", value_mm = 1.0 },
      { of = "thumb-pin-in-line", method = "ruler", value_mm = 1.0, u_mm = 0.05 },
      { of = "whippletree-level", value_deg = 1.0 },
    ]"""
    path.write_text(f'{HEAD}inspected = {{ by = "inspector 2", on = 2026-11-21 }}\n{numbers}', encoding="utf-8")
    u = {s.of: s.u for s in seen_in_case(load_case(path), load_protocol(), whole())}
    assert u["worked-rest-angle"] == pytest.approx(1.5)
    assert u["lowered-rest-angle"] == pytest.approx((0.8**2 + (1.5**2 - 0.8**2) / 4) ** 0.5)  # a part is common
    assert u["whippletree-flush"] == pytest.approx(0.5)
    assert u["thumb-pin-in-line"] == pytest.approx(0.05)  # what the case itself says
    assert u["whippletree-level"] == pytest.approx(whole().observable("whippletree-level").sd)
