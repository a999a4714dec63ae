"""`handsel cuff` and `handsel bend`: what they print, write and answer."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from PIL import Image

from handsel.cli import handsel
from unit import drawn_bend, drawn_cuff


def run(*arguments):
    return CliRunner().invoke(handsel, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos")
    for name, pixels in {
        "even.png": drawn_cuff.drawn(),
        "lopsided.png": drawn_cuff.drawn(lean_deg=28.0),
        "sound.png": drawn_bend.drawn(),
        "pale.png": drawn_bend.drawn(covered=0.35),
        "white.png": drawn_bend.drawn(drawn_bend.WHITE),
    }.items():
        Image.fromarray(pixels).save(folder / name)
    (folder / "letter.jpg").write_text("Dear lead,", encoding="utf-8")
    return folder


def test_an_even_cuff_is_said_to_be_within_the_limit(photos, tmp_path):
    answer = run("cuff", photos / "even.png", "--width-mm", 76, "--overlay", tmp_path / "drawn")
    assert answer.exit_code == 0, answer.output
    assert "limit at most 3 mm: conforms" in answer.output
    assert "scale from the width" in answer.output
    with Image.open(tmp_path / "drawn" / "even.cuff.jpg") as picture:
        assert picture.format == "JPEG"


def test_a_lopsided_cuff_is_not_and_json_has_every_key(photos):
    answer = run("cuff", photos / "lopsided.png", photos / "even.png", "--width-mm", 76, "--json")
    assert answer.exit_code == 1
    lopsided, even = json.loads(answer.output)
    assert lopsided["verdict"] == "does not conform"
    assert lopsided["asymmetry_mm"] > 4.0 > even["asymmetry_mm"]
    assert "left flank leans" in lopsided["words"]
    assert lopsided.keys() == even.keys()
    assert lopsided["limit_max_mm"] == 3.0
    assert lopsided["interval_95_mm"][0] < lopsided["asymmetry_mm"] < lopsided["interval_95_mm"][1]


def test_a_cuff_without_scale_and_a_file_that_is_no_photo(photos):
    answer = run("cuff", photos / "even.png", "--json")
    assert answer.exit_code == 1
    (entry,) = json.loads(answer.output)
    assert entry["refused"]
    assert entry["cause"] == "no scale"
    answer = run("cuff", photos / "letter.jpg", "--width-mm", 76)
    assert answer.exit_code == 2
    assert "not a photo" in answer.output
    answer = run("cuff", photos / "even.png", "--width-mm", 76, "--protocol", "no-such")
    assert answer.exit_code == 2
    assert "Traceback" not in answer.output


def test_pale_lines_are_a_question_and_a_sound_bend_has_none(photos, tmp_path):
    answer = run("bend", photos / "pale.png", "--overlay", tmp_path)
    assert answer.exit_code == 1
    assert "1: like whitening" in answer.output
    assert (tmp_path / "pale.bend.jpg").exists()
    answer = run("bend", photos / "sound.png")
    assert answer.exit_code == 0
    assert "Nothing is marked" in answer.output


def test_what_a_photo_cannot_tell_is_no_clean_answer(photos):
    answer = run("bend", photos / "white.png", photos / "sound.png", "--json")
    assert answer.exit_code == 1
    white, sound = json.loads(answer.output)
    assert white["can_tell"] is False
    assert "light" in white["why_not"]
    assert sound["can_tell"] is True
    assert white.keys() == sound.keys()
    assert run("bend", photos / "letter.jpg").exit_code == 2
