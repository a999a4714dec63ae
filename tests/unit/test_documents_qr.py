"""QR codes: what stands in the SVG is the symbol, with its quiet zone, fit for a strict page."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
import segno

from handsel.documents.qr import LONGEST, QUIET_MODULES, qr_modules, qr_svg
from handsel.errors import OutOfRange

SVG = "{http://www.w3.org/2000/svg}"
URL = "http://192.168.1.20:8000/l/K7M2QX/"
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}  # ISO/IEC 18004, table of format bits


def dark(svg: str) -> set[tuple[int, int]]:
    """Every module that the SVG paints black, as column and row."""
    path = ElementTree.fromstring(svg).find(f"{SVG}path")
    assert path is not None
    found = set()
    for x, y, length, back in re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path.attrib["d"]):
        assert length == back
        found |= {(int(x) + k, int(y)) for k in range(int(length))}
    return found


def level(rows: tuple[tuple[bool, ...], ...]) -> str:
    """The level of correction, read from the symbol's own format bits."""
    bits = [rows[8][0], rows[8][1]]  # the first two of the upper left copy
    return LEVELS[(bits[0] * 2 + bits[1]) ^ 0b10]  # unmasked with the first two bits of 101010000010010


@pytest.mark.parametrize("content", [URL, "A", "x" * LONGEST, "Grüße, مرحبا"])
def test_the_svg_paints_the_symbol_and_nothing_else(content):
    svg = qr_svg(content)
    rows = segno.make(content, error="m", micro=False).matrix
    wished = {
        (x + QUIET_MODULES, y + QUIET_MODULES) for y, row in enumerate(rows) for x, m in enumerate(row) if m
    }
    assert dark(svg) == wished
    side = len(rows) + 2 * QUIET_MODULES
    assert ElementTree.fromstring(svg).attrib["viewBox"] == f"0 0 {side} {side}"


def test_the_three_corners_have_their_finders():
    seen = dark(qr_svg(URL))
    side = len(qr_modules(URL))
    for x0, y0 in ((0, 0), (side - 7, 0), (0, side - 7)):
        ring = {(x, y) for x in range(7) for y in range(7) if x in (0, 6) or y in (0, 6)}
        core = {(x, y) for x in range(2, 5) for y in range(2, 5)}
        for x in range(7):
            for y in range(7):
                at = (x0 + x + QUIET_MODULES, y0 + y + QUIET_MODULES)
                assert (at in seen) == ((x, y) in ring | core)


@pytest.mark.parametrize("content", [URL, "A", "x" * 120])
def test_the_level_of_correction_is_m_or_better(content):
    assert level(qr_modules(content)) in "MQH"


def test_the_reading_of_the_level_can_fail():
    low = segno.make("x" * 53, error="l", boost_error=False, micro=False)
    assert level(tuple(tuple(map(bool, row)) for row in low.matrix)) == "L"


def test_a_strict_page_takes_it():
    svg = qr_svg(URL, title="</title><script>")
    assert "style" not in svg
    assert "\n" not in svg
    root = ElementTree.fromstring(svg)
    assert root.findtext(f"{SVG}title") == "</title><script>"
    ground = root.find(f"{SVG}rect")
    assert ground is not None
    assert ground.attrib["fill"] == "#ffffff"  # on a dark page too


@pytest.mark.parametrize("content", ["", "x" * (LONGEST + 1), "\ud800"])
def test_what_cannot_be_a_code_is_refused_in_words(content):
    with pytest.raises(OutOfRange, match="QR code"):
        qr_svg(content)
