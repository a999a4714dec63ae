"""Meshes of a design's parts, made in code from their measures and the design's own routes and hinges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design, Part, Vec3
from handsel.design.part_frames import FINGER_PIN, THUMB_PIN, WRIST_PIN, seats
from handsel.design.placing import LEFT, placed
from handsel.design.shape_block import block, carrier, thumb_pin, whippletree
from handsel.design.shape_cuff import cuff, formed_cuff, joint_slide
from handsel.design.shape_digit import proximal, tip
from handsel.design.shape_palm import palm
from handsel.design.shape_pins import hinge_pin, wrist_pin
from handsel.design.solids import Floats, Solid, one_body
from handsel.errors import OutOfRange

Mesh = Any  # trimesh.Trimesh
Triangles = NDArray[np.int64]
Maker = Callable[[Design, Part], Solid]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How one kind of part is made, and which of its sides is flat, in the frame of a right-hand part."""

    make: Maker
    flat_side: Vec3  # outward normal of the face that it lies and is printed on
    formed: Maker | None = None  # as it sits in the hand, where that is not as it is printed


SLIVER_MM = 0.001  # edges shorter than this are taken out of a mesh
DOWN: Vec3 = (0.0, 0.0, -1.0)
SHAPES: dict[str, Shape] = {
    "palm": Shape(make=palm, flat_side=(0.0, -1.0, 0.0)),
    "proximal": Shape(make=proximal, flat_side=DOWN),
    "tip": Shape(make=tip, flat_side=DOWN),
    "cuff": Shape(make=cuff, flat_side=DOWN, formed=formed_cuff),
    "joint_slide": Shape(make=joint_slide, flat_side=DOWN),
    "tension_block": Shape(make=block, flat_side=DOWN),
    "tension_carrier": Shape(make=carrier, flat_side=(0.0, 0.0, 1.0)),
    "whippletree": Shape(make=whippletree, flat_side=DOWN),
    "thumb_tension_pin": Shape(make=thumb_pin, flat_side=DOWN),
    FINGER_PIN: Shape(make=hinge_pin, flat_side=DOWN),
    THUMB_PIN: Shape(make=hinge_pin, flat_side=DOWN),
    WRIST_PIN: Shape(make=wrist_pin, flat_side=(0.0, -1.0, 0.0)),
}


def shape_of(part: Part) -> Shape:
    """How a part is made, or a reason why it cannot be."""
    if part.shape not in SHAPES:
        raise OutOfRange(
            f'there is no shape "{part.shape}"',
            where=f'part "{part.name}"',
            do="Known shapes: " + ", ".join(sorted(SHAPES)) + ".",
        )
    return SHAPES[part.shape]


def is_left(design: Design) -> bool:
    """Whether a design is placed for a left hand: its thumb is then on the side of negative y."""
    thumb = next((d for d in design.digits if d.name == "thumb"), None)
    return thumb is not None and design.hinge(thumb.proximal_hinge).origin_mm[1] < 0


def mirrored(design: Design) -> Design:
    """The same hand on the other side, at the same size: equal to the design placed for that side."""
    low, high = design.scale_min_ratio, design.scale_max_ratio
    free = replace(design, scale_min_ratio=1.0, scale_max_ratio=1.0)
    other = placed(free, scale_ratio=1.0, side=LEFT)
    return replace(other, scale_min_ratio=low, scale_max_ratio=high)


def part_solid(design: Design, part: Part, *, formed: bool = False) -> Solid:
    """A part as an exact solid in its own frame; see `part_mesh`.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts; formed, the cuff as bent to its
        wearer and not as printed.
    Returns: a solid [mm].
    Raises: OutOfRange when the part's measures make no single body.
    """
    return _made(design, part, formed and shape_of(part).formed is not None)


@lru_cache(maxsize=256)  # both hands at a handful of scales
def _made(design: Design, part: Part, formed: bool) -> Solid:
    if is_left(design):
        right = mirrored(design)
        twin = next(p for p in right.parts if p.name == part.name)
        return part_solid(right, twin, formed=formed).mirror((0.0, 1.0, 0.0))
    shape = shape_of(part)
    make = shape.formed if formed and shape.formed else shape.make
    solid = make(design, part).as_original().simplify(SLIVER_MM)
    if not one_body(solid):
        raise OutOfRange(
            "its measures do not give one solid body",
            where=f'part "{part.name}"',
            do="Compare its measures with those of the bundled design; one is far too small or too large.",
        )
    return solid


def surface(solid: Solid) -> tuple[Floats, Triangles]:
    """The surface of a solid as plain arrays.

    Parameters: solid, as `part_solid` or `lying_solid` makes it.
    Returns: (n, 3) points [mm], and (m, 3) corners of triangles that face outward.
    Raises: nothing of its own.
    Valid for: closed solids.
    Source: the solid's own mesh.
    Checked by: unit/test_shapes.py
    """
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties, float)[:, :3], np.array(mesh.tri_verts, np.int64)


def part_mesh(design: Design, part: Part) -> Mesh:
    """A part as it is printed, as a closed mesh in its own frame.

    Made from the part's measures, and from the design's hinges and routes: a cord's hole is where the
    cord's route is. Sizes in `fits` do not grow with the hand. A design placed for a left hand gives
    the mirror image of the right hand's part.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: trimesh.Trimesh [mm]: watertight, one body, triangles facing outward.
    Raises: OutOfRange when the shape is not known, a measure is missing, or they do not give one body.
    Valid for: the shapes in SHAPES. Printable in principle; overhangs and strength are not judged.
    Source: shapes of our own, docs/decisions/.
    Checked by: unit/test_shapes.py, unit/test_shapes_together.py
    """
    return _trimesh(part_solid(design, part))


def part_mesh_placed(design: Design, part: Part) -> Mesh:
    """All copies of a part in the straight hand, as one mesh in the palm frame.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: trimesh.Trimesh [mm]; the cuff is bent to its form.
    Raises: OutOfRange as `part_mesh`, and when its count is not the number of places for it.
    Valid for: drawings and masses of the straight hand.
    Source: `part_mesh` and the frames in `part_frames`.
    Checked by: unit/test_shapes.py
    """
    import trimesh

    return trimesh.util.concatenate([mesh for _, mesh in placed_pieces(design, part)])


def placed_pieces(design: Design, part: Part) -> tuple[tuple[str, Mesh], ...]:
    """Each copy of a part in the straight hand: the body that it moves with, and its mesh, palm frame.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: pairs of a body's name and a trimesh.Trimesh [mm].
    Raises: OutOfRange as `part_mesh_placed`.
    Valid for: moving the pieces to a solved pose, body by body.
    Source: as `part_mesh_placed`.
    Checked by: unit/test_shapes.py
    """
    mesh = _trimesh(part_solid(design, part, formed=True))
    pieces = []
    for seat in seats(design, part):
        copy = mesh.copy()
        copy.apply_transform(seat.matrix)
        pieces.append((seat.body, copy))
    return tuple(pieces)


def _trimesh(solid: Solid) -> Mesh:
    import trimesh

    points, triangles = surface(solid)
    return trimesh.Trimesh(vertices=points, faces=triangles, process=False)
