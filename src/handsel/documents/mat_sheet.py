"""The inspection mat as a PDF: the sheet itself, and a page that says how parts are laid and photographed on it."""

from __future__ import annotations

from math import ceil, floor
from typing import Any

from handsel.documents.marker_svg import marker_svg
from handsel.documents.mat_pictures import PHOTOS, mat_picture, photo_picture
from handsel.documents.paper import typeset
from handsel.documents.scale_bar import MOST_OFF
from handsel.errors import OutOfRange
from handsel.vision.mat.sheet import MATS, Mat, Rectangle


def mat_sheet(paper: str) -> bytes:
    """The mat for one size of paper, to be printed at 100 %, with its instructions behind it.

    Parameters: paper, "a4", "letter" or "a3".
    Returns: PDF of two pages in the size of the paper.
    Raises: OutOfRange for a paper that has no mat; Unsolved when the page cannot be set.
    Valid for: printers that reach within 8 mm of the paper's edges.
    Source: `vision.mat` for every place; own layout.    Checked by: unit/test_documents_mat_sheet.py
    """
    if paper not in MATS:
        raise OutOfRange(
            f"the paper is {paper[:20]!r}; expected one of {', '.join(MATS)}",
            where="inspection mat",
            do="Choose the paper that lies in the printer.",
        )
    return typeset("mat_sheet.typ", mat_page(MATS[paper]), where="inspection mat", tagged=False)


def mat_page(mat: Mat) -> dict[str, Any]:
    """What the template sets of a mat.

    Parameters: mat.    Returns: plain data, lengths in mm.    Raises: nothing of its own.
    Valid for: the mats of `vision.mat`.    Source: as `mat_sheet`.
    Checked by: unit/test_documents_mat_sheet.py
    """
    half = mat.marker_mm / 2
    return {
        "title": mat.title,
        "width": mat.width_mm,
        "height": mat.height_mm,
        "size": mat.marker_mm,
        "edge": min(m.x_mm for m in mat.markers) - half,
        "markers": [{"svg": marker_svg(m.id), "x": m.x_mm - half, "y": m.y_mm - half} for m in mat.markers],
        "free": _place(mat.free),
        "card": _place(mat.card),
        "across": _place(mat.bar_across),
        "along": _place(mat.bar_along),
        "top_words": _gap(mat, top=True),
        "left_words": _gap(mat, top=False),
        **good_bar(mat.bar_across.width_mm),
        "picture": mat_picture(),
        "photos": [
            {"svg": photo_picture(kind), "words": words, "good": good}
            for kind, (words, good) in PHOTOS.items()
        ],
    }


def good_bar(length_mm: float) -> dict[str, str]:
    """How long a bar is, and between what a caliper must find it.

    Parameters: length_mm, as drawn.    Returns: words; the limits rounded inward to 0.1 mm.
    Raises: nothing.    Valid for: bars of 20 mm and more.    Source: as `scale_bar`.
    Checked by: unit/test_documents_mat_sheet.py
    >>> good_bar(100.0)
    {'bar': '100', 'low': '99.5', 'high': '100.5'}
    """
    return {
        "bar": f"{length_mm:g}",
        "low": f"{ceil(round(10 * length_mm * (1 - MOST_OFF), 6)) / 10:.1f}",
        "high": f"{floor(round(10 * length_mm * (1 + MOST_OFF), 6)) / 10:.1f}",
    }


def _place(r: Rectangle) -> dict[str, float]:
    return {"x": r.x_mm, "y": r.y_mm, "width": r.width_mm, "height": r.height_mm}


def _gap(mat: Mat, *, top: bool) -> dict[str, float]:
    """The widest stretch between two markers of the upper or the left side."""
    low = min(m.y_mm if top else m.x_mm for m in mat.markers)
    middles = sorted(m.x_mm if top else m.y_mm for m in mat.markers if (m.y_mm if top else m.x_mm) == low)
    a, b = max(zip(middles, middles[1:], strict=False), key=lambda pair: pair[1] - pair[0])
    ring = mat.marker_mm / 2 + mat.quiet_mm
    return {"start": a + ring, "length": b - a - 2 * ring}
