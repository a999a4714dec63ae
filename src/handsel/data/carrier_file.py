"""The bracket for the cuff's tag card as the bytes of a file for a slicer."""

from __future__ import annotations

from importlib.util import find_spec

from handsel.data.part_files import FORMATS, STL, stl_bytes, three_mf_bytes, welded
from handsel.design.card_carrier import card_carrier
from handsel.design.shapes import surface
from handsel.errors import HandselError, OutOfRange


def carrier_file(fmt: str) -> bytes:
    """The bracket that carries the cuff's tag card, as the bytes of a file.

    Parameters: fmt, "stl" or "3mf".
    Returns: the same bytes every time. STL has no unit of its own: the numbers are mm.
    Raises: OutOfRange for another format; HandselError where the program that makes solids is missing.
    Valid for: slicers; it lies as it is printed.
    Source: design.card_carrier.
    Checked by: unit/test_card_carrier.py
    """
    if fmt not in FORMATS:
        raise OutOfRange(f'the format "{fmt}" is not known', where="card carrier", do='Use "stl" or "3mf".')
    if find_spec("manifold3d") is None:
        raise HandselError(
            "the program that makes solids, manifold3d, is not installed",
            where="card carrier",
            do="Install handsel with its extra: pip install 'handsel[meshes]'.",
        )
    points, triangles = welded(*surface(card_carrier()))
    return stl_bytes(points, triangles) if fmt == STL else three_mf_bytes("card_carrier", points, triangles)
