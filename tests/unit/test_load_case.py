"""Case files: what is read, and what is refused in which words."""

from __future__ import annotations

import json
from datetime import date

import jsonschema
import pytest

from handsel.data.load_case import case_schema, load_case
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.case import GroupAcceptance
from inspecting import CASES

HAND = """format = "handsel-case/1"
[hand]
code = "R-014"
serial = "H-0031"
design = "linden"
scale_ratio = 1.0
side = "left"
hold_point = "strung"
[inspected]
by = "inspector 2"
on = 2026-11-21
"""
ANGLE = '[[observation]]\nof = "worked-rest-angle"\n'


def load(tmp_path, text, name="hand.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return load_case(path)


def refusal(tmp_path, text):
    with pytest.raises(BadFile) as caught:
        load(tmp_path, text)
    return str(caught.value)


def test_a_whole_case_is_read(tmp_path):
    case = load(
        tmp_path,
        HAND
        + ANGLE
        + 'readings_deg = [35.5, 36.5]\nmethod = "photo"\nnote = "hall lamp"\n'
        + """
[[observation]]
of = "cord-through-hole"
digits = { index = "yes", ring = "no" }
[[observation]]
of = "knots-sealed"
knot = "thumb-pin"
answer = "yes"
by = "lead"
[[as_shown]]
group = "strung-palm-up"
after = "turned"
[[concession]]
of = "neat-grip"
by = "lead"
reason = "closes well enough for this wearer"
[[done]]
what = "turn-screws-in"
name = "turned"
at = "strung"
""",
    )
    assert (case.name, case.by, case.on) == ("hand.toml", "inspector 2", date(2026, 11, 21))
    assert (case.hand.code, case.hand.latex_sensitive, case.hand.target_rest_angle_deg) == (
        "R-014",
        None,
        None,
    )
    angle, index, ring, knot = case.observations
    assert (angle.readings, angle.unit, angle.u, angle.value) == ((35.5, 36.5), "deg", None, None)
    assert [(o.place, o.answer) for o in (index, ring)] == [("index", "yes"), ("ring", "no")]
    assert (knot.place, knot.by) == ("thumb-pin", "lead")
    assert case.accepted == (GroupAcceptance(group="strung-palm-up", after="turned"),)
    assert case.concessions[0].reason == "closes well enough for this wearer"
    assert (case.done[0].called, case.done[0].at) == ("turned", "strung")


def test_the_bundled_test_case_fits_its_published_schema():
    def plain(value):  # a date is a text in JSON
        return json.loads(json.dumps(value, default=str))

    jsonschema.Draft202012Validator.check_schema(case_schema())
    data = plain(read_toml(CASES / "good_hand.toml"))
    jsonschema.validate(data, case_schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data | {"hnad": {}}, case_schema())


@pytest.mark.parametrize("name", ["Anna", "anna", "Anna Berg", "R-Anna", "ANNA-1", "A. Berg 7", "R 014", ""])
def test_a_name_like_recipient_code_is_refused(tmp_path, name):
    said = refusal(tmp_path, HAND.replace("R-014", name))
    assert "hand, code" in said
    assert "a code and never a name, as in R-014" in said


@pytest.mark.parametrize("code", ["R-014", "7", "K7M4QX", "R4K-7Q", "AB-12"])
def test_codes_are_taken(tmp_path, code):
    assert load(tmp_path, HAND.replace("R-014", code)).hand.code == code


@pytest.mark.parametrize("by", ["Maria", "inspector Maria", "Inspector 2", "inspector 2 (M)"])
def test_people_are_roles(tmp_path, by):
    assert "a role and never a name" in refusal(tmp_path, HAND.replace("inspector 2", by))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            ANGLE + "valeu_deg = 36.0\n",
            '"worked-rest-angle"|"valeu_deg" is not known|Did you mean "value_deg"?',
        ),
        (ANGLE + "value_in = 1.4\n", "value_in"),
        (ANGLE + 'value_deg = "36"\n', "without quotes"),
        (ANGLE + "value_deg = true\n", "value_deg: it is true; expected a number"),
        (ANGLE + "value_deg = nan\n", "nan"),
        (ANGLE + "value_deg = inf\n", "inf"),
        (ANGLE, "it says nothing"),
        (ANGLE + 'value_deg = 36.0\nanswer = "yes"\n', "it has answer and value_deg"),
        (ANGLE + "value_deg = 36.0\nreadings_deg = [36.0]\n", "it has value_deg and readings_deg"),
        (ANGLE + "value_deg = 36.0\nvalue_mm = 3.0\n", "it has value_deg and value_mm"),
        (ANGLE + "value_deg = 36.0\nu_mm = 0.5\n", "its number is in deg|Write u_deg"),
        (ANGLE + 'answer = "yes"\nu_deg = 0.5\n', "an uncertainty stands without its number"),
        (ANGLE + "value_deg = 36.0\nu_deg = 0.0\n", "it is 0.0; expected more than 0"),
        (ANGLE + "value_deg = 36.0\nu_deg = -0.5\n", "expected more than 0"),
        (ANGLE + "readings_deg = []\n", "expected at least 1"),
        (ANGLE + "readings_deg = 36.0\n", "expected a list in square brackets"),
        (ANGLE + 'digit = "index"\nknot = "index"\nanswer = "yes"\n', "it names digit and knot"),
        (ANGLE + 'digit = "index"\ndigits = { ring = "yes" }\n', "it names one place and has digits too"),
        (ANGLE + "answer = true\n", "it is true; expected text in quotes"),
        (ANGLE + f'answer = "yes"\nnote = "{"x" * 700}"\n', "at most 600"),
        (ANGLE + 'answer = "yes"\nnote = "a\\u001b[2Jb"\n', "without control characters"),
        ('[[concession]]\nof = "neat-grip"\nby = "lead"\n', '"neat-grip"|the key "reason" is missing'),
        ('[[done]]\nwhat = "Sealed"\n', "small letters"),
        ('[[observations]]\nof = "six-knots"\nanswer = "yes"\n', 'Did you mean "observation"?'),
    ],
)
def test_what_does_not_fit_is_named_with_its_remedy(tmp_path, more, said):
    got = refusal(tmp_path, HAND + more)
    assert "hand.toml" in got
    for part in said.split("|"):  # the entry by its own name, where it has one
        assert part in got
    assert "\x1b" not in got


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('format = "handsel-case/1"', 'format = "handsel-case/1"\nobservation = 3', "expected a list"),
        ('format = "handsel-case/1"', "", 'the key "format" is missing'),
        ("handsel-case/1", "handsel-case/2", 'expected "handsel-case/1"'),
        ('side = "left"', 'side = "lfet"', 'Did you mean "left"?'),
        ("scale_ratio = 1.0", "scale_ratio = 25.4", "at most 3"),
        ("scale_ratio = 1.0", "scale_ratio = 0.0", "0.3 or more"),
        ("on = 2026-11-21", "on = 2026-02-30", "not valid TOML"),
        ("on = 2026-11-21", 'on = "yesterday"', "inspected, on"),
        ("on = 2026-11-21", 'on = 2026-11-21\nby = "lead"', "stands twice"),
        ('side = "left"', 'side = "left"\ntarget_rest_angle_deg = 400', "at most 90"),
        ('side = "left"', 'side = "left"\nlatex_sensitive = "no"', "expected true or false"),
    ],
)
def test_the_head_of_the_file(tmp_path, old, new, said):
    assert said in refusal(tmp_path, HAND.replace(old, new))


@pytest.mark.parametrize(
    "attack",
    [
        b"\x00\x01\x02" * 100,
        b"\xff\xfe[\x00h\x00",
        bytes(range(128, 256)) * 30,
        b"[" * 5000,
        b"a." * 5000 + b"a = 1",
        b"x = " + b"{a = " * 3000,
        b'x = "',
        b"\x1b[2J\x1b[31m = 1",
        b"x = " + b"9" * 20000,
    ],
)
def test_hostile_files_get_an_error_and_nothing_else(tmp_path, attack):
    path = tmp_path / "hand.toml"
    path.write_bytes(attack)
    with pytest.raises(BadFile) as caught:
        load_case(path)
    assert "hand.toml" in caught.value.where
    assert caught.value.do
    assert "\x1b" not in str(caught.value)


def test_hostile_places_get_an_error_and_nothing_else(tmp_path):
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    big = tmp_path / "big.toml"
    big.write_bytes(b"# " + b"x" * 2_000_001)
    for path, said in (
        (tmp_path, "folder"),
        (tmp_path / "none.toml", "no such file"),
        (loop, "cannot be read"),
        (big, "larger than 2 MB"),
        (tmp_path / ("x" * 5000), "cannot be read"),
        ("/dev/zero", "not an ordinary file"),
    ):
        with pytest.raises(BadFile, match=said):
            load_case(path)


def test_a_misspelt_file_name_gets_the_near_one(tmp_path):
    (tmp_path / "hand_07.toml").write_text(HAND)
    with pytest.raises(BadFile, match='Did you mean "hand_07.toml"'):
        load_case(tmp_path / "hand_7.toml")
