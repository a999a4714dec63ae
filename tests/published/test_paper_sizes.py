"""Sizes of papers and of the reference card, against standards and programs that are not ours.

ISO 216: A0 has an area of 1 m2, its sides are as 1 to the square root of 2, and each size is half of the one
before; lengths are rounded to whole millimetres. Rule and the A3 and A4 figures from memory of the standard; the
same figures are in the tables of two programs, the typesetter Typst and the PDF library pypdf, read here.
Letter is 8.5 in by 11 in (ANSI/ASME Y14.1, from memory); Typst calls it "us-letter".
ISO/IEC 7810:2019, 5.1, size ID-1: nominally 85.60 mm by 53.98 mm (from memory); an unused card is 85.47 to 85.72 mm
wide and 53.92 to 54.03 mm high. Typst calls it "iso-id-1" and has 85.6 mm by 53.98 mm.
"""

from __future__ import annotations

import io
from math import floor, sqrt

import pypdf
import pytest
import typst
from pypdf import PaperSize

from handsel.data.label_grid import PAGES_MM
from handsel.vision.mat.sheet import A3_MM, A4_MM, ID1_MM, LETTER_MM, MATS

MM_PER_PT = 25.4 / 72


def _typst_mm(name: str) -> tuple[float, float]:
    made = typst.compile(f'#set page(paper: "{name}")\n'.encode(), format="pdf")
    box = pypdf.PdfReader(io.BytesIO(made)).pages[0].mediabox
    return float(box.width) * MM_PER_PT, float(box.height) * MM_PER_PT


def _iso_216_mm(n: int) -> tuple[int, int]:
    """Halved again and again from the first sheet; a half of a millimetre is cut off."""
    short, long = floor(1000 / sqrt(sqrt(2)) + 0.5), floor(1000 * sqrt(sqrt(2)) + 0.5)
    for _ in range(n):
        short, long = long // 2, short
    return short, long


@pytest.mark.parametrize(("n", "ours"), [(3, A3_MM), (4, A4_MM)])
def test_a_sheets_are_the_first_one_halved(n: int, ours: tuple[float, float]) -> None:
    assert _iso_216_mm(n) == ours


@pytest.mark.parametrize(
    ("name", "ours"), [("a4", A4_MM), ("a3", A3_MM), ("us-letter", LETTER_MM), ("iso-id-1", ID1_MM)]
)
def test_a_typesetter_knows_the_same_sizes(name: str, ours: tuple[float, float]) -> None:
    assert _typst_mm(name) == pytest.approx(ours, abs=0.001)


@pytest.mark.parametrize(("points", "ours"), [(PaperSize.A4, A4_MM), (PaperSize.A3, A3_MM)])
def test_a_pdf_library_knows_the_same_sizes(points: tuple[int, int], ours: tuple[float, float]) -> None:
    for there, here in zip(points, ours, strict=True):  # whole points: rounded up or down
        assert abs(there - here / MM_PER_PT) < 1.0


def test_letter_is_eight_and_a_half_by_eleven_inches() -> None:
    assert pytest.approx((8.5 * 25.4, 11 * 25.4)) == LETTER_MM


def test_the_reference_card_is_what_the_standard_allows() -> None:
    assert ID1_MM == (85.60, 53.98)
    assert 85.47 <= ID1_MM[0] <= 85.72
    assert 53.92 <= ID1_MM[1] <= 54.03
    for mat in MATS.values():
        assert (mat.card.width_mm, mat.card.height_mm) == ID1_MM


def test_mats_and_other_papers_have_one_size_for_one_name() -> None:
    assert {name: (m.width_mm, m.height_mm) for name, m in MATS.items()} == {
        **PAGES_MM,
        "a3": A3_MM,
    }
