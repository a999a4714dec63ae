"""A page with two bars of known length: measured after printing, they show whether the printer kept the scale."""

from __future__ import annotations

from math import ceil, floor

from handsel.data.label_grid import PAGES_MM
from handsel.documents.paper import typeset
from handsel.errors import OutOfRange

BAR_MM = 150.0  # a caliper of the usual size still reaches over it
MOST_OFF = 0.005  # of the length: at a palm of 80 mm this is 0.4 mm, what a caliper check of parts can bear


def scale_bar(paper: str = "a4") -> bytes:
    """One page with a bar across and a bar along, to be printed at 100 % and measured.

    Parameters: paper, one of the page sizes that label sheets know.
    Returns: PDF in the size of the page.
    Raises: OutOfRange for a paper that is not known; Unsolved when the page cannot be set.
    Valid for: pages of at least 200 mm x 250 mm.
    Source: own layout.    Checked by: unit/test_documents_scale_bar.py
    """
    if paper not in PAGES_MM or min(PAGES_MM[paper]) < 200.0:
        known = ", ".join(name for name, size in PAGES_MM.items() if min(size) >= 200.0)
        raise OutOfRange(
            f"the paper is {paper[:20]!r}; expected one of {known}",
            where="scale bar",
            do="Choose the paper that lies in the printer.",
        )
    width_mm, height_mm = PAGES_MM[paper]
    page = {
        "width": width_mm,
        "height": height_mm,
        "bar": BAR_MM,
        # Rounded inward: what the page calls good, the checklist calls good too.
        "low": f"{ceil(10 * BAR_MM * (1 - MOST_OFF)) / 10:.1f}",
        "high": f"{floor(10 * BAR_MM * (1 + MOST_OFF)) / 10:.1f}",
    }
    return typeset("scale_bar.typ", page, where="scale bar", tagged=False)
