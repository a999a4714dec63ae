"""A few of our own renders, strongly compressed: every truth of them is known."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from handsel.data.photo_file import read_photo
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

RENDERS = Path(__file__).parents[1] / "data" / "vision" / "renders"
SHOTS = [json.loads(line) for line in (RENDERS / "truth.jsonl").read_text(encoding="utf-8").splitlines()]
CAUSES = {"missing": Cause.MISSING, "covered": Cause.COVERED}


def test_there_are_some_of_each_kind():
    assert {s["kind"] for s in SHOTS} == {"clean", "field", "missing", "covered"}
    assert all((RENDERS / s["file"]).stat().st_size < 100_000 for s in SHOTS)


def measured(shot):
    photo = read_photo(RENDERS / shot["file"])
    assert photo.f35_mm == shot["exif_f35_mm"]
    assert [photo.width_px, photo.height_px] == shot["size_px"]
    return measure_rest_angle(photo.gray, lens=Lens(f35_mm=photo.f35_mm), card_turn_sd_deg=0.0)


@pytest.mark.parametrize(
    "shot", [s for s in SHOTS if s["kind"] in ("clean", "field")], ids=lambda s: s["file"]
)
def test_the_angle_between_the_cards_is_right(shot):
    reading = measured(shot)
    assert reading.fingers_point == shot["fingers"]
    # The cards' own turns are known here, so what is left is the measurement's alone.
    sign = -1.0 if shot["fingers"] == "right" else 1.0
    between_cards = shot["rest_angle_deg"] + sign * (shot["card_turn_deg"][1] - shot["card_turn_deg"][0])
    assert abs(reading.rest_angle_deg - between_cards) < 3.0 * reading.u_rest_angle_deg
    assert reading.u_rest_angle_deg < 0.6


@pytest.mark.parametrize("shot", [s for s in SHOTS if s["kind"] in CAUSES], ids=lambda s: s["file"])
def test_what_shows_no_angle_is_refused_for_its_cause(shot):
    with pytest.raises(PhotoRefused) as refused:
        measured(shot)
    assert refused.value.cause is CAUSES[shot["kind"]]
