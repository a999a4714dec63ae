"""From a file of measures to the grid of a label sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Line, Number, Table
from handsel.data.label_grid import LabelGrid
from handsel.data.places import near
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile, OutOfRange

BUNDLED = Path(__file__).parent / "labels"
GRID_ID = r"^[a-z0-9][a-z0-9.-]*$"

Count = Annotated[int, Field(strict=True, ge=1, le=60)]
Measure = Annotated[Number, Field(ge=0, le=300)]


class LabelTable(Table):
    """A label sheet. All measures as a ruler shows them on the sheet, the long edge upright."""

    format: Literal["handsel-labels/1"] = Field(description="Format of this file.")
    id: Annotated[str, Field(pattern=GRID_ID, max_length=40)] = Field(
        description="Name of the file without its ending."
    )
    title: Line = Field(description="What a person chooses it by: measures and page, no maker.")
    page: Literal["a4", "letter"] = Field(description="Size of the page.")
    columns: Count = Field(description="Labels side by side [-].")
    rows: Count = Field(description="Labels one below the other [-].")
    label_width_mm: Annotated[Number, Field(ge=20, le=300)] = Field(description="Width of one label [mm].")
    label_height_mm: Annotated[Number, Field(ge=12, le=300)] = Field(description="Height of one label [mm].")
    margin_left_mm: Measure = Field(description="From the page's left edge to the first label [mm].")
    margin_top_mm: Measure = Field(description="From the page's top edge to the first label [mm].")
    gap_x_mm: Measure = Field(description="Between neighbours side by side [mm].")
    gap_y_mm: Measure = Field(description="Between neighbours one below the other [mm].")
    cut_marks: bool = Field(description="Whether marks to cut along are printed.")


def load_label_grid(source: str | Path = "63.5x38.1-a4") -> LabelGrid:
    """A label grid, bundled or your own.

    Parameters: source, the name of a bundled grid, or the path of a TOML file in the format
        handsel-labels/1 (a Path, or a text with a folder or .toml in it).
    Returns: LabelGrid.
    Raises: BadFile naming file, key, what is wrong and how to mend it.
    Valid for: as read_toml.    Source: own format.    Checked by: unit/test_documents_labels.py
    """
    path = _path(source)
    table = checked(LabelTable, read_toml(path), path)
    try:
        return LabelGrid(**table.model_dump(exclude={"format"}))
    except OutOfRange as error:
        raise BadFile(error.what, where=str(path), do=error.do) from None


def bundled_label_grids() -> tuple[str, ...]:
    """Names of the label grids that come with the program.

    Parameters: none.    Returns: names, sorted.    Raises: nothing of its own.
    Valid for: an installed package whose data files are whole.
    Source: the files beside this module.    Checked by: unit/test_documents_labels.py
    """
    return tuple(sorted(p.name.removesuffix(".toml") for p in BUNDLED.glob("*.toml")))


def _path(source: str | Path) -> Path:
    if isinstance(source, Path) or source.endswith(".toml") or "/" in source or "\\" in source:
        return Path(source)
    if source not in bundled_label_grids():
        raise BadFile(
            "there is no label grid of this name",
            where=f"label grid {source[:60]!r}",
            do=f"{near(source[:60], bundled_label_grids())} Or give the path of a .toml file.",
        )
    return BUNDLED / f"{source}.toml"
