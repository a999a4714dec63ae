"""A part as the bytes of a file for a slicer: STL, or 3MF with its unit."""

from __future__ import annotations

from io import BytesIO
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import numpy as np

from handsel.design.model import Design, Part
from handsel.design.outlines import lying_solid
from handsel.design.part_frames import Floats
from handsel.design.shapes import Triangles, surface
from handsel.errors import OutOfRange

STL, THREE_MF = "stl", "3mf"
FORMATS = (STL, THREE_MF)
XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


def part_file(design: Design, part: Part, fmt: str) -> bytes:
    """One part, lying on its flat side with its lowest point at z = 0, as the bytes of a file.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts; fmt, "stl" or "3mf".
    Returns: the same bytes every time for the same part. STL has no unit of its own: the numbers are mm.
    Raises: OutOfRange for another format, or when the part cannot be made.
    Valid for: slicers; the mesh has no colours, names of faces or supports.
    Source: 3MF core specification 1.3 (from memory): unit, vertices, triangles, build; binary STL.
    Checked by: unit/test_shapes.py
    """
    if fmt not in FORMATS:
        raise OutOfRange(
            f'the format "{fmt}" is not known', where=f'part "{part.name}"', do='Use "stl" or "3mf".'
        )
    points, triangles = welded(*surface(lying_solid(design, part)))
    return stl_bytes(points, triangles) if fmt == STL else three_mf_bytes(part.name, points, triangles)


def welded(points: Floats, triangles: Triangles) -> tuple[Floats, Triangles]:
    """The same surface with its points rounded to 0.0001 mm, each there once, and no empty triangles.

    A single-precision file cannot tell points apart that are nearer than that; joined here, the body
    is still closed for whoever reads it.
    """
    places, which = np.unique(np.round(points, 4) + 0.0, axis=0, return_inverse=True)
    corners = which.reshape(-1)[triangles]
    a, b, c = corners.T
    return places, corners[(a != b) & (b != c) & (c != a)]


def stl_bytes(points: Floats, triangles: Triangles) -> bytes:
    """Binary STL: a header, the number of triangles, then normal, three corners and two spare bytes each."""
    corners = points[triangles].astype("<f4")
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).astype(float)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(
        len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")]
    )
    facets["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    facets["corners"] = corners
    header = b"binary STL, lengths in mm".ljust(80, b" ")
    return header + np.uint32(len(triangles)).tobytes() + facets.tobytes()


def three_mf_bytes(name: str, points: Floats, triangles: Triangles) -> bytes:
    """A 3MF package with one object, in millimetres; no clock and no random marks in it."""
    vertices = "".join(f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in points)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in triangles)
    model = (
        f'{XML}<model unit="millimeter" xml:lang="en" xmlns="{CORE}"><resources>'
        f'<object id="1" type="model" name="{name}"><mesh><vertices>{vertices}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object></resources>"
        f'<build><item objectid="1"/></build></model>'
    )
    types = (
        f'{XML}<Types xmlns="{PACKAGE}/content-types">'
        f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="model" ContentType="{MODEL_TYPE}"/></Types>'
    )
    relations = (
        f'{XML}<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{RELATION}"/></Relationships>'
    )
    package = BytesIO()
    with ZipFile(package, "w", ZIP_DEFLATED) as archive:
        for path, text in (
            ("[Content_Types].xml", types),
            ("_rels/.rels", relations),
            ("3D/3dmodel.model", model),
        ):
            info = ZipInfo(path, date_time=(1980, 1, 1, 0, 0, 0))
            info.compress_type = ZIP_DEFLATED
            info.create_system = 0  # the same bytes on every system
            archive.writestr(info, text)
    return package.getvalue()
