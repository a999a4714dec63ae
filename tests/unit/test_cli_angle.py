"""`handsel angle`: readings, refusals, JSON, pictures and exit status."""

from __future__ import annotations

import json
import shutil
import struct
import zlib
from math import hypot
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from handsel.cli import handsel

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"
KEYS = {"file", "rest_angle_deg", "u_rest_angle_deg", "interval_95_deg", "refused", "reason", "cause", "contributions",
        "fingers_point", "view_side", "view_side_of", "obliquity_deg", "f35_mm", "side_px", "misfit", "notes",
        "overlay"}  # fmt: skip


def run(*arguments):
    return CliRunner().invoke(handsel, ["angle", *map(str, arguments)])


def listed(*arguments):
    result = run(*arguments, "--json")
    return json.loads(result.stdout), result.exit_code


def test_a_good_photo_in_words():
    result = run(SHARED / "clean-09.jpg", "--card-turn-sd-deg", "0", "--hand", "right")
    assert result.exit_code == 0
    assert "clean-09.jpg: 29.3°, with 95 % between" in result.stdout.replace("29.4°", "29.3°").replace(
        "29.2°", "29.3°"
    )
    assert "fingers to the left, thumb side" in result.stdout
    assert "u from obliquity" in result.stdout


def test_the_json_of_a_reading_and_a_refusal():
    entries, status = listed(SHARED / "clean-09.jpg", SHARED / "refuse-01.jpg", "--card-turn-sd-deg", "0")
    assert status == 1
    assert all(set(e) == KEYS for e in entries)
    good, bad = entries
    assert good["file"].endswith("clean-09.jpg")
    assert good["refused"] is False
    assert good["reason"] is None
    assert good["rest_angle_deg"] == pytest.approx(29.18, abs=0.4)
    assert good["u_rest_angle_deg"] == pytest.approx(
        sum(u**2 for u in good["contributions"].values()) ** 0.5, abs=1e-3
    )
    assert good["contributions"]["card turn"] == 0
    assert good["view_side"] is None
    assert good["fingers_point"] == "left"
    assert bad["refused"] is True
    assert bad["rest_angle_deg"] is None
    assert bad["contributions"] == {}
    assert bad["cause"] == "card missing"
    assert "palm card" in bad["reason"]


@pytest.mark.parametrize(("hand", "side"), [("left", "little"), ("right", "thumb")])
def test_the_side_is_told_when_the_hand_is(hand, side):
    entries, _ = listed(SHARED / "clean-09.jpg", "--hand", hand)
    assert entries[0]["view_side"] == side


def test_without_the_hand_both_sides_that_it_can_be_are_told():
    entries, _ = listed(SHARED / "clean-09.jpg", SHARED / "refuse-03.jpg")
    assert entries[0]["view_side"] is None
    assert entries[0]["view_side_of"] == {"left": "little", "right": "thumb"}
    assert entries[1]["view_side_of"] is None
    words = " ".join(run(SHARED / "clean-09.jpg").stdout.split())
    assert "fingers to the left, little finger's side of a left hand or thumb side of a right hand" in words


def test_files_that_are_no_photos_do_not_stop_the_others(tmp_path):
    text = tmp_path / "notes.jpg"
    text.write_text("no photo")
    entries, status = listed(text, tmp_path / "nothing.jpg", SHARED / "clean-06.jpg")
    assert status == 2
    assert [e["refused"] for e in entries] == [True, True, False]
    assert "not a photo" in entries[0]["reason"]
    assert "no such file" in entries[1]["reason"]
    assert entries[0]["cause"] == "not a usable photo"
    assert run(text).stdout.startswith("notes.jpg: this is not a photo")


def test_a_file_cut_short_and_one_that_unpacks_to_200_million_pixels(tmp_path):
    whole = (SHARED / "clean-06.jpg").read_bytes()
    short, huge = tmp_path / "short.jpg", tmp_path / "huge.png"
    short.write_bytes(whole[: len(whole) // 2])
    chunks = (b"IHDR" + struct.pack(">IIBBBBB", 20_000, 10_000, 8, 0, 0, 0, 0), b"IDAT" + zlib.compress(bytes(9)))
    packed = [struct.pack(">I", len(c) - 4) + c + struct.pack(">I", zlib.crc32(c)) for c in chunks]
    huge.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(packed))
    entries, status = listed(short, huge)
    assert status == 2
    assert all(e["refused"] and e["cause"] == "not a usable photo" for e in entries)
    assert "damaged or cut short" in entries[0]["reason"]
    assert "million pixels" in entries[1]["reason"]


def test_the_cards_turn_is_part_of_what_is_stated():
    loose, _ = listed(SHARED / "clean-06.jpg")
    pads, _ = listed(SHARED / "clean-06.jpg", "--card-turn-sd-deg", "0")
    assert loose[0]["contributions"]["card turn"] == pytest.approx(0.99, abs=0.01)
    assert loose[0]["u_rest_angle_deg"] > 0.99 > pads[0]["u_rest_angle_deg"]
    assert run(SHARED / "clean-06.jpg", "--card-turn-sd-deg", "-1").exit_code == 2


def test_photos_of_one_hand():
    """Two renders at the same angle, one from each side: what they share stays, what is new each time shrinks."""
    photos = SHARED / "clean-06.jpg", SHARED / "field-04.jpg"
    entries, status = listed(*photos, "--same-hand")
    assert status == 0
    *ones, together = entries
    assert together["file"] is None
    assert together["same_hand"] == [str(p) for p in photos]
    low, high = sorted(one["rest_angle_deg"] for one in ones)
    assert low < together["rest_angle_deg"] < high
    assert together["interval_95_deg"][0] < 31.03 < together["interval_95_deg"][1]
    assert together["contributions"]["card turn"] == pytest.approx(0.99, abs=0.01)
    new, *each = (hypot(*(e["contributions"][k] for k in ("edges", "size in pixels"))) for e in (together, *ones))
    assert new < min(each)
    assert together["notes"] == []
    afresh, _ = listed(*photos, "--same-hand", "--placed-afresh")
    assert afresh[-1]["contributions"]["card turn"] == pytest.approx(0.70, abs=0.01)
    assert "2 photos of one hand" in run(*photos, "--same-hand").stdout


@pytest.mark.parametrize("placed", [(), ("--placed-afresh",)])
def test_one_photo_twice_counts_once_and_is_said(tmp_path, placed):
    photo, copy = SHARED / "clean-06.jpg", tmp_path / "again.jpg"
    shutil.copy(photo, copy)
    entries, status = listed(photo, copy, "--same-hand", *placed)
    assert status == 0
    first, _, together = entries
    assert together["same_hand"] == [str(photo)]
    assert together["notes"] == ["again.jpg is the same photo as clean-06.jpg; it is counted once"]
    for number in ("rest_angle_deg", "u_rest_angle_deg", "contributions"):
        assert together[number] == first[number]
    words = " ".join(run(photo, copy, "--same-hand", *placed).stdout.split())
    assert "1 photo of one hand: " in words
    assert "note: again.jpg is the same photo as clean-06.jpg; it is counted once" in words


def test_a_copy_that_lost_what_its_file_said_is_the_same_photo(tmp_path):
    """Some ways of sending a photo drop the notes of the camera and keep every pixel."""
    photo, copy = SHARED / "clean-06.jpg", tmp_path / "sent.jpg"
    whole = photo.read_bytes()
    start = whole.index(b"\xff\xe1")  # the segment that says with what and how the photo was taken
    copy.write_bytes(whole[:start] + whole[start + 2 + int.from_bytes(whole[start + 2 : start + 4], "big") :])
    entries, _ = listed(photo, copy, SHARED / "field-04.jpg", "--same-hand")
    assert entries[-1]["same_hand"] == [str(photo), str(SHARED / "field-04.jpg")]
    assert entries[-1]["notes"] == ["sent.jpg is the same photo as clean-06.jpg; it is counted once"]


def test_photos_of_two_hands_are_not_one():
    entries, status = listed(SHARED / "clean-06.jpg", SHARED / "clean-09.jpg", "--same-hand")
    assert status == 1
    assert entries[-1]["refused"] is True
    assert entries[-1]["cause"] == "photos disagree"
    assert "do not agree" in run(SHARED / "clean-06.jpg", SHARED / "clean-09.jpg", "--same-hand").stdout


def test_afresh_without_one_hand_makes_no_sense():
    assert run(SHARED / "clean-06.jpg", "--placed-afresh").exit_code == 2


def test_pictures_with_what_was_read(tmp_path):
    entries, _ = listed(SHARED / "clean-02.jpg", SHARED / "refuse-03.jpg", "--overlay", tmp_path / "seen")
    place = Path(entries[0]["overlay"])
    assert place == tmp_path / "seen" / "clean-02.angle.jpg"
    with Image.open(place) as picture:
        assert picture.height > picture.width  # upright, as shown
        assert not dict(picture.getexif())
    assert entries[1]["overlay"] is None
    assert len(list((tmp_path / "seen").iterdir())) == 1


def test_a_folder_that_cannot_be_written_says_so(tmp_path):
    (tmp_path / "seen").write_text("a file, not a folder")
    result = run(SHARED / "clean-06.jpg", "--overlay", tmp_path / "seen" / "deeper")
    assert result.exit_code != 0
    assert "cannot be written" in str(result.exception)
