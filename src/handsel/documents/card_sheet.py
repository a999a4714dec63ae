"""The tag cards as a PDF: cards to cut and fold, where they go on the hand, and carriers to fold from paper."""

from __future__ import annotations

from typing import Any

from handsel.data.label_grid import PAGES_MM
from handsel.documents.card_pictures import carrier_picture, folding_pictures, side_picture, slip_picture
from handsel.documents.marker_svg import marker_svg
from handsel.documents.mat_sheet import good_bar
from handsel.documents.paper import typeset
from handsel.errors import OutOfRange
from handsel.vision.cards import CARD_MM, CARD_NAMES, CUFF, MARKER_MM, PALM
from handsel.vision.mat.sheet import BAR_MM

PAPERS = ("a4", "letter")
PAIRS = 6  # on a sheet: some get dirty, some get lost
WIDTH_MM = 170.0  # of what is printed; both papers have it with room for any printer's edges
PAIR_GAP_MM = (WIDTH_MM - 3 * 2 * CARD_MM) / 2
CARRIER_MM, WALL_MM, FOOT_MM = 36.0, 26.0, 36.0  # width, height of the wall, depth of the foot


def card_sheet(paper: str = "a4") -> bytes:
    """Tag cards for the rest angle, to be printed at 100 %, cut and folded.

    Parameters: paper, "a4" or "letter".
    Returns: PDF of three pages in the size of the paper: cards, where they go, carriers.
    Raises: OutOfRange for another paper; Unsolved when the page cannot be set.
    Valid for: the two cards of `vision.cards`; the drawings show linden.
    Source: own layout.    Checked by: unit/test_documents_card_sheet.py
    """
    if paper not in PAPERS:
        raise OutOfRange(
            f"the paper is {paper[:20]!r}; expected one of {', '.join(PAPERS)}",
            where="tag cards",
            do="Choose the paper that lies in the printer.",
        )
    return typeset("card_sheet.typ", card_page(paper), where="tag cards", tagged=False)


def card_page(paper: str) -> dict[str, Any]:
    """What the template sets.

    Parameters: paper, as `card_sheet`.    Returns: plain data, lengths in mm.
    Raises: KeyError for a paper that is not known.    Valid for: as `card_sheet`.    Source: as `card_sheet`.
    Checked by: unit/test_documents_card_sheet.py
    """
    width_mm, height_mm = PAGES_MM[paper]
    return {
        "width": width_mm,
        "height": height_mm,
        "content": WIDTH_MM,
        "card": CARD_MM,
        "marker": MARKER_MM,
        "gap": PAIR_GAP_MM,
        "pairs": PAIRS,
        "cards": [
            {"svg": marker_svg(c), "number": str(c), "part": CARD_NAMES[c].split()[0]} for c in (PALM, CUFF)
        ],
        "large": side_picture("right", "little", large=True),
        "views": [
            {"hand": hand, "view": view, "svg": side_picture(hand, view)}
            for view in ("little", "thumb")
            for hand in ("right", "left")
        ],
        "slips": [{"svg": slip_picture(kind), "words": words} for kind, words in SLIPS],
        "folding": [{"svg": svg, "words": words} for svg, words in folding_pictures()],
        "carrier": {"width": CARRIER_MM, "wall": WALL_MM, "foot": FOOT_MM},
        "sections": {"palm": carrier_picture(PALM), "cuff": carrier_picture(CUFF)},
        **good_bar(BAR_MM),
    }


SLIPS = (
    ("upside-down", "Fold down: upside down"),
    ("swapped", "11 on the palm: swapped"),
    ("askew", "Edge not along its line"),
    ("covered", "A strap or cord over it"),
)
