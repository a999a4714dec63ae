"""Sheets of labels: for hands, with a code to read aloud and one to scan, and for the bags of a kit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from handsel.data.label_grid import PAGES_MM, LabelGrid
from handsel.documents.paper import CODE_LENGTH, HandOnPaper, fitted, shown_code, typeset
from handsel.documents.qr import QUIET_MODULES, qr_modules, qr_svg
from handsel.errors import OutOfRange

PAD_MM = 2.5  # sheets are never fed in quite straight
FINEST_MODULE_MM = 0.3  # finer than this, a phone in bad light does not read it
EASY_MODULE_MM = 0.4
ADVANCE_RATIO = 0.606  # width of a fixed-width letter over its size, a hair more than the face says
CAP_RATIO = 0.73  # height of its capitals over its size
PT_PER_MM = 72.0 / 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLabel:
    """The label on a hand."""

    hand: HandOnPaper


@dataclass(frozen=True, slots=True, kw_only=True)
class KitLabel:
    """The label on a bag of parts for one hand."""

    hand: HandOnPaper
    what: str  # "pins, 6"
    lot: str = ""


def label_sheet(labels: Sequence[HandLabel | KitLabel], grid: LabelGrid, *, start: int = 1) -> bytes:
    """Labels on as many pages as they need.

    Parameters: labels, at least one; grid, the measures of the sheet; start, the first free label of a
        begun sheet, counted from 1 row by row [-].
    Returns: PDF in the size of the page; print it at 100 %, not fitted to the page.
    Raises: OutOfRange for no labels, or a start that the sheet does not have; Unsolved when the page
        cannot be set.
    Valid for: labels of 20 mm × 12 mm or more. Where the QR code's modules would be finer than 0.3 mm
        it is left out, and the code to read stands alone.
    Source: own layout.    Checked by: unit/test_documents_labels.py
    """
    if not labels:
        raise OutOfRange("there is no label to print", where="label sheet", do="Choose at least one hand.")
    if not 1 <= start <= grid.per_page:
        raise OutOfRange(
            f"the first free label is {start}; expected 1 to {grid.per_page}",
            where="label sheet",
            do="Count the labels row by row from the top left.",
        )
    pages: list[list[dict[str, Any]]] = []
    for index, label in enumerate(labels, start=start - 1):
        if not pages or index % grid.per_page == 0:
            pages.append([])
        x_mm, y_mm = grid.corner_mm(index)
        pages[-1].append({"x": x_mm, "y": y_mm, **_label(label, grid)})
    width_mm, height_mm = PAGES_MM[grid.page]
    data = {
        "title": f"Labels, {fitted(grid.title, 80)}",
        "width": width_mm,
        "height": height_mm,
        "label_width": grid.label_width_mm,
        "label_height": grid.label_height_mm,
        "pad": PAD_MM,
        "cut": _cuts(grid) if grid.cut_marks else [],
        "pages": pages,
    }
    return typeset("label_sheet.typ", data, where="label sheet", tagged=False)


def _label(label: HandLabel | KitLabel, grid: LabelGrid) -> dict[str, Any]:
    """What one label shows, and how large its code can be."""
    hand = label.hand
    width_mm, height_mm = grid.label_width_mm - 2 * PAD_MM, grid.label_height_mm - 2 * PAD_MM
    modules = len(qr_modules(hand.url)) + 2 * QUIET_MODULES
    # The code right across the label where the QR code below it stays easy to read; else side by side.
    code_pt = _code_pt(width_mm, 0.42 * height_mm)
    qr_mm = height_mm - CAP_RATIO * code_pt / PT_PER_MM - 2.0
    is_stacked = qr_mm / modules >= EASY_MODULE_MM
    if not is_stacked:
        qr_mm = min(height_mm, 0.36 * width_mm)
        qr_mm = 0.0 if qr_mm / modules < FINEST_MODULE_MM else qr_mm
        code_pt = _code_pt(width_mm - qr_mm - (1.0 if qr_mm else 0.0), 0.42 * height_mm)
    cap_mm = CAP_RATIO * code_pt / PT_PER_MM
    page: dict[str, Any] = {
        "code": shown_code(hand.code),
        "code_pt": code_pt,
        "stacked": is_stacked,
        "qr": qr_svg(hand.url) if qr_mm else "",
        "qr_mm": qr_mm,
        "words_mm": width_mm - qr_mm - (1.5 if qr_mm else 0.0),
        "words_high_mm": qr_mm if is_stacked else height_mm - cap_mm - 1.5,
        "recipient": fitted(hand.recipient, 24, word=12),
        "side": hand.side,
        "scale": hand.scale(),
        "serial": fitted(hand.serial, 40, word=14),
        "what": "",
        "lot": "",
    }
    if isinstance(label, KitLabel):
        page |= {
            "what": fitted(label.what, 60, word=8),
            "lot": fitted(label.lot, 30, word=8),
        }
    return page


def _code_pt(width_mm: float, height_mm: float) -> float:
    """Type size at which a hand's code, seven characters with its hyphen, fills this room."""
    wide_pt = width_mm * PT_PER_MM / ((CODE_LENGTH + 1) * ADVANCE_RATIO)
    return min(wide_pt, height_mm * PT_PER_MM / CAP_RATIO)


def _cuts(grid: LabelGrid) -> list[dict[str, float]]:
    """Short strokes in the margins, in line with every edge; the labels themselves stay clean."""
    width_mm, height_mm = PAGES_MM[grid.page]
    corners = [grid.corner_mm(k) for k in range(grid.per_page)]
    xs = sorted({round(x + d, 3) for x, _ in corners for d in (0.0, grid.label_width_mm)})
    ys = sorted({round(y + d, 3) for _, y in corners for d in (0.0, grid.label_height_mm)})
    ends_mm = (xs[0], xs[-1], ys[0], ys[-1])
    marks = []
    for x in xs:
        marks.append({"x": x, "y": ends_mm[2] - 7.0, "dx": 0.0, "dy": 5.0})
        marks.append({"x": x, "y": min(ends_mm[3] + 2.0, height_mm - 6.0), "dx": 0.0, "dy": 5.0})
    for y in ys:
        marks.append({"x": ends_mm[0] - 7.0, "y": y, "dx": 5.0, "dy": 0.0})
        marks.append({"x": min(ends_mm[1] + 2.0, width_mm - 6.0), "y": y, "dx": 5.0, "dy": 0.0})
    return marks
