"""The tag cards on paper: their sizes in the file, found by what finds them in photos, and put where they belong."""

from __future__ import annotations

import io
import json
import re
from math import atan2, degrees
from typing import Any

import cv2
import numpy as np
import pytest
import typst
from PIL import Image

from handsel.data.load_design import load_design
from handsel.documents.card_pictures import (
    TAPED,
    card_seats,
    carrier_picture,
    fingers_right,
    folding_pictures,
    side_picture,
    slip_picture,
)
from handsel.documents.card_sheet import CARRIER_MM, PAIRS, PAPERS, SLIPS, card_page, card_sheet
from handsel.documents.paper import FOLDER, FONTS
from handsel.errors import OutOfRange
from handsel.vision.cards import CARD_MM, CUFF, MARKER_MM, PALM
from handsel.vision.edges import read_edges
from handsel.vision.finding import Found, Look, detect, find_cards
from handsel.vision.rest_angle.reading import measure_rest_angle
from unit.pdf_paths import filled, page_sizes_mm, page_text

EXACT_MM = 0.01
PX_PER_MM = 6
LOOK = Look(longest_px=2200, treat=lambda gray: gray, windows=(7, 37, 15))
each_paper = pytest.mark.parametrize("paper", PAPERS)


def _pictured(px_per_mm: int) -> list[Any]:
    """All pages for A4 as grey pictures."""
    made = typst.compile(
        FOLDER / "card_sheet.typ",
        root=FOLDER,
        font_paths=[FONTS],
        ignore_system_fonts=True,
        format="png",
        ppi=px_per_mm * 25.4,
        sys_inputs={"page": json.dumps(card_page("a4"))},
    )
    return [np.asarray(Image.open(io.BytesIO(p)).convert("L")) for p in made]


@pytest.fixture(scope="module")
def pages() -> list[Any]:
    return _pictured(PX_PER_MM)


def _found(page: Any) -> list[Found]:
    """Markers of full size that the cards' finder finds; the drawings hold smaller ones."""
    return [f for f in detect(page, LOOK) if abs(f.side_px / PX_PER_MM - MARKER_MM) < 0.2]


def _squares(paper: str, page: int) -> list[Any]:
    """Markers of full size on a page of the file."""
    return [
        f
        for f in filled(card_sheet(paper), page)
        if f.gray < 0.1 and abs(f.width_mm - MARKER_MM) < 0.5 and abs(f.height_mm - MARKER_MM) < 0.5
    ]


@each_paper
def test_three_pages_in_the_size_of_the_paper(paper: str) -> None:
    wanted = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[paper]
    sizes = page_sizes_mm(card_sheet(paper))
    assert len(sizes) == 3
    for size in sizes:
        assert size == pytest.approx(wanted, abs=0.02)


@each_paper
def test_markers_are_sixteen_millimetres_and_cards_twenty_four_apart(paper: str) -> None:
    squares = _squares(paper, 0)
    assert len(squares) == 2 * PAIRS
    for s in squares:
        assert (s.width_mm, s.height_mm) == pytest.approx((MARKER_MM, MARKER_MM), abs=EXACT_MM)
    row = sorted(s.x_mm for s in squares if abs(s.y_mm - squares[0].y_mm) < 1)
    assert row[1] - row[0] == pytest.approx(CARD_MM, abs=EXACT_MM)


@each_paper
@pytest.mark.parametrize("page", [0, 2])
def test_a_bar_of_a_hundred_millimetres_stands_on_every_page_that_is_cut_up(paper: str, page: int) -> None:
    bars = [f for f in filled(card_sheet(paper), page) if f.gray < 0.1 and f.width_mm > 50]
    assert [b.width_mm for b in bars] == pytest.approx([100.0], abs=EXACT_MM)


@each_paper
def test_nothing_to_cut_is_near_an_edge_that_a_printer_leaves_off(paper: str) -> None:
    width, height = page_sizes_mm(card_sheet(paper))[0]
    for page in (0, 2):
        for s in _squares(paper, page):
            assert min(s.x_mm, s.y_mm) > 12
            assert s.x_mm + s.width_mm < width - 12
            assert s.y_mm + s.height_mm < height - 12


def test_what_finds_cards_in_photos_finds_every_printed_one(pages: list[Any]) -> None:
    assert sorted(f.card for f in _found(pages[0])) == [PALM] * PAIRS + [CUFF] * PAIRS
    assert sorted(f.card for f in _found(pages[2])) == [PALM, PALM, CUFF, CUFF]


def test_every_printed_pattern_stands_upright(pages: list[Any]) -> None:
    for page in (0, 2):
        for f in _found(pages[page]):
            x, y = f.corners_px[1] - f.corners_px[0]  # along its upper edge
            assert abs(degrees(atan2(y, x))) < 0.5


def test_no_word_or_line_touches_the_white_that_edges_are_read_in(pages: list[Any]) -> None:
    """Each card cut out along its line: its edges lose nothing."""
    for f in _found(pages[0]):
        x, y = f.middle_px
        half = CARD_MM / 2 * PX_PER_MM
        cut = pages[0][round(y - half) : round(y + half), round(x - half) : round(x + half)]
        ring = round((MARKER_MM / 2 + MARKER_MM / 6) * PX_PER_MM)
        inner = cut[round(half) - ring : round(half) + ring, round(half) - ring : round(half) + ring].copy()
        black = round(MARKER_MM / 2 * PX_PER_MM) + 1
        middle = inner.shape[0] // 2
        inner[middle - black : middle + black, middle - black : middle + black] = 255
        assert int(inner.min()) > 240
        edges = read_edges(pages[0], f.card, f.corners_px)
        assert edges is not None
        assert edges.lost_ratio == 0.0


def test_the_guide_shows_a_pair_on_the_hand_that_is_found_as_one(pages: list[Any]) -> None:
    """The large drawing alone, as a photo of it would be: palm card level, cuff card turned by the rest angle."""
    upper = pages[1][: pages[1].shape[0] // 2]
    found = {f.card: f for f in find_cards(upper)}
    assert set(found) == {PALM, CUFF}
    turns = {}
    for card, f in found.items():
        x, y = f.corners_px[1] - f.corners_px[0]
        turns[card] = degrees(atan2(y, x))
    assert turns[PALM] == pytest.approx(0.0, abs=0.7)
    assert turns[CUFF] == pytest.approx(load_design("linden").target_rest_angle_deg, abs=0.7)
    assert found[PALM].middle_px[0] > found[CUFF].middle_px[0]  # nearer the fingers, which point right


@pytest.mark.parametrize("view", ["little", "thumb"])
@pytest.mark.parametrize("hand", ["left", "right"])
def test_the_palm_card_is_on_the_finger_side_and_the_cuff_card_raised(hand: Any, view: Any) -> None:
    palm, cuff = card_seats(hand, view)
    assert (palm.card, cuff.card) == (PALM, CUFF)
    assert (palm.at[0] > cuff.at[0]) == fingers_right(hand, view)
    assert (cuff.turn_deg > 0) == fingers_right(hand, view)
    assert cuff.at[1] < palm.at[1]  # y down


def test_a_left_hand_is_the_mirror_image_but_its_markers_are_not() -> None:
    right, left = side_picture("right", "little"), side_picture("left", "little")
    marker = re.compile(r'<path d="([^"]+)" fill="#000000"')
    assert marker.findall(right) == marker.findall(left)
    assert [s.at[0] for s in card_seats("left", "little")] == [
        -s.at[0] for s in card_seats("right", "little")
    ]


def test_on_the_little_fingers_side_cards_are_on_the_designs_seats() -> None:
    pads = {p.body: p.centre_mm for p in load_design("linden").tag_pads}
    palm, cuff = card_seats("right", "little")
    assert palm.at == pytest.approx((pads["palm"][0], -pads["palm"][2]))
    # as far from the hinge as the seat of the straight hand
    assert np.hypot(*cuff.at) == pytest.approx(np.hypot(pads["cuff"][0], pads["cuff"][2]))


def test_a_taped_palm_card_keeps_clear_of_the_hands_base() -> None:
    assert TAPED[PALM][1] - CARD_MM / 2 > load_design("linden").pose.base_z_mm


def test_words_that_a_builder_needs_are_on_their_page() -> None:
    pdf = card_sheet("a4")
    first, second, third = (page_text(pdf, k) for k in range(3))
    for words in ("Print at 100 %", "99.5 to 100.5", "The fold is the upper edge"):
        assert words in first
    for words in ("toward the back of the hand", "10 on the palm, 11 on the cuff", *(w for _, w in SLIPS)):
        assert words in second
    for words in ("glue behind the pattern", "0.7°"):
        assert words in third


def test_a_carriers_folds_are_beside_its_marker() -> None:
    """The wall is as high as the card and a little; the foot's fold is the line that counts."""
    squares = sorted(_squares("a4", 2), key=lambda f: f.x_mm)
    assert len(squares) == 4
    steps = np.diff([s.x_mm for s in squares])
    assert bool((steps > CARRIER_MM).all())


@pytest.mark.parametrize(
    "svg",
    [
        *(slip_picture(kind) for kind, _ in SLIPS),
        carrier_picture(PALM),
        carrier_picture(CUFF),
        *(s for s, _ in folding_pictures()),
    ],
)
def test_every_drawing_is_a_picture_with_a_name(svg: str) -> None:
    from xml.etree import ElementTree

    root = ElementTree.fromstring(svg)
    assert root.find("{http://www.w3.org/2000/svg}title") is not None
    assert len(root) >= 3


def test_another_paper_is_refused_in_words() -> None:
    with pytest.raises(OutOfRange, match="a4, letter"):
        card_sheet("a3")


def test_the_same_paper_gives_the_same_file() -> None:
    assert card_sheet("letter") == card_sheet("letter")


def test_the_drawn_hand_photographed_square_on_reads_its_rest_angle() -> None:
    """The guide is a hand with cards: the whole measurement, run on it, gives the angle that it was drawn with."""
    picture = json.dumps(side_picture("right", "little", large=True))
    source = f'#set page(width: 160mm, height: 110mm, margin: 2mm)\n#image(bytes({picture}), format: "svg")'
    finely = typst.compile(source.encode(), font_paths=[FONTS], format="png", ppi=4 * PX_PER_MM * 25.4)
    assert isinstance(finely, bytes)
    drawn = np.asarray(Image.open(io.BytesIO(finely)).convert("L")).astype(float)
    light = 0.03 + 0.8 * (drawn / 255) ** 2.2  # paper and ink in a room, as a camera sees them
    small = cv2.resize(light, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(small, (0, 0), 0.8)
    grain = np.random.default_rng(5).normal(0.0, 2.0, light.shape)
    photo = np.clip(255 * light ** (1 / 2.2) + grain, 0, 255).round().astype(np.uint8)
    read = measure_rest_angle(photo, card_turn_sd_deg=0.0, where="guide")
    assert read.rest_angle_deg == pytest.approx(load_design("linden").target_rest_angle_deg, abs=0.15)
    assert read.u_rest_angle_deg < 0.15
    assert read.fingers_point == "right"
