"""Labels: each inside its own field on the sheet, found by measure, the code readable across a table."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.data.label_grid import PAGES_MM, LabelGrid
from handsel.data.load_labels import BUNDLED, bundled_label_grids, load_label_grid
from handsel.documents.label_sheet import FINEST_MODULE_MM, HandLabel, KitLabel, _label, label_sheet
from handsel.documents.qr import QUIET_MODULES, qr_modules
from handsel.errors import BadFile, OutOfRange
from unit.papers import HOSTILE, hand, hostile_hand, in_order, page_count, pieces, size_mm, text_of

ONE = HandLabel(hand=hand())


def coded(n):
    return [HandLabel(hand=hand(code=f"AB{k:04d}", recipient=f"R-{k:03d}")) for k in range(n)]


def test_grids_are_named_by_measure_and_fit_their_page():
    assert {"70x37-a4", "63.5x38.1-a4", "66.7x25.4-letter", "cut-a4"} <= set(bundled_label_grids())
    for name in bundled_label_grids():
        grid = load_label_grid(name)
        assert grid.id == name
        width, height = PAGES_MM[grid.page]
        x, y = grid.corner_mm(grid.per_page - 1)
        assert x + grid.label_width_mm <= width + 0.2
        assert y + grid.label_height_mm <= height + 0.2
        measured = name.split("-")[0]
        if "x" in measured:
            assert f"{grid.label_width_mm:g}x{grid.label_height_mm:g}" == measured


@pytest.mark.parametrize("name", bundled_label_grids())
def test_every_code_lies_inside_its_own_label(name):
    grid = load_label_grid(name)
    pdf = label_sheet(coded(grid.per_page), grid)
    assert page_count(pdf) == 1
    assert size_mm(pdf) == PAGES_MM[grid.page]
    found = {text: (x, y) for text, x, y in pieces(pdf) if text.startswith("AB0") or text.startswith("AB1")}
    for k in range(grid.per_page):
        code = f"AB{k:04d}"
        x, y = found[f"{code[:3]}-{code[3:]}"]
        x0, y0 = grid.corner_mm(k)
        assert x0 + 2.4 < x < x0 + grid.label_width_mm / 2
        assert y0 + 2.4 < y < y0 + grid.label_height_mm - 2.4


def test_a_begun_sheet_is_used_from_its_first_free_label():
    grid = load_label_grid("63.5x38.1-a4")
    pdf = label_sheet(coded(3), grid, start=20)
    assert page_count(pdf) == 2
    assert "AB0-002" not in text_of(pdf, 0)
    assert "AB0-002" in text_of(pdf, 1)
    [(_, x, y)] = [p for p in pieces(pdf, 0) if p[0] == "AB0-000"]
    x0, y0 = grid.corner_mm(19)
    assert x0 < x < x0 + grid.label_width_mm
    assert y0 < y < y0 + grid.label_height_mm


@pytest.mark.parametrize("start", [0, -1, 22])
def test_a_start_that_the_sheet_does_not_have_is_refused(start):
    with pytest.raises(OutOfRange, match="expected 1 to 21"):
        label_sheet([ONE], load_label_grid("63.5x38.1-a4"), start=start)


def test_no_label_is_refused():
    with pytest.raises(OutOfRange, match="no label"):
        label_sheet([], load_label_grid())


def test_many_labels_run_on_over_pages_and_are_the_same_each_time():
    grid = load_label_grid("70x37-a4")
    pdf = label_sheet(coded(60), grid)
    assert page_count(pdf) == 3
    assert pdf == label_sheet(coded(60), grid)
    in_order(text_of(pdf), *(f"AB0-{k:03d}" for k in range(60)))


def test_a_label_says_whose_it_is():
    text = text_of(label_sheet([ONE, KitLabel(hand=hand(), what="pins, 6", lot="P-22")], load_label_grid()))
    for words in ("K7M-2QX", "R-014", "right · 115 %", "L-031", "pins, 6", "lot P-22"):
        assert words in text


def test_the_code_is_large_and_the_qr_code_never_too_fine():
    for name in bundled_label_grids():
        grid = load_label_grid(name)
        for label in (ONE, KitLabel(hand=hand(), what="pins")):
            shown = _label(label, grid)
            modules = len(qr_modules(hand().url)) + 2 * QUIET_MODULES
            assert shown["qr_mm"] / modules >= FINEST_MODULE_MM
            assert shown["code_pt"] >= (30 if grid.label_height_mm > 30 else 13)


def test_where_the_qr_code_would_be_too_fine_the_code_stands_alone():
    long = HandLabel(hand=hand(url="http://a-very-long-name.example/" + "l" * 200))
    shown = _label(long, load_label_grid("38.1x21.2-a4"))
    assert shown["qr"] == ""
    assert "K7M-2QX" in text_of(label_sheet([long], load_label_grid("38.1x21.2-a4")))


def test_marks_to_cut_along_are_drawn_only_where_asked_and_outside_the_labels():
    from handsel.documents.label_sheet import _cuts

    grid = load_label_grid("cut-a4")
    marks = _cuts(grid)
    assert len(marks) == 2 * ((grid.columns + 1) + (grid.rows + 1))
    (x0, y0), (x1, y1) = grid.corner_mm(0), grid.corner_mm(grid.per_page - 1)
    x1, y1 = x1 + grid.label_width_mm, y1 + grid.label_height_mm
    for m in marks:
        ends_x, ends_y = m["x"] + m["dx"], m["y"] + m["dy"]
        assert ends_x < x0 or m["x"] > x1 or ends_y < y0 or m["y"] > y1
        assert 0 <= m["x"] <= ends_x <= 210
        assert 0 <= m["y"] <= ends_y <= 297
    assert label_sheet([ONE], grid) != label_sheet([ONE], replace(grid, cut_marks=False))


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_stay_inside_their_label(words):
    grid = load_label_grid("38.1x21.2-a4")
    labels = [
        HandLabel(hand=hostile_hand(words)),
        KitLabel(hand=hostile_hand(words), what=words, lot=words),
        ONE,
    ]
    pdf = label_sheet(labels, grid)
    assert page_count(pdf) == 1
    codes = [(x, y) for text, x, y in pieces(pdf) if text == "K7M-2QX"]
    corners = [grid.corner_mm(k) for k in range(3)]
    for (x, y), (x0, y0) in zip(sorted(codes), corners, strict=True):
        assert x0 < x < x0 + grid.label_width_mm
        assert y0 < y < y0 + grid.label_height_mm


@settings(max_examples=15, deadline=None)
@given(
    st.integers(1, 6),
    st.integers(1, 12),
    st.floats(20, 60),
    st.floats(12, 60),
    st.floats(0, 20),
    st.floats(0, 5),
)
def test_a_grid_fits_its_page_or_is_refused(columns, rows, width, height, margin, gap):
    fields = {"id": "own", "title": "own", "page": "a4", "columns": columns, "rows": rows}
    fields |= {"label_width_mm": width, "label_height_mm": height, "margin_left_mm": margin}
    fields |= {"margin_top_mm": margin, "gap_x_mm": gap, "gap_y_mm": gap}
    across = margin + columns * width + (columns - 1) * gap
    down = margin + rows * height + (rows - 1) * gap
    if across > 210.2 or down > 297.2:
        with pytest.raises(OutOfRange, match="the labels reach"):
            LabelGrid(**fields)
    elif across < 210 and down < 297:
        assert page_count(label_sheet([ONE], LabelGrid(**fields))) == 1


GOOD = (BUNDLED / "cut-a4.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "to", "says"),
    [
        ("columns = 3", "columns = 4", "the labels reach"),
        ("columns = 3", "columns = 0", "columns"),
        ("label_width_mm = 60.0", 'label_width_mm = "60"', "without quotes"),
        ("label_width_mm = 60.0", "label_width_mm = nan", "label_width_mm"),
        ("gap_x_mm = 0.0", "gap_x_mm = -1.0", "gap_x_mm"),
        ('page = "a4"', 'page = "a5"', "page"),
        ("cut_marks = true", "cut_mark = true", "cut_mark"),
        ('format = "handsel-labels/1"', 'format = "handsel-labels/2"', "format"),
    ],
)
def test_a_slip_in_a_file_is_told_in_words(change, to, says, tmp_path):
    assert GOOD.count(change) == 1
    own = tmp_path / "own.toml"
    own.write_text(GOOD.replace(change, to), encoding="utf-8")
    with pytest.raises(BadFile, match=says) as told:
        load_label_grid(own)
    assert "own.toml" in str(told.value)


def test_an_own_grid_is_one_file(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(GOOD.replace('id = "cut-a4"', 'id = "own"'), encoding="utf-8")
    assert load_label_grid(str(own)).id == "own"
    with pytest.raises(BadFile, match=r'Did you mean "cut-a4"'):
        load_label_grid("cut-a5")


@pytest.mark.parametrize("name", bundled_label_grids())
@pytest.mark.parametrize("code", ["XBGZQS", "222XBG", "WWWWWW", "222222"])
def test_a_code_stands_on_one_line_whatever_its_letters(name, code):
    grid = load_label_grid(name)
    sheet = label_sheet([HandLabel(hand=hand(code=code))], grid)
    drawn = [text for text, _, _ in pieces(sheet)]
    assert f"{code[:3]}-{code[3:]}" in " ".join(drawn).split()
