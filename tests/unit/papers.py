"""What the tests of the papers share: a hand, hostile words, and reading a PDF back."""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from functools import lru_cache
from typing import Any

import pypdf
import typst

from handsel.data.load_protocol import load_protocol as load
from handsel.documents.paper import FOLDER, FONTS, HandOnPaper, TextOnPaper

load_protocol = lru_cache(load)
SHA = "0f3a9c41" * 8
HOSTILE = [
    "#panic() *bold* _x_ `raw` $x^2$ = head \\ @ref <label> // gone /* gone",
    "]]><script>alert(1)</script>&\"'<",
    "w" * 4000,
    "\u202eright to left\u202c שלום עולם مرحبا",
    "line\nline\x00\x1b[31m\ttab\ud800",
    "𝔘𝔫𝔦𝔠𝔬𝔡𝔢 👋🏽 👩‍👩‍👧‍👦 \ud7ff 汉字" * 20,
    "",
    '[#set page(height: 1cm)] #import "x.typ"',
]


def hand(**changed: Any) -> HandOnPaper:
    protocol = load_protocol()
    fields: dict[str, Any] = {
        "code": "K7M2QX",
        "url": "http://192.168.1.20:8000/l/K7M2QX/",
        "recipient": "R-014",
        "serial": "L-031",
        "side": "right",
        "scale_ratio": 1.15,
        "design": TextOnPaper(name="linden", version="1.0.0", sha256="ab" * 32),
        "protocol": TextOnPaper(name=protocol.id, version=protocol.version, sha256=protocol.sha256),
        "target_rest_angle_deg": 36.0,
    }
    return HandOnPaper(**(fields | changed))


def hostile_hand(words: str) -> HandOnPaper:
    text = TextOnPaper(name=words, version=words, sha256=words)
    return hand(recipient=words, serial=words, design=text, protocol=text)


def read(pdf: bytes) -> pypdf.PdfReader:
    assert pdf.startswith(b"%PDF-")
    return pypdf.PdfReader(io.BytesIO(pdf))


def page_count(pdf: bytes) -> int:
    return len(read(pdf).pages)


def size_mm(pdf: bytes, page: int = 0) -> tuple[float, float]:
    box = read(pdf).pages[page].mediabox
    return (round(float(box.width) * 25.4 / 72, 1), round(float(box.height) * 25.4 / 72, 1))


@lru_cache(maxsize=64)
def text_of(pdf: bytes, page: int | None = None) -> str:
    """All words of a PDF, or of one page, with single spaces; breaks inside long words closed again."""
    pages = read(pdf).pages
    chosen = pages if page is None else [pages[page]]
    raw = "\n".join(p.extract_text() for p in chosen)
    return re.sub(r"\s+", " ", raw.replace("\u200b", ""))


def in_order(text: str, *words: str) -> bool:
    """Whether these words stand in the text one after another."""
    at = 0
    for w in words:
        found = text.find(w, at)
        assert found >= 0, f"{w!r} is not after the others in: {text[at : at + 300]!r}"
        at = found + len(w)
    return True


def pieces(pdf: bytes, page: int = 0) -> list[tuple[str, float, float]]:
    """Text as it was drawn, with its place from the page's top left corner [mm]."""
    sheet = read(pdf).pages[page]
    height = float(sheet.mediabox.height)
    found: list[tuple[str, float, float]] = []

    def keep(text: str, cm: list[float], tm: list[float], _font: Any, _size: float) -> None:
        if text.strip():
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            found.append((text.strip(), x * 25.4 / 72, (height - y) * 25.4 / 72))

    sheet.extract_text(visitor_text=keep)
    return found


def queried(template: str, page: dict[str, Any], selector: str) -> list[Any]:
    """What the typesetter itself finds in a template that is filled with this data."""
    return list(json.loads(typst.query(FOLDER / template, selector, **_with(page))))


def boxes_mm(template: str, page: dict[str, Any]) -> Counter[tuple[float, float]]:
    """How many boxes with rounded corners a filled template draws, by width and height [mm]."""
    made = typst.compile(FOLDER / template, format="svg", **_with(page))
    sheets = made if isinstance(made, list) else [made]
    rounded = r'd="M 0 0m ([\d.]+) 0h ([\d.]+)c [^"]*?v ([\d.]+)c '
    found: Counter[tuple[float, float]] = Counter()
    for sheet in sheets:
        for radius, across, down in re.findall(rounded, sheet.decode()):
            found[tuple(round((2 * float(radius) + float(d)) * 25.4 / 72, 1) for d in (across, down))] += 1
    return found


def _with(page: dict[str, Any]) -> dict[str, Any]:
    inputs = {"page": json.dumps(page)}
    return {"root": FOLDER, "font_paths": [FONTS], "ignore_system_fonts": True, "sys_inputs": inputs}
