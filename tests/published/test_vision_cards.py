"""The cards' pattern and the finder, against OpenCV's own dictionary, drawing and a real photo."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from handsel.vision.cards import CUFF, PALM, edge_pieces, pattern
from handsel.vision.finding import find_cards
from handsel.vision.rest_angle.reading import measure_rest_angle
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

SIX_MARKERS = Path(__file__).parents[1] / "data" / "vision" / "outside" / "six_markers.jpg"


@pytest.mark.parametrize("card", [PALM, CUFF])
def test_the_pattern_is_that_of_the_dictionary(card):
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    drawn = dictionary.generateImageMarker(card, 6) / 255
    np.testing.assert_array_equal(pattern(card)[1:-1, 1:-1], drawn)
    assert pattern(card)[0].all()
    assert pattern(card)[:, -1].all()


@pytest.mark.parametrize("card", [PALM, CUFF])
def test_every_change_between_neighbours_is_an_edge_once(card):
    cells = pattern(card)
    pieces = edge_pieces(card)
    assert len(pieces.row) == int(np.abs(np.diff(cells, axis=0)).sum() + np.abs(np.diff(cells, axis=1)).sum())
    for across, row, col, middle, white in zip(
        pieces.across, pieces.row, pieces.col, pieces.middle, pieces.white_side, strict=True
    ):
        before = cells[row, col - 1] if across == 0 else cells[row - 1, col]
        assert cells[row, col] - before == white
        assert tuple(middle) == ((col - 4, row - 3.5) if across == 0 else (col - 3.5, row - 4))


def test_a_real_photo_of_other_markers_holds_none_of_ours():
    # OpenCV's marker tutorial: six markers of another dictionary, photographed obliquely.
    gray = cv2.imread(str(SIX_MARKERS), cv2.IMREAD_GRAYSCALE)
    other = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250))
    corners, numbers, _ = other.detectMarkers(gray)
    assert sorted(np.ravel(numbers)) == [23, 40, 62, 98, 124, 203]
    forty = corners[list(np.ravel(numbers)).index(40)][0]
    assert np.abs(forty - [[359, 310], [404, 310], [410, 350], [362, 350]]).max() < 2.0
    assert find_cards(gray) == []
    with pytest.raises(PhotoRefused) as refused:
        measure_rest_angle(gray)
    assert refused.value.cause is Cause.MISSING
