"""Cards found in hard light, at odd sizes and places."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from handsel.data.photo_file import read_photo
from handsel.vision.cards import CUFF, PALM
from handsel.vision.edges import apply_homography, read_edges
from handsel.vision.finding import Found, find_cards, foreshortening, scaled

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"


def both(found):
    return sorted(f.card for f in found) == [PALM, CUFF]


@pytest.fixture(scope="module")
def gray():
    return read_photo(SHARED / "clean-09.jpg").gray


@pytest.fixture(scope="module")
def plain(gray):
    return {f.card: f.middle_px for f in find_cards(gray)}


def close(found, expected, ratio=1.0, within=2.5):
    return all(np.linalg.norm(f.middle_px / ratio - expected[f.card]) < within for f in found)


def test_an_easy_photo(plain):
    assert set(plain) == {PALM, CUFF}


@pytest.mark.parametrize("ratio", [0.35, 0.6, 1.8])
def test_at_other_sizes(gray, plain, ratio):
    found = find_cards(scaled(gray, ratio))
    assert both(found)
    assert close(found, plain, ratio)


def test_in_very_dim_light(gray, plain):
    dim = gray.astype(float) * 0.12 + np.random.default_rng(1).normal(0, 3, gray.shape)
    found = find_cards(np.clip(dim, 0, 255).astype(np.uint8))
    assert both(found)
    assert close(found, plain)


def test_with_a_dark_shadow_over_half_a_card(gray, plain):
    shaded = gray.copy()
    shaded[:, int(plain[PALM][0]) :] = shaded[:, int(plain[PALM][0]) :] // 2  # a quarter of the light
    found = find_cards(shaded)
    assert both(found)
    assert close(found, plain)


def test_in_glare(gray, plain):
    y, x = np.mgrid[0 : gray.shape[0], 0 : gray.shape[1]]
    spot = np.exp(-((x - plain[CUFF][0]) ** 2 + (y - plain[CUFF][1]) ** 2) / 2 / 60**2)
    assert both(find_cards(np.clip(gray * 0.6 + 140 * spot, 0, 255).astype(np.uint8)))


def test_when_shaken(gray, plain):
    kernel = np.zeros((11, 11), np.float32)
    cv2.line(kernel, (0, 2), (10, 8), 1.0)
    found = find_cards(cv2.filter2D(gray, -1, kernel / kernel.sum()))
    assert both(found)
    assert close(found, plain)


def test_an_empty_table_holds_no_cards():
    rng = np.random.default_rng(2)
    assert find_cards(rng.integers(0, 255, (300, 400), dtype=np.uint8)) == []
    assert find_cards(np.full((64, 64), 128, np.uint8)) == []


def test_a_card_that_is_there_twice_is_found_twice(gray, plain):
    twice = gray.copy()
    x, y = plain[PALM].astype(int)
    twice[100:240, 100:240] = gray[y - 70 : y + 70, x - 70 : x + 70]
    assert sorted(f.card for f in find_cards(twice)) == [PALM, PALM, CUFF]


def test_corners_keep_their_place_when_found_in_a_small_copy(gray):
    for one in find_cards(gray):
        edges = read_edges(gray, one.card, one.corners_px)
        corners = apply_homography(
            edges.homography, np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]])
        )
        assert np.abs((one.corners_px - corners).mean(0)).max() < 1.0  # on the whole not shifted


def test_a_square_seen_slantingly_is_flat_by_the_cosine():
    for slant in (0.0, 40.0, 75.0):
        flat = np.array([[-30, -30], [30, -30], [30, 30], [-30, 30]]) * [1, np.cos(np.radians(slant))] + 100.0
        assert foreshortening(Found(card=PALM, corners_px=flat)) == pytest.approx(
            np.cos(np.radians(slant)), abs=1e-3
        )
