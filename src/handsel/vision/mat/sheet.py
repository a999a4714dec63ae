"""The inspection mats: where everything on a printed sheet is.

Sheet frame: mm, x right, y down, from the top left corner of the paper as it is read. A photo is read in the
same sense, so a mat's points go to picture points without a mirror.

    +--------------------------------+
    |  [12] [13]   title   [14] [15] |    all markers upright, numbers clockwise from the top left one;
    |      .------------------.      |    every sheet has numbers of its own
    | [23] |                  | [16] |
    |  w   |       free       |  b   |    b: the bars, 100 mm long between their outer ends
    |  o   |                  |  a   |    w: words
    | [22] |  card            | [17] |
    |      '------------------'      |
    |  [21] [20]   bar     [19] [18] |
    +--------------------------------+

The markers alone cannot tell a print of the wrong scale: a smaller mat looks like a mat further away. The
paper's own edges can, whose size is known, and so can a card of known size on its place, or a bar under a caliper.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

MARKER_MM = 14.0  # side of a black square: 4 px per mm on a phone's small picture leaves 9 px a cell
QUIET_MM = 3.0  # white round it, a cell and a bit
EDGE_MM = 10.0  # from the paper's edge to a marker: no printer leaves off more than 8 mm
BAR_MM = 100.0  # so that a reading is its own per cent
BAR_HIGH_MM = 6.0
ID1_MM = (85.60, 53.98)  # ISO/IEC 7810, size ID-1: library cards, tickets
ID1_MARGIN_MM = 4.0  # between the free area's edges and the card's place
CELLS = 6  # across a marker, its black border included


@dataclass(frozen=True, slots=True, kw_only=True)
class MatMarker:
    """One marker, upright as the sheet is read."""

    id: int  # number in the dictionary of 50 markers of 4 by 4 cells
    x_mm: float  # middle
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A place on the sheet with its sides along the sheet's."""

    x_mm: float  # left
    y_mm: float  # upper
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        """Its right side."""
        return self.x_mm + self.width_mm

    @property
    def lower_mm(self) -> float:
        """Its lower side."""
        return self.y_mm + self.height_mm

    def corners_mm(self) -> FloatArray:
        """(4, 2), from the top left, clockwise as the sheet is read."""
        left, top, right, low = self.x_mm, self.y_mm, self.right_mm, self.lower_mm
        return np.array([[left, top], [right, top], [right, low], [left, low]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Mat:
    """One sheet."""

    name: str  # as it is typed: "a4"
    title: str  # as it is read: "A4"
    width_mm: float  # of the paper
    height_mm: float
    marker_mm: float
    quiet_mm: float
    markers: tuple[MatMarker, ...]  # clockwise from the top left one
    free: Rectangle  # where parts may lie
    bar_across: Rectangle  # its length is the width
    bar_along: Rectangle  # its length is the height
    card: Rectangle  # where a card of size ID-1 may lie, within the free area

    @property
    def ids(self) -> tuple[int, ...]:
        """Numbers of its markers, which no other sheet has."""
        return tuple(m.id for m in self.markers)

    def marker(self, id: int) -> MatMarker:
        """The marker of this number; KeyError when it is not on this sheet."""
        for one in self.markers:
            if one.id == id:
                return one
        raise KeyError(id)

    def corners_mm(self, id: int) -> FloatArray:
        """(4, 2) [mm], sheet frame: a marker's corners from its top left, clockwise, as a detector gives them."""
        one, half = self.marker(id), self.marker_mm / 2
        return np.array([one.x_mm, one.y_mm]) + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])


def _clockwise(xs: tuple[float, ...], ys: tuple[float, ...], first_id: int) -> tuple[MatMarker, ...]:
    """Markers on the rectangle that xs and ys span, numbered from the top left one."""
    places = (
        [(x, ys[0]) for x in xs]
        + [(xs[-1], y) for y in ys[1:]]
        + [(x, ys[-1]) for x in reversed(xs[:-1])]
        + [(xs[0], y) for y in reversed(ys[1:-1])]
    )
    return tuple(
        MatMarker(id=first_id + k, x_mm=round(x, 3), y_mm=round(y, 3)) for k, (x, y) in enumerate(places)
    )


def _mat(
    name: str,
    title: str,
    paper_mm: tuple[float, float],
    *,
    first_id: int,
    inner_xs: tuple[float, ...],
    inner_ys: tuple[float, ...],
    bar_x_mm: float,
) -> Mat:
    """A sheet by its paper and where its markers are between the corners."""
    width, height = paper_mm
    near = EDGE_MM + MARKER_MM / 2
    inside = EDGE_MM + MARKER_MM + QUIET_MM
    free = Rectangle(x_mm=inside, y_mm=inside, width_mm=width - 2 * inside, height_mm=height - 2 * inside)
    strip = (MARKER_MM - BAR_HIGH_MM) / 2  # the bars run along the middle of the markers' strip
    return Mat(
        name=name,
        title=title,
        width_mm=width,
        height_mm=height,
        marker_mm=MARKER_MM,
        quiet_mm=QUIET_MM,
        markers=_clockwise((near, *inner_xs, width - near), (near, *inner_ys, height - near), first_id),
        free=free,
        bar_across=Rectangle(
            x_mm=bar_x_mm,
            y_mm=height - EDGE_MM - MARKER_MM + strip,
            width_mm=BAR_MM,
            height_mm=BAR_HIGH_MM,
        ),
        bar_along=Rectangle(
            x_mm=width - EDGE_MM - MARKER_MM + strip,
            y_mm=(height - BAR_MM) / 2,
            width_mm=BAR_HIGH_MM,
            height_mm=BAR_MM,
        ),
        card=Rectangle(
            x_mm=free.x_mm + ID1_MARGIN_MM,
            y_mm=free.lower_mm - ID1_MARGIN_MM - ID1_MM[1],
            width_mm=ID1_MM[0],
            height_mm=ID1_MM[1],
        ),
    )


def _pair(length_mm: float, from_edge_mm: float) -> tuple[float, float]:
    return (from_edge_mm, length_mm - from_edge_mm)


A4_MM, LETTER_MM, A3_MM = (210.0, 297.0), (215.9, 279.4), (297.0, 420.0)  # ISO 216; 8.5 in by 11 in; ISO 216

MATS: dict[str, Mat] = {
    m.name: m
    for m in (
        _mat(
            "a4",
            "A4",
            A4_MM,
            first_id=12,
            inner_xs=_pair(A4_MM[0], 42.0),
            inner_ys=_pair(A4_MM[1], 80.0),
            bar_x_mm=(A4_MM[0] - BAR_MM) / 2,
        ),
        _mat(
            "letter",
            "Letter",
            LETTER_MM,
            first_id=24,
            inner_xs=_pair(LETTER_MM[0], 44.0),
            inner_ys=_pair(LETTER_MM[1], 76.0),
            bar_x_mm=(LETTER_MM[0] - BAR_MM) / 2,
        ),
        _mat(
            "a3",
            "A3",
            A3_MM,
            first_id=36,
            inner_xs=(A3_MM[0] / 2,),
            inner_ys=(76.0, 148.0, 272.0, 344.0),
            bar_x_mm=33.0,
        ),
    )
}


def mat_of(id: int) -> Mat | None:
    """The sheet that a marker belongs to.

    Parameters: id, its number [-].    Returns: Mat, or None when no sheet has it.    Raises: nothing.
    Valid for: any number.    Source: own numbering.    Checked by: unit/test_vision_mat.py
    >>> mat_of(30).title
    'Letter'
    """
    return next((m for m in MATS.values() if id in m.ids), None)


@cache
def marker_cells(id: int) -> FloatArray:
    """The cells of a marker, its black border included.

    Parameters: id, 0 to 49 [-].
    Returns: (6, 6) float [-], read-only, 1 is white and 0 is black, first row at the top.
    Raises: OpenCV's error for another number.
    Valid for: the dictionary of 50 markers with 4 by 4 cells.
    Source: OpenCV's dictionary.
    Checked by: unit/test_vision_mat.py
    """
    from cv2 import aruco

    made = aruco.generateImageMarker(aruco.getPredefinedDictionary(aruco.DICT_4X4_50), id, CELLS)
    cells: FloatArray = (np.asarray(made) > 127).astype(float)
    cells.flags.writeable = False
    return cells
