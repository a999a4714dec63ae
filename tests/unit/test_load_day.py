"""A day's file: what it may hold, what is made of it, and what is said of mistakes in it."""

import tomllib
from pathlib import Path

import jsonschema
import pytest

from handsel.data.load_day_plan import load_day
from handsel.data.load_protocol import load_protocol
from handsel.data.schemas import schema
from handsel.errors import BadFile, OutOfRange
from handsel.inspection.undo import ReworkDone
from handsel.rework.ways import look_minutes, way_of_reworks

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "days" / "ten-hands.toml"
SMALL = """
format = "handsel-day/1"
closing_min = 60
spares = { "elastic for one digit" = 2 }
person = [{ id = "builder 1", skills = ["builder"] }, { id = "inspector 1", skills = ["inspector"] }]

[[hand]]
code = "R-001"
serial = "H-0001"
way = [{ rework = [{ do = "replace-elastic", digit = "ring" }], p_success = 0.9 }]
"""


@pytest.fixture(scope="module")
def protocol():
    return load_protocol()


def written(folder, text):
    path = folder / "day.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_is_read_with_its_cases():
    file = load_day(EXAMPLE)
    assert len(file.day.hands) == 10
    assert file.done == ()
    by_case = file.day.hands[0]
    assert (by_case.code, by_case.waiting, by_case.severity) == ("R-021", "here", "major")
    assert by_case.ways[0].p_success > 0.9
    assert by_case.ways[0].title.startswith("Turn both tension screws in")
    assert file.day.hands[3].in_work is not None


def test_the_example_fits_the_published_schema():
    jsonschema.validate(tomllib.loads(EXAMPLE.read_text(encoding="utf-8")), schema("day"))


@pytest.mark.parametrize("name", ["day", "day-plan"])
def test_every_table_of_the_schemas_is_explained(name):
    made = schema(name)
    assert made["description"]
    assert all(body.get("description") for body in made["$defs"].values())


def test_every_key_of_a_day_is_explained():
    made = schema("day")
    tables = {"": made, **made["$defs"]}
    bare = [f"{t}.{k}" for t, b in tables.items() for k, s in b.get("properties", {}).items() if "description" not in s]
    assert bare == []


def test_minutes_skill_and_spares_come_from_the_protocol(tmp_path, protocol):
    hand = load_day(written(tmp_path, SMALL)).day.hands[0]
    way, rework = hand.ways[0], protocol.rework("replace-elastic")
    assert (way.minutes, way.skill) == (rework.minutes, rework.skill)
    assert dict(way.spares) == {"elastic for one digit": 1}
    assert way.p_success == 0.9
    assert 0.5 < way.recheck_minutes < 5.0
    assert not way.cuts


def test_a_good_case_has_nothing_to_plan(tmp_path):
    case = (ROOT / "examples" / "01-good-hand.toml").as_posix()
    text = SMALL.split("[[hand]]")[0] + f'[[hand]]\ncase = "{case}"\n'
    file = load_day(written(tmp_path, text))
    assert file.day.hands == ()
    assert "conforms already" in file.done[0]


def test_sealing_follows_only_where_it_had_been_done(protocol):
    done = [ReworkDone(rework="restring-loop", place="ring-little")]
    strung = way_of_reworks(done, protocol, hold_point="strung")
    finished = way_of_reworks(done, protocol, hold_point="finished")
    assert "cyanoacrylate" not in strung.spares
    assert finished.spares["cyanoacrylate"] == 1
    assert finished.minutes > strung.minutes
    assert finished.recheck_minutes > strung.recheck_minutes
    assert strung.cuts
    assert strung.skill == "experienced builder"


def test_a_look_at_one_of_five_places_takes_its_share(protocol):
    per_digit = next(c for c in protocol.characteristics if c.per == "digit" and c.hold_point == "strung")
    one = look_minutes([(per_digit.id, "index")], protocol, "strung")
    every = look_minutes([(per_digit.id, p) for p in protocol.places("digit")], protocol, "strung")
    assert every == pytest.approx(per_digit.minutes)
    assert one == pytest.approx(every / 5.0)
    assert look_minutes([(per_digit.id, "index")], protocol, "dry-fit") == 0.0  # not due yet


def test_a_rework_that_is_none_is_refused(protocol):
    with pytest.raises(OutOfRange, match="no rework 'pray'"):
        way_of_reworks([ReworkDone(rework="pray")], protocol, hold_point="strung")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"handsel-day/1"', '"handsel-day/9"', "format.*handsel-day/9"),
        ("closing_min = 60", "closing_min = -5", "closing_min.*0 or more"),
        ("closing_min = 60", 'closing_min = "60"', "without quotes"),
        ("closing_min = 60", "", 'the key "closing_min" is missing'),
        ('"builder 1"', '"Anna"', "a role and never a name"),
        ('["builder"]', '["magic"]', "skills"),
        ('"builder 1"', '"inspector 1"', "the same person stands twice"),
        ('"replace-elastic"', '"replace-elastics"', "no rework 'replace-elastics'"),
        ('digit = "ring"', 'digit = "toe"', "cannot be done at 'toe'"),
        ('digit = "ring"', 'digit = "ring", cord = "thumb"', "it names digit and cord"),
        ("p_success = 0.9", "p_success = 90", "at most 1"),
        ("p_success = 0.9", "p_success = 0.9, minutes = 4", "minutes: it follows from the reworks"),
        ("p_success = 0.9", "p_sucess = 0.9", 'Did you mean "p_success"'),
        ('serial = "H-0001"', "", 'the key "serial" is missing'),
        ('serial = "H-0001"', 'serial = "Anna"', "a code and never a name"),
        ('serial = "H-0001"', 'serial = "H-0001"\nhold_point = "strange"', "no hold point 'strange'"),
        ('serial = "H-0001"', 'serial = "H-0001"\nwaiting = "soon"', "waiting"),
        ('serial = "H-0001"', 'serial = "H-0001"\ncase = "nowhere.toml"', "there is no such file"),
        (
            'serial = "H-0001"',
            'serial = "H-0001"\nin_work = { by = "builder 7", minutes_left = 4 }',
            "'builder 7' works on it, and is not among the people",
        ),
        (
            'serial = "H-0001"',
            'serial = "H-0001"\nin_work = { by = "builder 1", minutes_left = 4, way = "x" }',
            "it has no way 'x'",
        ),
        ('{ rework = [{ do = "replace-elastic", digit = "ring" }], p_success = 0.9 }', "", "no way to be put right"),
        (
            'rework = [{ do = "replace-elastic", digit = "ring" }]',
            'title = "Do it", minutes = 4, recheck_minutes = 1',
            'the key "skill" is missing',
        ),
        (
            'rework = [{ do = "replace-elastic", digit = "ring" }]',
            'title = "Do it", skill = "builder", minutes = 4',
            'the key "recheck_minutes" is missing',
        ),
        ('"elastic for one digit" = 2', '"elastic for one digit" = -2', "0 or more"),
        ('"elastic for one digit" = 2', '"elastic for one digit" = 2.5', "a whole number"),
        ('format = "handsel-day/1"', 'format = "handsel-day/1"\nprotocol = "nowhere"', "protocol"),
    ],
)  # fmt: skip
def test_mistakes_are_named_with_their_place(tmp_path, old, new, says):
    assert SMALL.count(old) == 1
    path = written(tmp_path, SMALL.replace(old, new))
    with pytest.raises(BadFile, match=says) as caught:
        load_day(path)
    assert caught.value.do


def test_the_same_hand_twice_is_refused(tmp_path):
    again = SMALL[SMALL.index("[[hand]]") :]
    with pytest.raises(BadFile, match="the same hand stands twice"):
        load_day(written(tmp_path, SMALL + again))
