"""The page whose bars are measured."""

from __future__ import annotations

import io
import json
import re
from typing import Any

import numpy as np
import pytest
import typst
from PIL import Image

from handsel.documents import scale_bar as module
from handsel.documents.paper import FOLDER, FONTS
from handsel.documents.scale_bar import BAR_MM, MOST_OFF, scale_bar
from handsel.errors import OutOfRange

PT_PER_MM = 72 / 25.4


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_the_page_has_the_size_of_its_paper(paper: str, size_mm: tuple[float, float]) -> None:
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", scale_bar(paper))
    assert box is not None
    for found, wanted in zip(box.groups(), size_mm, strict=True):
        assert abs(float(found) / PT_PER_MM - wanted) < 0.02


def test_the_bars_are_as_long_as_they_say() -> None:
    """Set the page as a picture and measure what is black and at least three millimetres thick."""
    pixels_per_mm = 4
    black = _black("a4", pixels_per_mm)
    thick = 3 * pixels_per_mm
    across = max(map(_longest, black[:-thick] & black[thick:])) / pixels_per_mm
    along = max(map(_longest, (black[:, :-thick] & black[:, thick:]).T)) / pixels_per_mm
    assert abs(across - BAR_MM) <= 0.3
    assert abs(along - BAR_MM) <= 0.3


def test_another_paper_is_refused_in_words() -> None:
    with pytest.raises(OutOfRange, match="a4, letter"):
        scale_bar("papyrus")


def test_what_the_page_calls_good_is_within_the_limit() -> None:
    assert abs(149.3 / BAR_MM - 1) <= MOST_OFF
    assert abs(150.7 / BAR_MM - 1) <= MOST_OFF


def _black(paper: str, pixels_per_mm: float) -> Any:
    kept: dict[str, Any] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            module, "typeset", lambda template, page, **_: kept.update(template=template, page=page) or b""
        )
        module.scale_bar(paper)
    png = typst.compile(
        FOLDER / kept["template"],
        root=FOLDER,
        font_paths=[FONTS],
        ignore_system_fonts=True,
        format="png",
        ppi=pixels_per_mm * 25.4,
        sys_inputs={"page": json.dumps(kept["page"])},
    )
    return np.asarray(Image.open(io.BytesIO(png)).convert("L")) < 100


def _longest(cells: Any) -> int:
    """The longest run of black."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], cells.astype(int), [0]))))
    return int((edges[1::2] - edges[::2]).max(initial=0))
