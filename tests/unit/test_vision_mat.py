"""The mats' geometry: nothing on a sheet covers anything else, and a number says which sheet it is on."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from handsel.vision.cards import CUFF, PALM, pattern
from handsel.vision.mat.sheet import MATS, Mat, Rectangle, marker_cells, mat_of

UNPRINTABLE_MM = 8.0


def _marker_places(mat: Mat, quiet_mm: float) -> list[Rectangle]:
    side = mat.marker_mm + 2 * quiet_mm
    return [
        Rectangle(x_mm=m.x_mm - side / 2, y_mm=m.y_mm - side / 2, width_mm=side, height_mm=side)
        for m in mat.markers
    ]


def _overlap(a: Rectangle, b: Rectangle) -> bool:
    slack = 1e-6
    return (
        min(a.right_mm, b.right_mm) - max(a.x_mm, b.x_mm) > slack
        and min(a.lower_mm, b.lower_mm) - max(a.y_mm, b.y_mm) > slack
    )


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS)
def test_every_marker_keeps_its_white_ring(mat: Mat) -> None:
    rings = _marker_places(mat, mat.quiet_mm)
    bodies = _marker_places(mat, 0.0)
    for i, ring in enumerate(rings):
        others = [b for j, b in enumerate(bodies) if j != i] + [mat.free, mat.bar_across, mat.bar_along]
        assert not any(_overlap(ring, other) for other in others)


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS)
def test_all_ink_is_where_a_printer_prints(mat: Mat) -> None:
    for place in [*_marker_places(mat, 0.0), mat.free, mat.bar_across, mat.bar_along, mat.card]:
        assert place.x_mm >= UNPRINTABLE_MM
        assert place.y_mm >= UNPRINTABLE_MM
        assert place.right_mm <= mat.width_mm - UNPRINTABLE_MM
        assert place.lower_mm <= mat.height_mm - UNPRINTABLE_MM


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS)
def test_the_card_lies_within_the_free_area(mat: Mat) -> None:
    card, free = mat.card, mat.free
    assert free.x_mm < card.x_mm
    assert card.right_mm < free.right_mm
    assert free.y_mm < card.y_mm
    assert card.lower_mm < free.lower_mm
    assert (card.width_mm, card.height_mm) == (85.60, 53.98)


def test_no_two_sheets_share_a_number_and_none_has_a_cards() -> None:
    for a, b in combinations(MATS.values(), 2):
        assert not set(a.ids) & set(b.ids)
    every = [n for m in MATS.values() for n in m.ids]
    assert len(every) == len(set(every))
    assert not {PALM, CUFF} & set(every)
    assert {m.name: (m.ids[0], m.ids[-1]) for m in MATS.values()} == {
        "a4": (12, 23),
        "letter": (24, 35),
        "a3": (36, 49),
    }


def test_a_number_says_its_sheet() -> None:
    found = {n: mat_of(n) for n in range(52)}
    assert [n for n, mat in found.items() if mat is None] == [*range(12), 50, 51]
    assert all(mat is None or n in mat.ids for n, mat in found.items())


@pytest.mark.parametrize("mat", MATS.values(), ids=MATS)
def test_markers_hold_a_lens_at_every_side(mat: Mat) -> None:
    """Two more between the corners on both long sides, at least one on both short ones."""
    xs, ys = {m.x_mm for m in mat.markers}, {m.y_mm for m in mat.markers}
    for x in (min(xs), max(xs)):
        assert sum(m.x_mm == x for m in mat.markers) >= 4
    for y in (min(ys), max(ys)):
        assert sum(m.y_mm == y for m in mat.markers) >= 3


def test_corners_go_clockwise_from_the_top_left() -> None:
    corners = MATS["a4"].corners_mm(12)
    assert corners.tolist() == [[10, 10], [24, 10], [24, 24], [10, 24]]
    with pytest.raises(KeyError):
        MATS["a4"].marker(24)


def test_cells_are_those_of_the_cards() -> None:
    for card in (PALM, CUFF):
        assert np.array_equal(marker_cells(card), pattern(card)[1:-1, 1:-1])
    assert len({marker_cells(n).tobytes() for n in range(50)}) == 50
