"""The whole way from a photo to an angle or a refusal, on the shared renders with known truth and on spoilt copies."""

from __future__ import annotations

import csv
from math import hypot
from pathlib import Path

import cv2
import numpy as np
import pytest

from handsel.data.photo_file import read_photo
from handsel.errors import OutOfRange
from handsel.vision.camera import Lens
from handsel.vision.finding import find_cards, scaled
from handsel.vision.rest_angle import traces_flat
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"
with (SHARED / "truth.csv").open(encoding="utf-8") as file:
    TRUTH = list(csv.DictReader(file))
CARD_TURN_SD_DEG = {"A": 0.0, "B": 0.7}
TRUE_CAUSE = {
    "refuse-01.jpg": Cause.MISSING,
    "refuse-02.jpg": Cause.COVERED,
    "refuse-03.jpg": Cause.FROM_ABOVE,
}


def measured(name, card_turn_sd_deg=0.7):
    photo = read_photo(SHARED / name)
    lens = Lens(f35_mm=photo.f35_mm, whole_picture=photo.whole_picture)
    return measure_rest_angle(photo.gray, lens=lens, card_turn_sd_deg=card_turn_sd_deg, where=name), photo


@pytest.fixture(scope="module")
def readings():
    """All photos of the shared sets that are to be measured; none is refused."""
    return {
        row["file"]: measured(row["file"], CARD_TURN_SD_DEG[row["set"]])
        for row in TRUTH
        if row["expect"] == "measure"
    }


def errors(readings, which, *, with_figure=None):
    return np.array(
        [
            readings[row["file"]][0].rest_angle_deg - float(row["rest_angle_deg"])
            for row in TRUTH
            if row["set"] == which
            and (with_figure is None or (readings[row["file"]][1].f35_mm is not None) == with_figure)
        ]
    )


def test_clean_photos_with_their_focal_length_are_right_to_0_4_degrees(readings):
    found = errors(readings, "A", with_figure=True)
    assert len(found) == 9
    assert np.abs(found).max() < 0.4
    assert abs(errors(readings, "A").mean()) < 0.1


def test_clean_photos_without_it_are_right_to_1_degree(readings):
    found = errors(readings, "A", with_figure=False)
    assert len(found) == 1
    assert np.abs(found).max() < 1.0


def test_field_photos_are_as_right_as_their_cards_allow(readings):
    found = errors(readings, "B")
    assert len(found) == 6
    assert np.percentile(np.abs(found), 95) < 2.3


def test_what_is_stated_is_what_happens(readings):
    truth = {row["file"]: float(row["rest_angle_deg"]) for row in TRUTH if row["expect"] == "measure"}
    z = [(r.rest_angle_deg - truth[name]) / r.u_rest_angle_deg for name, (r, _) in readings.items()]
    assert np.sqrt(np.mean(np.square(z))) < 1.5
    assert np.mean(np.abs(z) < 2.6) >= 15 / 16
    assert all(
        r.u_rest_angle_deg < (0.45 if name.startswith("clean") else 1.3) for name, (r, _) in readings.items()
    )
    for r, _ in readings.values():
        assert hypot(*r.contributions.values()) == pytest.approx(r.u_rest_angle_deg)
        assert r.low_deg < r.rest_angle_deg < r.high_deg


def test_the_side_that_faces_the_camera_follows_from_the_hand(readings):
    for row in TRUTH:
        if row["expect"] == "measure":
            reading = readings[row["file"]][0]
            assert reading.view_side(row["hand_side"]) == row["view_side"], row["file"]
            assert reading.view_side(None) is None


def test_the_lens_is_found_where_the_file_is_silent(readings):
    for name in ("clean-04.jpg", "field-02.jpg"):
        reading = readings[name][0]
        assert reading.f35_mm == pytest.approx(50.0, rel=0.06)
        assert any("focal length" in note for note in reading.notes)


@pytest.mark.parametrize("name", sorted(TRUE_CAUSE))
def test_what_shows_no_angle_is_refused_for_its_true_cause(name):
    with pytest.raises(PhotoRefused) as refused:
        measured(name)
    assert refused.value.cause is TRUE_CAUSE[name]
    assert refused.value.where == name
    assert len(refused.value.do) > 20


# ---- copies of one good photo, spoilt in one way each ----


@pytest.fixture(scope="module")
def good():
    photo = read_photo(SHARED / "clean-09.jpg")
    return photo.gray, {f.card: f for f in find_cards(photo.gray)}


def refusal(gray):
    with pytest.raises(PhotoRefused) as refused:
        measure_rest_angle(gray, lens=Lens(f35_mm=28))
    return refused.value


def test_a_card_twice(good):
    gray, cards = good
    twice = gray.copy()
    x, y = cards[10].middle_px.astype(int)
    twice[100:220, 100:220] = gray[y - 60 : y + 60, x - 60 : x + 60]
    found = refusal(twice)
    assert found.cause is Cause.DOUBLED
    assert "palm card is there 2 times" in found.what


def test_blurred_cards_or_a_blurred_picture(good):
    gray, _ = good
    assert refusal(cv2.GaussianBlur(gray, (0, 0), 5.2)).cause is Cause.BLURRED
    assert refusal(cv2.GaussianBlur(gray, (0, 0), 14.0)).cause is Cause.BLURRED


def test_cards_too_small(good):
    assert refusal(scaled(good[0], 0.22)).cause is Cause.SMALL


def test_a_picture_upside_down_or_on_its_side(good):
    gray, _ = good
    assert refusal(np.ascontiguousarray(gray[::-1, ::-1])).cause is Cause.UPSIDE_DOWN
    assert refusal(np.ascontiguousarray(np.rot90(gray))).cause is Cause.UPSIDE_DOWN


@pytest.mark.parametrize("card", [10, 11])
def test_one_card_upside_down(good, card):
    gray, cards = good
    turned = gray.copy()
    middle, side = cards[card].middle_px, cards[card].side_px
    matrix = cv2.getRotationMatrix2D(tuple(middle), 180.0, 1.0)
    whole = cv2.warpAffine(gray, matrix, gray.shape[::-1])
    mask = np.zeros(gray.shape, np.uint8)
    corners = middle + (cards[card].corners_px - middle) * 1.4
    cv2.fillConvexPoly(mask, corners.astype(np.int32), 1)
    turned[mask > 0] = whole[mask > 0]
    found = refusal(turned)
    assert found.cause is Cause.UPSIDE_DOWN
    assert ("palm" if card == 10 else "cuff") in found.what
    assert side > 50


def test_swapped_cards():
    # The palm card put where the cuff card is, with its lean, and the other way round.
    gray = read_photo(SHARED / "clean-08.jpg").gray
    cards = {f.card: f for f in find_cards(gray)}
    swapped = gray.copy()
    for here, there in ((10, 11), (11, 10)):
        matrix = cv2.getPerspectiveTransform(
            cards[there].corners_px.astype(np.float32), cards[here].corners_px.astype(np.float32)
        )
        moved = cv2.warpPerspective(gray, matrix, gray.shape[::-1])
        mask = np.zeros(gray.shape, np.uint8)
        middle = cards[here].middle_px
        cv2.fillConvexPoly(mask, (middle + (cards[here].corners_px - middle) * 1.4).astype(np.int32), 1)
        swapped[mask > 0] = moved[mask > 0]
    assert refusal(swapped).cause is Cause.SWAPPED


def test_a_card_partly_covered_but_still_readable(good):
    gray, cards = good
    covered = gray.copy()
    c = cards[11].corners_px
    strip = np.array(
        [
            c[0] * 1.3 - c[1] * 0.3,
            c[1] * 1.3 - c[0] * 0.3,
            c[1] + 0.32 * (c[2] - c[1]),
            c[0] + 0.32 * (c[3] - c[0]),
        ]
    )
    strip[:2] -= 0.3 * (c[2:].mean(0) - c[:2].mean(0))
    cv2.fillConvexPoly(covered, strip.astype(np.int32), 90)
    assert refusal(covered).cause is Cause.COVERED


@pytest.mark.parametrize("card", [10, 11])
def test_a_card_away(good, card):
    gray, cards = good
    away = gray.copy()
    middle = cards[card].middle_px
    cv2.fillConvexPoly(away, (middle + (cards[card].corners_px - middle) * 2.0).astype(np.int32), 120)
    found = refusal(away)
    assert found.cause is Cause.MISSING
    assert ("palm" if card == 10 else "cuff") in found.what


def test_two_cards_far_apart_are_not_one_hand(good):
    gray, cards = good
    far = np.full_like(gray, 110)
    for card, (x, y) in ((10, (250, 1100)), (11, (1750, 300))):
        middle = cards[card].middle_px.astype(int)
        far[y - 60 : y + 60, x - 60 : x + 60] = gray[
            middle[1] - 60 : middle[1] + 60, middle[0] - 60 : middle[0] + 60
        ]
    assert refusal(far).cause in (Cause.APART, Cause.DISTORTED)


def test_seen_far_from_aside(good):
    # From 70 degrees aside everything looks a third as wide.
    gray, _ = good
    narrow = cv2.resize(gray, None, fx=0.34, fy=1.0, interpolation=cv2.INTER_AREA)
    found = refusal(np.asarray(narrow))
    assert found.cause is Cause.OBLIQUE
    assert "Step round" in found.do


def test_nothing_but_grain_is_answered_without_a_long_search(monkeypatch):
    looked_into = []
    plain = traces_flat._as_flat_card
    monkeypatch.setattr(traces_flat, "_as_flat_card", lambda *a: looked_into.append(1) or plain(*a))
    grain = np.random.default_rng(0).integers(0, 256, (600, 800), dtype=np.uint8)
    found = refusal(grain)
    assert found.cause is Cause.MISSING
    assert "neither card" in found.what
    assert "not from above" in found.do
    assert 0 < len(looked_into) <= 2 * traces_flat._MOST_OUTLINES


def test_a_card_turn_that_is_none(good):
    with pytest.raises(OutOfRange):
        measure_rest_angle(good[0], card_turn_sd_deg=-1.0)


def test_the_drawing_lies_on_the_cards(good):
    gray, cards = good
    reading = measure_rest_angle(gray, lens=Lens(f35_mm=28))
    for card, outline in ((10, reading.drawing.palm_card), (11, reading.drawing.cuff_card)):
        assert np.linalg.norm(outline[:4].mean(0) - cards[card].middle_px) < 3.0
        # The white card is half as large again as the marker.
        marker = cards[card].corners_px
        np.testing.assert_allclose(
            outline[:4] - outline[:4].mean(0), 1.5 * (marker - marker.mean(0)), atol=6.0
        )
    meet = reading.drawing.palm_line[0]
    np.testing.assert_allclose(meet, reading.drawing.cuff_line[0], atol=1e-6)
    assert reading.picture_px == gray.shape[::-1]
    assert not reading.drawing.palm_line.flags.writeable
