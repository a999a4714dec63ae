"""Why a card could not be read, on shared renders and on drawn ones."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from handsel.data.photo_file import read_photo
from handsel.vision.cards import CUFF, PALM
from handsel.vision.finding import Found, find_cards
from handsel.vision.rest_angle.traces import blur_px, leans_from_above
from handsel.vision.rest_angle.traces_covered import part_of
from handsel.vision.rest_angle.traces_flat import seen_flat

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"


def test_cards_seen_from_above_are_found_flat():
    flat = seen_flat(read_photo(SHARED / "refuse-03.jpg").gray)
    assert [f.card for f in flat] == [CUFF]
    assert np.linalg.norm(flat[0].middle_px - [962, 586]) < 6
    assert leans_from_above(flat[0])


@pytest.mark.parametrize("name", ["clean-06.jpg", "refuse-01.jpg"])
def test_nothing_flat_where_cards_are_seen_well_or_missing(name):
    assert seen_flat(read_photo(SHARED / name).gray) == []


def test_a_card_squeezed_flat_is_found_by_pulling_apart():
    gray = read_photo(SHARED / "clean-04.jpg").gray
    squeezed = cv2.resize(gray, None, fx=1.0, fy=0.2, interpolation=cv2.INTER_AREA)
    # Light ground all round, so that the white outline cannot be what finds them.
    assert {f.card for f in seen_flat(np.ascontiguousarray(squeezed))} == {PALM, CUFF}


def test_a_covered_card_leaves_a_trace_and_a_missing_one_none():
    covered = read_photo(SHARED / "refuse-02.jpg").gray
    (cuff,) = [f for f in find_cards(covered) if f.card == CUFF]
    trace = part_of(covered, PALM, cuff)
    assert trace is not None
    assert trace.card == PALM
    assert np.linalg.norm(trace.at_px - [640, 735]) < 40
    missing = read_photo(SHARED / "refuse-01.jpg").gray
    (cuff,) = [f for f in find_cards(missing) if f.card == CUFF]
    assert part_of(missing, PALM, cuff) is None


@pytest.mark.parametrize("quarter", range(4))
def test_any_quarter_of_the_palm_card_is_known(quarter):
    gray = read_photo(SHARED / "clean-08.jpg").gray.copy()
    cards = {f.card: f for f in find_cards(gray)}
    corners, middle = cards[PALM].corners_px, cards[PALM].middle_px
    outer = middle + 1.7 * (corners - middle)
    for k in range(4):
        if k != quarter:
            edge = [0.5 * (outer[k] + outer[k - 1]), 0.5 * (outer[k] + outer[(k + 1) % 4])]
            cv2.fillConvexPoly(gray, np.array([middle, edge[0], outer[k], edge[1]]).astype(np.int32), 90)
    trace = part_of(gray, PALM, cards[CUFF])
    assert trace is not None
    assert np.linalg.norm(trace.at_px - 0.5 * (middle + outer[quarter])) < cards[PALM].side_px


def test_blur_is_seen_and_sharpness_too():
    gray = read_photo(SHARED / "clean-09.jpg").gray
    sharp = blur_px(gray)
    assert 0.7 < sharp < 1.6
    assert blur_px(cv2.GaussianBlur(gray, (0, 0), 8.0)) > 4.0
    assert blur_px(np.full((200, 200), 120, np.uint8)) == 0.0


def test_the_way_a_card_is_seen_slantingly():
    square = np.array([[-30, -30], [30, -30], [30, 30], [-30, 30]], float)
    assert leans_from_above(Found(card=PALM, corners_px=square * [1.0, 0.2] + 100))
    assert not leans_from_above(Found(card=PALM, corners_px=square * [0.2, 1.0] + 100))
    # A cuff raised by 45 degrees and seen from above is squeezed along its diagonal.
    turn = np.array([[1, -1], [1, 1]]) / np.sqrt(2)
    assert leans_from_above(Found(card=CUFF, corners_px=(square @ turn.T) * [1.0, 0.2] + 100))
