"""Writes the parts of a design to a folder, ready for a slicer."""

from __future__ import annotations

from pathlib import Path

from handsel.data.part_files import part_file
from handsel.design.model import Design
from handsel.design.placing import RIGHT, placed
from handsel.errors import BadFile


def export_parts(
    design: Design, folder: str | Path, fmt: str, *, scale_ratio: float = 1.0, side: str = RIGHT
) -> tuple[Path, ...]:
    """One file for each printed part of a hand; its name says part, side, scale and how many to print.

    Geometry is scaled, holes for screws, pins and cord are not; a left hand is mirrored.

    Parameters: design, at scale 1 and right, as loaded; folder, made when it does not exist; fmt, "stl"
        or "3mf"; scale_ratio, size against the design [-]; side, "right" or "left".
    Returns: the paths, in the order of the design's parts.
    Raises: BadFile when the folder cannot be written; OutOfRange for a scale, side or format that is not
        possible.
    Valid for: designs whose parts name a shape that this program can make.
    Source: design.shapes.
    Checked by: unit/test_shapes.py
    """
    hand, target = placed(design, scale_ratio=scale_ratio, side=side), Path(folder)
    written = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        for part in (p for p in hand.parts if p.printed):
            many = f"-{part.count}x" if part.count > 1 else ""
            path = target / f"{design.name}-{side}-{round(100 * scale_ratio)}-{part.name}{many}.{fmt}"
            path.write_bytes(part_file(hand, part, fmt))
            written.append(path)
    except OSError as error:
        raise BadFile(
            f"it cannot be written: {error.strerror or error}",
            where=str(target),
            do="Choose a folder that you may write to, on a disk with room.",
        ) from None
    return tuple(written)
