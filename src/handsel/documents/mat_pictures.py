"""Drawings for the mat's second page: parts laid on it, and photos of it as they should and should not be."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from handsel.data.part_outlines import load_outlines
from handsel.design.outlines import PartOutline
from handsel.documents.svg import number
from handsel.vision.mat.sheet import MATS

Point = tuple[float, float]
Ring = Sequence[Point]
Mapping = Callable[[float, float], Point]  # sheet, mm, to picture

# Where a hand's parts lie: name, middle of the part's box from the free area's top left corner [mm], quarter turns.
# Drawn for A4 and scale 1; a sketch of a good layout, not a rule.
LAID: tuple[tuple[str, float, float, int], ...] = (
    ("cuff", 66.0, 75.0, 0),
    ("index_proximal", 142.0, 27.0, 1),
    ("middle_proximal", 142.0, 76.0, 1),
    ("thumb_proximal", 142.0, 128.0, 1),
    ("palm", 47.0, 182.0, 0),
    ("tension_block", 111.5, 183.0, 0),
    ("tension_carrier", 144.0, 173.0, 0),
    ("joint_slide", 143.0, 207.0, 1),
    ("index_tip", 21.0, 229.0, 0),
    ("middle_tip", 67.0, 229.0, 0),
    ("thumb_tip", 112.0, 230.0, 0),
)
TABLE, PAPER, MARKER, PART, EDGE = "#a3a3a3", "#ffffff", "#222222", "#d4d4d4", "#1a1a1a"
PHOTO_W, PHOTO_H = 36.0, 48.0  # upright phone picture, mm on paper

PHOTOS: dict[str, tuple[str, bool]] = {
    "whole": ("All markers, all edges, from above", True),
    "cut": ("An edge and markers cut off", False),
    "slanted": ("From too far aside", False),
    "heaped": ("Parts touch, or lie on a marker", False),
}


def laid(outline: PartOutline, x_mm: float, y_mm: float, quarters: int) -> tuple[tuple[Point, ...], ...]:
    """A part's rings on a sheet, y down, the middle of its box at a place.

    Parameters: outline; x_mm, y_mm, sheet frame; quarters, turns of 90 degrees [-].
    Returns: rings [mm], the outer one first.    Raises: nothing.    Valid for: any outline.
    Source: own geometry.    Checked by: unit/test_documents_mat_sheet.py
    """
    rings = [[_turned(x, -y, quarters) for x, y in ring] for ring in (outline.outline_mm, *outline.holes_mm)]
    xs, ys = [p[0] for p in rings[0]], [p[1] for p in rings[0]]
    dx, dy = x_mm - (min(xs) + max(xs)) / 2, y_mm - (min(ys) + max(ys)) / 2
    return tuple(tuple((x + dx, y + dy) for x, y in ring) for ring in rings)


def _turned(x: float, y: float, quarters: int) -> Point:
    for _ in range(quarters % 4):
        x, y = -y, x
    return (x, y)


def _part_rings(heaped: bool) -> list[tuple[tuple[Point, ...], ...]]:
    """All parts on the sheet; heaped, some are pushed together and onto the markers."""
    outlines, free = {o.name: o for o in load_outlines("linden")}, MATS["a4"].free
    found = []
    for k, (name, x, y, quarters) in enumerate(LAID):
        if heaped and k > 0:
            x, y = x + (12.0 if x > 130 else -26.0 + 9.0 * (k % 3)), y - 24.0
        found.append(laid(outlines[name], free.x_mm + x, free.y_mm + y, quarters))
    return found


def mat_picture() -> str:
    """The A4 mat with parts laid on it as they should be.

    Parameters: none.    Returns: SVG in mm of the sheet.    Raises: nothing of its own.
    Valid for: linden's parts, scale 1.    Source: the outlines of the parts' solids.
    Checked by: unit/test_documents_mat_sheet.py
    """
    mat = MATS["a4"]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-1 -1 {mat.width_mm + 2} {mat.height_mm + 2}">'
        f"<title>parts laid apart on the mat</title>{''.join(_sheet(lambda x, y: (x, y), 0.9))}</svg>"
    )


def photo_picture(kind: str) -> str:
    """A photo of the mat, good or spoiled.

    Parameters: kind, of `PHOTOS`.    Returns: SVG in mm.    Raises: KeyError for another kind.
    Valid for: the kinds listed.    Source: own drawing.    Checked by: unit/test_documents_mat_sheet.py
    """
    look: dict[str, Mapping] = {
        "whole": lambda x, y: (2.7 + 0.146 * x, 2.3 + 0.146 * y),
        "heaped": lambda x, y: (2.7 + 0.146 * x, 2.3 + 0.146 * y),
        "cut": lambda x, y: (-6.0 + 0.19 * x, 3.5 + 0.19 * y),
        "slanted": _slanted,
    }
    drawn = "".join(_sheet(look[kind], 0.25, heaped=kind == "heaped"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {PHOTO_W} {PHOTO_H}">'
        f"<title>{PHOTOS[kind][0]}</title>"
        f'<rect width="{PHOTO_W}" height="{PHOTO_H}" fill="{TABLE}"/>{drawn}</svg>'
    )


def _slanted(x: float, y: float) -> Point:
    """As a camera well below the sheet's lower edge sees it: the far side smaller."""
    far = 1.0 + 0.0042 * (297.0 - y)
    return (18.0 + 0.155 * (x - 105.0) / far, 44.0 - 0.215 * (297.0 - y) / far)


def _sheet(at: Mapping, stroke: float, *, heaped: bool = False) -> list[str]:
    mat = MATS["a4"]
    w, h, f = mat.width_mm, mat.height_mm, mat.free
    drawn = [_path([[(0, 0), (w, 0), (w, h), (0, h)]], at, PAPER, "#7a7a7a", stroke)]
    for m in mat.markers:
        ring = [(float(x), float(y)) for x, y in mat.corners_mm(m.id)]
        drawn.append(_path([ring], at, MARKER, "none", 0.0))
    drawn.append(_path([[(float(x), float(y)) for x, y in f.corners_mm()]], at, "none", "#9a9a9a", stroke))
    return drawn + [_path(rings, at, PART, EDGE, stroke) for rings in _part_rings(heaped)]


def _path(rings: Sequence[Ring], at: Mapping, fill: str, edge: str, stroke: float) -> str:
    way = "".join(
        "M" + "L".join(f"{number(u)} {number(v)}" for u, v in (at(x, y) for x, y in ring)) + "Z"
        for ring in rings
    )
    return (
        f'<path d="{way}" fill="{fill}" fill-rule="evenodd" stroke="{edge}" '
        f'stroke-width="{number(stroke)}" stroke-linejoin="round"/>'
    )
