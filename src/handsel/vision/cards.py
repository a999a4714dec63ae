"""The two printed cards: their pattern, their size, and every edge that a photo of them shows.

The pattern is a grid of 8 by 8 cells: one ring of white card, one ring of black border, 4 by 4 cells of code.

    . . . . . . . .        cell side 16 mm / 6; rows from the top (toward the back of the hand)
    . # # # # # # .        . is white, # is black
    . # . . . . # .        here: the palm's card, number 10
    . # . # # . # .
    . # . # # . # .
    . # # # # . # .
    . # # # # # # .
    . . . . . . . .
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

PALM, CUFF = 10, 11  # numbers in the dictionary of 50 markers of 4 x 4 cells
CARD_NAMES = {PALM: "palm card", CUFF: "cuff card"}
MARKER_MM = 16.0  # side of the black square
CARD_MM = 24.0  # side of the white card round it
GRID = 8  # cells across with one ring of white card
CELL_MM = MARKER_MM / 6.0

# Code cells, white is 1, as the dictionary prints them; a test holds them to it.
_CODES = {PALM: ("1111", "1001", "1001", "0001"), CUFF: ("0001", "0001", "1010", "0111")}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgePieces:
    """Every stretch of edge one cell long between a white and a black cell.

    Positions in cells, x right, y down, from the middle of the marker.
    """

    across: npt.NDArray[np.intp]  # (n,) 0: the edge is crossed going right, 1: going down
    row: npt.NDArray[np.intp]  # (n,) grid row of the cell, or of the grid line when across is 1
    col: npt.NDArray[np.intp]  # (n,) grid column of the cell, or of the grid line when across is 0
    middle: FloatArray  # (n, 2) [cells]
    white_side: FloatArray  # (n,) +1 when the white cell lies right or below, else -1


@cache
def pattern(card: int) -> FloatArray:
    """The cells of a card.

    Parameters: card, PALM or CUFF.
    Returns: (8, 8) float [-], read-only, 1 is white and 0 is black, first row at the top.
    Raises: KeyError for another number.
    Valid for: the two cards of this project.
    Source: the ArUco dictionary of 50 markers with 4 by 4 cells, numbers 10 and 11.
    Checked by: published/test_vision_cards.py
    """
    cells = np.ones((GRID, GRID))
    cells[1:-1, 1:-1] = 0.0
    cells[2:-2, 2:-2] = [[float(c) for c in row] for row in _CODES[card]]
    cells.flags.writeable = False
    return cells


@cache
def edge_pieces(card: int) -> EdgePieces:
    """All edges of a card's pattern, cut into pieces of one cell.

    Parameters: card, PALM or CUFF.
    Returns: EdgePieces.
    Raises: KeyError for another number.
    Valid for: the two cards of this project.
    Source: own construction.
    Checked by: published/test_vision_cards.py
    """
    cells = pattern(card)
    right = cells[:, 1:] - cells[:, :-1]  # crossing from column j to j + 1
    down = cells[1:, :] - cells[:-1, :]
    rows_r, cols_r = np.nonzero(right)
    rows_d, cols_d = np.nonzero(down)
    half = GRID / 2.0
    middle_r = np.column_stack([cols_r + 1 - half, rows_r + 0.5 - half])
    middle_d = np.column_stack([cols_d + 0.5 - half, rows_d + 1 - half])
    return EdgePieces(
        across=np.r_[np.zeros(rows_r.size, np.intp), np.ones(rows_d.size, np.intp)],
        row=np.r_[rows_r, rows_d + 1],
        col=np.r_[cols_r + 1, cols_d],
        middle=np.vstack([middle_r, middle_d]),
        white_side=np.r_[right[rows_r, cols_r], down[rows_d, cols_d]],
    )
