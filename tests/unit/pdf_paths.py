"""What a PDF paints, in millimetres: the boxes of its filled paths, read from the file itself."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import pypdf
from pypdf.generic import ContentStream

MM_PER_PT = 25.4 / 72


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """One filled path: its box from the page's top left corner [mm], and its grey, 0 black to 1 white."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    gray: float


def page_sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of each page."""
    return [
        (float(p.mediabox.width) * MM_PER_PT, float(p.mediabox.height) * MM_PER_PT)
        for p in pypdf.PdfReader(io.BytesIO(pdf)).pages
    ]


def page_text(pdf: bytes, page: int) -> str:
    """The words of a page, on one line."""
    return " ".join(pypdf.PdfReader(io.BytesIO(pdf)).pages[page].extract_text().split())


def filled(pdf: bytes, page: int) -> list[Filled]:
    """All filled paths of a page, those in drawings set on it too."""
    one = pypdf.PdfReader(io.BytesIO(pdf)).pages[page]
    height = float(one.mediabox.height)
    found: list[Filled] = []
    _walk(one, one.get_contents(), np.eye(3), height, found)
    return found


def _walk(holder: Any, content: Any, matrix: Any, height: float, found: list[Filled]) -> None:
    stack: list[tuple[Any, float]] = []
    points: list[Any] = []
    gray = 0.0
    objects = holder.get("/Resources", {}).get_object().get("/XObject", {})
    for operands, operator in ContentStream(content, None).operations:
        o = [float(v) for v in operands if isinstance(v, int | float)]
        match operator:
            case b"q":
                stack.append((matrix, gray))
            case b"Q":
                matrix, gray = stack.pop()
            case b"cm":
                matrix = _affine(o) @ matrix
            case b"g":
                gray = o[0]
            case b"sc" | b"scn" | b"rg":
                gray = sum(o) / len(o) if o else 1.0
            case b"k":
                gray = 1.0 - o[3]
            case b"re":
                x, y, w, h = o
                points += [(x, y), (x + w, y + h)]
            case b"m" | b"l":
                points.append((o[0], o[1]))
            case b"c":
                points += [(o[0], o[1]), (o[2], o[3]), (o[4], o[5])]
            case b"f" | b"f*" | b"F" | b"B" | b"B*":
                found.append(_boxed(points, matrix, height, gray))
                points = []
            case b"S" | b"s" | b"n":
                points = []
            case b"Do":
                form = objects[operands[0]].get_object()
                if form["/Subtype"] == "/Form":
                    inner = _affine([float(v) for v in form.get("/Matrix", (1, 0, 0, 1, 0, 0))]) @ matrix
                    _walk(form, form, inner, height, found)


def _affine(v: list[float]) -> Any:
    return np.array([[v[0], v[1], 0.0], [v[2], v[3], 0.0], [v[4], v[5], 1.0]])


def _boxed(points: list[Any], matrix: Any, height: float, gray: float) -> Filled:
    at = (np.column_stack([np.array(points, float), np.ones(len(points))]) @ matrix)[:, :2]
    (x0, y0), (x1, y1) = at.min(0) * MM_PER_PT, at.max(0) * MM_PER_PT
    return Filled(
        x_mm=float(x0),
        y_mm=height * MM_PER_PT - float(y1),
        width_mm=float(x1 - x0),
        height_mm=float(y1 - y0),
        gray=gray,
    )
