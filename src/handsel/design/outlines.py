"""How parts look from above as they lie on a flat side: their outlines, as data for drawings and photos."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from handsel.design.model import Design, Part, Vec3
from handsel.design.part_frames import Floats
from handsel.design.placing import LEFT
from handsel.design.shapes import is_left, part_solid, shape_of, surface
from handsel.design.solids import Solid, moved
from handsel.design.weights import solid_weight

Ring = tuple[tuple[float, float], ...]
ROUNDED_TO_MM = 0.05
SMALLEST_HOLE_MM2 = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartOutline:
    """A part lying on its flat side, seen from above: x to the right, y up, its own x axis along x."""

    name: str
    flat_side: Vec3  # outward normal of the side that it lies on, part frame
    height_mm: float  # of its highest point above the table
    volume_mm3: float
    mass_g: float
    com_mm: Vec3  # part frame
    outline_mm: Ring  # anticlockwise, (n, 2), the first point not repeated
    holes_mm: tuple[Ring, ...]  # clockwise; what one can see through


def lying(solid: Solid, flat_side: Vec3) -> Floats:
    """(4, 4) from the part's frame to a table: z up, its lowest point at 0, resting where it stays put.

    Of the sides of its convex hull that it can rest on, the one nearest to `flat_side` is taken. The
    part's own x axis points along the table's x, as far as it can.
    """
    centre = np.array(solid_weight(solid).com_mm)
    points, triangles = surface(solid.hull())
    a, b, c = (points[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    size = np.linalg.norm(normals, axis=1)
    normals = normals[size > 1e-6] / size[size > 1e-6, None]
    order = np.argsort(-(normals @ np.array(flat_side)))
    down = next(
        (normals[k] for k in order if _carries(points, normals[k], centre)), np.array(flat_side, float)
    )
    return _table(points, down)


def _carries(points: Floats, down: Floats, centre: Floats) -> bool:
    """Whether the centre of mass is above the corners that touch the table, 0.2 mm inside their hull."""
    depth = points @ down
    feet = points[depth > depth.max() - 0.02]
    turn = _table(feet, down)[:3, :3]
    flat, middle = (feet @ turn.T)[:, :2], (centre @ turn.T)[:2]
    spokes = np.linspace(0.0, 2 * np.pi, 73)[:-1]
    ways = np.column_stack([np.cos(spokes), np.sin(spokes)])
    return bool(((flat @ ways.T).max(0) - middle @ ways.T > 0.2).all())


def _table(points: Floats, down: Floats) -> Floats:
    up = -down
    x = np.array([1.0, 0.0, 0.0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    x = x - up * (x @ up)
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, :3] = np.array([x, np.cross(up, x), up])
    matrix[2, 3] = -float((points @ up).min())
    return matrix


def flat_side_of(design: Design, part: Part) -> Vec3:
    """The side that a part is meant to lie on, for the hand's own side.

    Parameters: design, placed or at scale 1; part, one of its parts.
    Returns: the direction that looks down, in the part's frame; a unit vector.
    """
    x, y, z = shape_of(part).flat_side
    return (x, -y, z) if is_left(design) else (x, y, z)


def lying_solid(design: Design, part: Part) -> Solid:
    """A part as it lies on the table or on the printer's bed.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: a solid with z up and its lowest point at 0 [mm].
    Raises: OutOfRange when the part cannot be made.
    Valid for: parts as printed: the cuff is flat.
    Source: statics: a body stays on a face that its centre of mass is above.
    Checked by: unit/test_shapes.py
    """
    solid = part_solid(design, part)
    return moved(solid, lying(solid, flat_side_of(design, part)))


def part_outline(design: Design, part: Part) -> PartOutline:
    """A part's outline from above as it lies on its flat side, with its mass.

    Parameters: design, at scale 1 or placed for one hand; part, one of its parts.
    Returns: PartOutline with points rounded to 0.05 mm.
    Raises: OutOfRange when the part cannot be made.
    Valid for: a view straight from above; a camera near a tall part sees it larger.
    Source: projection of the mesh along the vertical.
    Checked by: unit/test_shapes.py
    """
    solid = part_solid(design, part)
    table = lying(solid, flat_side_of(design, part))
    laid = moved(solid, table)
    rings = [np.asarray(r) for r in _shadow(laid).to_polygons()]
    outer = max(rings, key=_area_mm2)
    holes = [r for r in rings if _area_mm2(r) < -SMALLEST_HOLE_MM2]
    weight = solid_weight(solid)
    down = -table[2, :3]
    return PartOutline(
        name=part.name,
        flat_side=(
            round(float(down[0]), 4) + 0.0,
            round(float(down[1]), 4) + 0.0,
            round(float(down[2]), 4) + 0.0,
        ),
        height_mm=round(float(laid.bounding_box()[5]), 3),
        volume_mm3=round(weight.volume_mm3, 1),
        mass_g=round(weight.mass_g, 3),
        com_mm=(round(weight.com_mm[0], 3), round(weight.com_mm[1], 3), round(weight.com_mm[2], 3)),
        outline_mm=_rounded(outer),
        holes_mm=tuple(sorted(map(_rounded, holes))),
    )


def _shadow(solid: Solid) -> Any:
    from manifold3d import CrossSection, FillRule

    return CrossSection(solid.project().to_polygons(), FillRule.Positive).simplify(0.03)


def _area_mm2(ring: Floats) -> float:
    x, y = ring.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2.0


def _rounded(ring: Floats) -> Ring:
    steps = np.round(ring / ROUNDED_TO_MM).astype(int)
    kept = [p for k, p in enumerate(map(tuple, steps.tolist())) if p != tuple(steps[k - 1].tolist())]
    return tuple((round(x * ROUNDED_TO_MM, 2), round(y * ROUNDED_TO_MM, 2)) for x, y in kept)


def outline_placed(outline: PartOutline, *, scale_ratio: float, side: str) -> PartOutline:
    """An outline of scale 1, right, for a hand of another scale or side.

    Parameters: outline, as loaded; scale_ratio, size against the design [-]; side, "right" or "left".
    Returns: PartOutline in the same view; a left part is the mirror image in its own x axis.
    Raises: nothing of its own.
    Valid for: outer edges. Holes for pins, cord and screws keep their size in the print and are scaled
        here, so edges of such holes are off by up to half their growth, and the mass by a few percent.
    Source: similar solids.
    Checked by: unit/test_shapes.py
    """
    s, flip = scale_ratio, -1.0 if side == LEFT else 1.0

    def ring(points: Ring) -> Ring:
        moved_points = tuple((s * x, flip * s * y) for x, y in points)
        return moved_points if flip > 0 else moved_points[::-1]

    def turned(v: Vec3, k: float) -> Vec3:
        return (k * v[0], flip * k * v[1], k * v[2])

    return replace(
        outline,
        flat_side=turned(outline.flat_side, 1.0),
        height_mm=s * outline.height_mm,
        volume_mm3=s**3 * outline.volume_mm3,
        mass_g=s**3 * outline.mass_g,
        com_mm=turned(outline.com_mm, s),
        outline_mm=ring(outline.outline_mm),
        holes_mm=tuple(ring(h) for h in outline.holes_mm),
    )
