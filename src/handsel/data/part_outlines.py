"""Outlines and masses of a design's parts as cached data: to draw a part, no mesh need be made."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Line, Mass, Name, Number, Point, Size, Table
from handsel.data.load_design import BUNDLED
from handsel.design.model import Design
from handsel.design.outlines import PartOutline
from handsel.errors import BadFile

FORMAT = "handsel-outlines/1"
MAX_BYTES = 2_000_000

Spot = tuple[Annotated[Number, Field(ge=-1000, le=1000)], Annotated[Number, Field(ge=-1000, le=1000)]]
Spots = Annotated[tuple[Spot, ...], Field(min_length=3, max_length=5000)]


class OutlineTable(Table):
    """One part as it lies on its flat side."""

    name: Name = Field(description="Name of the part in the design.")
    flat_side: Point = Field(description="Outward normal of the side that it lies on [-], part frame.")
    height_mm: Size = Field(description="Height of its highest point above the table [mm].")
    volume_mm3: Annotated[Number, Field(gt=0)] = Field(description="Volume [mm3].")
    mass_g: Mass = Field(description="Mass of one copy [g].")
    com_mm: Point = Field(description="Centre of mass [mm], part frame.")
    outline_mm: Spots = Field(description="Outer edge from above [mm], anticlockwise.")
    holes_mm: Annotated[tuple[Spots, ...], Field(max_length=200)] = Field(
        default=(), description="Edges of what one can see through [mm], clockwise."
    )


class OutlineFile(Table):
    """All parts of one version of a design, at scale 1, right."""

    format: Literal["handsel-outlines/1"] = Field(description="Marks the file.")
    design: Name = Field(description="Name of the design.")
    version: Line = Field(description="Version of the design.")
    density_g_per_cm3: Annotated[Number, Field(gt=0, le=20)] = Field(description="Of the material [g/cm3].")
    source: Line = Field(description="Where the numbers come from.")
    part: Annotated[tuple[OutlineTable, ...], Field(min_length=1, max_length=200)] = Field(
        description="Parts."
    )


def load_outlines(source: str | Path) -> tuple[PartOutline, ...]:
    """The cached outlines of a design's parts at scale 1, right.

    Parameters: source, the name of a bundled design, or a path.
    Returns: one PartOutline a printed part, in the design's order.
    Raises: BadFile naming file, key, fault and remedy.
    Valid for: the version of the design that the file names.
    Source: written beside the design by the script that writes the design.
    Checked by: unit/test_part_outlines.py
    """
    bundled = BUNDLED / f"{source}-outlines.json"
    path = bundled if isinstance(source, str) and bundled.is_file() else Path(source)
    file = checked(OutlineFile, _read(path), path)
    return tuple(PartOutline(**part.model_dump()) for part in file.part)


def _read(path: Path) -> dict[str, Any]:
    where = str(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except (OSError, ValueError):
        raise BadFile("it cannot be read", where=where, do="Check its name and that it is a file.") from None
    if len(raw) > MAX_BYTES:
        raise BadFile("it is larger than 2 MB", where=where, do="Check that you named the right file.")
    try:
        data = json.loads(raw.decode("utf-8"))
    except (ValueError, RecursionError):
        raise BadFile("this is not a JSON file", where=where, do="Write it again from its design.") from None
    if not isinstance(data, dict):
        raise BadFile("it holds no table", where=where, do="Write it again from its design.")
    return data


def outlines_text(design: Design, outlines: Sequence[PartOutline], density_g_per_cm3: float) -> str:
    """The file's text, one part a line, so that a change shows where it is."""
    head = {
        "format": FORMAT,
        "design": design.name,
        "version": design.version,
        "density_g_per_cm3": density_g_per_cm3,
        "source": "Meshes of the design's parts at scale 1, right; points rounded to 0.05 mm.",
    }
    keys = ("name", "flat_side", "height_mm", "volume_mm3", "mass_g", "com_mm", "outline_mm", "holes_mm")
    rows = ",\n  ".join(json.dumps({k: getattr(o, k) for k in keys}, separators=(",", ":")) for o in outlines)
    return json.dumps(head, indent=1)[:-2] + f',\n "part": [\n  {rows}\n ]\n}}\n'
