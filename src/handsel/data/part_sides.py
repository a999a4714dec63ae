"""How a design's hand looks from its sides at rest, as cached data: to draw it, no mesh need be made."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Line, Name, Number, Table
from handsel.data.load_design import BUNDLED
from handsel.errors import BadFile

FORMAT = "handsel-sides/1"
MAX_BYTES = 1_000_000

Span = Annotated[Number, Field(ge=-1000, le=1000)]
Ring = Annotated[tuple[tuple[Span, Span], ...], Field(min_length=3, max_length=3000)]


class PieceTable(Table):
    """One piece of the hand as it hides what lies behind it."""

    part: Name = Field(description="Name of the part in the design.")
    body: Name = Field(description="The body that it moves with.")
    low_y_mm: Span = Field(description="Its reach toward the little finger's side [mm].")
    high_y_mm: Span = Field(description="Its reach toward the thumb's side [mm].")
    rings_mm: Annotated[tuple[Ring, ...], Field(min_length=1, max_length=100)] = Field(
        description="Edges in the plane of x (toward the fingers) and z (toward the back) [mm]; holes clockwise."
    )


class SidesFile(Table):
    """All pieces of one version of a design, at scale 1, right, at its rest angle."""

    format: Literal["handsel-sides/1"] = Field(description="Marks the file.")
    design: Name = Field(description="Name of the design.")
    version: Line = Field(description="Version of the design.")
    wrist_deg: Annotated[Number, Field(ge=-90, le=90)] = Field(description="Wrist as drawn [deg].")
    source: Line = Field(description="Where the numbers come from.")
    piece: Annotated[tuple[PieceTable, ...], Field(min_length=1, max_length=200)] = Field(
        description="Pieces."
    )


def load_sides(name: str) -> SidesFile:
    """How a bundled design's hand looks from its sides, at scale 1, right.

    Parameters: name, of a bundled design.
    Returns: SidesFile.
    Raises: BadFile when there is no such file, or it is not what it should be.
    Valid for: the version of the design that the file names.
    Source: studies/linden_sides.py wrote it from the solids.
    Checked by: unit/test_part_sides.py
    """
    path = Path(BUNDLED) / f"{name}-sides.json"
    try:
        text = path.read_bytes()[:MAX_BYTES].decode("utf-8")
        data = json.loads(text)
    except (OSError, ValueError) as error:
        raise BadFile(
            f"it cannot be read: {type(error).__name__}",
            where=path.name,
            do="It comes with handsel: install handsel again.",
        ) from None
    return checked(SidesFile, data, path.name)
