"""Markers drawn as one outline: the same cells come back when the outline is filled."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from handsel.documents.marker_svg import marker_svg, outlines
from handsel.vision.mat.sheet import marker_cells

PX = 8  # of a cell


def _filled(rings: list[list[tuple[int, int]]], shape: tuple[int, int]) -> np.ndarray:
    """Whether the middle of each cell is inside, by the even-odd rule."""
    found = np.zeros(shape, bool)
    for row in range(shape[0]):
        for column in range(shape[1]):
            x, y = column + 0.5, row + 0.5
            for ring in rings:
                for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
                    if x0 == x1 and x0 > x and min(y0, y1) < y < max(y0, y1):
                        found[row, column] ^= True
    return found


@settings(max_examples=60, deadline=None)
@given(arrays(bool, st.tuples(st.integers(1, 6), st.integers(1, 6))))
def test_an_outline_holds_the_cells_it_was_drawn_round(black: np.ndarray) -> None:
    rings = outlines(black)
    assert np.array_equal(_filled(rings, black.shape), black)
    for ring in rings:
        turns = zip(ring, ring[1:] + ring[:1], strict=True)
        assert all((a[0] == b[0]) != (a[1] == b[1]) for a, b in turns)


def test_a_lone_cell_is_walked_clockwise() -> None:
    assert outlines(np.array([[True]])) == [[(0, 0), (1, 0), (1, 1), (0, 1)]]


@pytest.mark.parametrize("id", range(10, 50))
def test_a_marker_is_one_path_and_is_read_as_itself(id: int) -> None:
    svg = marker_svg(id)
    assert svg.count("<path") == 1
    ways = re.search(r' d="([^"]+)"', svg)
    assert ways is not None
    rings = [
        [(int(x), int(y)) for x, y in (p.split() for p in way.split("L"))]
        for way in ways.group(1).strip("MZ").split("ZM")
    ]
    black = _filled(rings, (6, 6))
    assert np.array_equal(black, marker_cells(id) < 0.5)
    picture = np.full((10 * PX, 10 * PX), 255, np.uint8)
    picture[2 * PX : 8 * PX, 2 * PX : 8 * PX] = np.kron(~black, np.ones((PX, PX))).astype(np.uint8) * 255
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    _, numbers, _ = finder.detectMarkers(picture)
    assert np.ravel(numbers).tolist() == [id]
