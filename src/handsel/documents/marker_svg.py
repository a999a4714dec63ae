"""Square markers as SVG: one outline round all that is black, so that no viewer shows seams between cells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.sheet import marker_cells

Corner = tuple[int, int]
_LEFT_TURNS = {(1, 0): (0, -1), (0, -1): (-1, 0), (-1, 0): (0, 1), (0, 1): (1, 0)}  # y down


def marker_svg(id: int) -> str:
    """A marker with its black border and nothing round it; the white ring is the paper's.

    Parameters: id, its number in the dictionary of 50 markers of 4 by 4 cells [-].
    Returns: SVG text, six units square; whoever sets it gives the size.
    Raises: OpenCV's error for another number.
    Valid for: numbers 0 to 49.
    Source: the dictionary, as `vision.mat` reads it.
    Checked by: unit/test_documents_marker_svg.py
    """
    cells = marker_cells(id)
    way = "".join(
        "M" + "L".join(f"{x} {y}" for x, y in ring) + "Z" for ring in outlines(np.asarray(cells < 0.5))
    )
    size = len(cells)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" role="img">'
        f'<title>marker {id}</title><path fill="#000000" fill-rule="evenodd" d="{way}"/></svg>'
    )


def outlines(black: npt.NDArray[np.bool_]) -> list[list[Corner]]:
    """The closed ways round all black cells, black on the right hand when walking, corners only.

    Parameters: black : (rows, columns) bool [-].
    Returns: ways in cells, x right, y down; holes run the other way round.
    Raises: nothing of its own.
    Valid for: any grid. Cells that touch at a corner only are kept apart.
    Source: walking along the edges between black and white.
    Checked by: unit/test_documents_marker_svg.py
    """
    open_edges = _edges(np.pad(black, 1))
    rings = []
    while open_edges:
        start = min(open_edges)
        at, step = start, open_edges[start][0]
        ring: list[Corner] = []
        while True:
            open_edges[at].remove(step)
            if not open_edges[at]:
                del open_edges[at]
            ring.append(at)
            at = (at[0] + step[0], at[1] + step[1])
            if at == start:
                break
            ways = open_edges[at]
            right = next(turn for turn, to in _LEFT_TURNS.items() if to == step)
            step = right if right in ways else ways[0]
        rings.append(_corners_only(ring))
    return rings


def _edges(padded: npt.NDArray[np.bool_]) -> dict[Corner, list[Corner]]:
    """From each grid corner the steps that lead on along an edge, black on the right."""
    found: dict[Corner, list[Corner]] = {}
    for row, column in zip(*np.nonzero(padded), strict=True):
        x, y = int(column) - 1, int(row) - 1
        for beside, start, step in (
            (padded[row - 1, column], (x, y), (1, 0)),
            (padded[row, column + 1], (x + 1, y), (0, 1)),
            (padded[row + 1, column], (x + 1, y + 1), (-1, 0)),
            (padded[row, column - 1], (x, y + 1), (0, -1)),
        ):
            if not beside:
                found.setdefault(start, []).append(step)
    return found


def _corners_only(ring: list[Corner]) -> list[Corner]:
    kept = []
    for k, (x, y) in enumerate(ring):
        (a, b), (c, d) = ring[k - 1], ring[(k + 1) % len(ring)]
        if (x - a, y - b) != (c - x, d - y):
            kept.append((x, y))
    return kept
