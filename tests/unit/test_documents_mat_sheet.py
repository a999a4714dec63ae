"""The mats on paper: what the PDF paints is where the geometry says, and a detector reads it back."""

from __future__ import annotations

import io
import json
from typing import Any

import cv2
import numpy as np
import pytest
import typst
from PIL import Image

from handsel.data.part_outlines import load_outlines
from handsel.documents.mat_pictures import LAID, PHOTOS, laid, photo_picture
from handsel.documents.mat_sheet import good_bar, mat_page, mat_sheet
from handsel.documents.paper import FOLDER, FONTS
from handsel.errors import OutOfRange
from handsel.vision.finding import find_cards
from handsel.vision.mat.sheet import MATS, Mat
from unit.pdf_paths import filled, page_sizes_mm, page_text

EXACT_MM = 0.01
each_mat = pytest.mark.parametrize("mat", MATS.values(), ids=MATS)


def _pictured(mat: Mat, px_per_mm: float) -> Any:
    """The mat's own page as a grey picture."""
    pages = typst.compile(
        FOLDER / "mat_sheet.typ",
        root=FOLDER,
        font_paths=[FONTS],
        ignore_system_fonts=True,
        format="png",
        ppi=px_per_mm * 25.4,
        sys_inputs={"page": json.dumps(mat_page(mat))},
    )
    return np.asarray(Image.open(io.BytesIO(pages[0])).convert("L"))


@each_mat
def test_both_pages_have_the_size_of_the_paper(mat: Mat) -> None:
    sizes = page_sizes_mm(mat_sheet(mat.name))
    assert len(sizes) == 2
    for size in sizes:
        assert size == pytest.approx((mat.width_mm, mat.height_mm), abs=EXACT_MM)


@each_mat
def test_every_marker_and_bar_is_painted_in_its_place(mat: Mat) -> None:
    painted = [f for f in filled(mat_sheet(mat.name), 0) if f.width_mm > 5 and f.gray < 0.1]
    boxes = {
        (round(f.x_mm, 2), round(f.y_mm, 2), round(f.width_mm, 2), round(f.height_mm, 2)) for f in painted
    }
    half = mat.marker_mm / 2
    wanted = {(m.x_mm - half, m.y_mm - half, mat.marker_mm, mat.marker_mm) for m in mat.markers}
    wanted |= {(b.x_mm, b.y_mm, b.width_mm, b.height_mm) for b in (mat.bar_across, mat.bar_along)}
    assert boxes == {tuple(round(v, 2) for v in box) for box in wanted}


@each_mat
def test_a_detector_finds_all_markers_and_no_card(mat: Mat) -> None:
    px_per_mm = 4.0
    picture = _pictured(mat, px_per_mm)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), settings)
    corners, numbers, _ = finder.detectMarkers(picture)
    assert sorted(np.ravel(numbers).tolist()) == sorted(mat.ids)
    for number, found in zip(np.ravel(numbers), corners, strict=True):
        at_mm = (
            np.asarray(found).reshape(4, 2) + 0.5
        ) / px_per_mm  # picture: pixel centres are whole numbers
        assert np.abs(at_mm - mat.corners_mm(int(number))).max() < 0.15
    assert find_cards(picture) == []


def test_nothing_is_printed_where_parts_lie_but_the_angles_of_the_card() -> None:
    mat, px_per_mm = MATS["a4"], 4
    picture = _pictured(mat, px_per_mm)
    free = mat.free
    inside = picture[
        round((free.y_mm + 1) * px_per_mm) : round((free.lower_mm - 1) * px_per_mm),
        round((free.x_mm + 1) * px_per_mm) : round((free.right_mm - 1) * px_per_mm),
    ]
    rows, columns = np.nonzero(inside < 250)
    x_mm = (columns + 0.5) / px_per_mm + free.x_mm + 1
    y_mm = (rows + 0.5) / px_per_mm + free.y_mm + 1
    card = mat.card
    in_card = (x_mm > card.x_mm) & (x_mm < card.right_mm) & (y_mm > card.y_mm) & (y_mm < card.lower_mm)
    by_card = (x_mm > card.x_mm - 2) & (x_mm < card.right_mm + 2)
    by_card &= (y_mm > card.y_mm - 2) & (y_mm < card.lower_mm + 2)
    assert rows.size > 0
    assert bool((by_card & ~in_card).all())
    assert int(inside.min()) > 120  # pale


def test_the_first_page_says_how_to_print_and_the_second_how_to_photograph() -> None:
    pdf = mat_sheet("letter")
    first, second = page_text(pdf, 0), page_text(pdf, 1)
    assert "Inspection mat Letter" in first
    assert "print at 100 %" in first
    for words in (
        "99.5 to 100.5 mm",
        "straight above",
        "Never use a bank card",
        *(w for w, _ in PHOTOS.values()),
    ):
        assert words in second


def test_the_same_paper_gives_the_same_file() -> None:
    assert mat_sheet("a4") == mat_sheet("a4")


def test_another_paper_is_refused_in_words() -> None:
    with pytest.raises(OutOfRange, match="a4, letter, a3"):
        mat_sheet("papyrus")


def test_good_bars_are_rounded_inward() -> None:
    assert good_bar(150.0) == {"bar": "150", "low": "149.3", "high": "150.7"}
    assert good_bar(33.0) == {"bar": "33", "low": "32.9", "high": "33.1"}


def test_parts_in_the_drawing_lie_apart_and_inside_the_line() -> None:
    free, outlines = MATS["a4"].free, {o.name: o for o in load_outlines("linden")}
    picture = np.zeros((round(free.height_mm * 4), round(free.width_mm * 4)), np.uint8)
    for name, x, y, quarters in LAID:
        ring = np.array(laid(outlines[name], x, y, quarters)[0])
        assert ring.min() > 0.5
        assert ring[:, 0].max() < free.width_mm - 0.5
        assert ring[:, 1].max() < free.height_mm - 0.5
        one = np.zeros_like(picture)
        cv2.fillPoly(one, [np.round(ring * 4).astype(np.int32)], 1)
        assert not (cv2.dilate(one, np.ones((9, 9), np.uint8)) & picture).any(), name  # 1 mm of air
        picture |= one


def test_a_photo_that_is_cut_off_reaches_beyond_its_frame_and_a_good_one_does_not() -> None:
    def reach(kind: str) -> tuple[float, float]:
        way = photo_picture(kind).split('<path d="M', 1)[1].split("Z", 1)[0]  # the paper
        xs = [float(p.split()[0]) for p in way.split("L")]
        return min(xs), max(xs)

    assert reach("cut")[0] < 0
    assert reach("whole")[0] > 0
    assert reach("whole")[1] < 36
