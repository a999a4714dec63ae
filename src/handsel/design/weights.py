"""Masses of printed parts from the volume of their meshes, and what each body of a hand weighs with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsel.design.model import Design, Part, Vec3
from handsel.design.part_frames import Floats, carried, seats
from handsel.design.shapes import part_solid, surface
from handsel.design.solids import Solid

# PLA, printed without voids; a range of 1.22-1.26 is seen between makes. Reference D01.
PLA_G_PER_CM3 = 1.24


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """What a solid piece weighs, and where its centre of mass lies."""

    volume_mm3: float
    mass_g: float
    com_mm: Vec3


def solid_weight(solid: Solid, density_g_per_cm3: float = PLA_G_PER_CM3) -> Weight:
    """Volume, mass and centre of mass of a solid in its own frame.

    Parameters: solid, closed; density_g_per_cm3 [g/cm3], the same throughout.
    Returns: Weight.
    Raises: nothing of its own.
    Valid for: prints without voids. A sparse infill weighs less, and is a fault in this hand.
    Source: divergence theorem: signed tetrahedra from the origin to each triangle. Density: D01.
    Checked by: unit/test_shapes.py
    """
    points, triangles = surface(solid)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    six_volumes = np.einsum("ij,ij->i", a, np.cross(b, c))
    volume = float(six_volumes.sum()) / 6.0
    com = (six_volumes[:, None] * (a + b + c)).sum(0) / (24.0 * volume)
    return Weight(
        volume_mm3=volume,
        mass_g=volume * density_g_per_cm3 / 1000.0,
        com_mm=(float(com[0]), float(com[1]), float(com[2])),
    )


def part_weight(design: Design, part: Part) -> Weight:
    """What one copy of a part weighs, in the part's frame, before anything is bent."""
    return solid_weight(part_solid(design, part))


def body_weights(design: Design) -> dict[str, Weight]:
    """What the printed parts of each body weigh together, with their centre of mass in the palm frame.

    Parameters: design, at scale 1 or placed for one hand.
    Returns: dict from the name of a body to its Weight, for bodies that have printed parts.
    Raises: OutOfRange when a part cannot be made.
    Valid for: the straight hand, the cuff bent to its form.
    Source: sums of the parts.
    Checked by: unit/test_shapes.py
    """
    volumes: dict[str, float] = {}
    moments: dict[str, Floats] = {}
    for part in (p for p in design.parts if p.printed):
        weight = solid_weight(part_solid(design, part, formed=True))
        for seat in seats(design, part):
            com = carried(seat.matrix, [weight.com_mm])[0]
            volumes[seat.body] = volumes.get(seat.body, 0.0) + weight.volume_mm3
            moments[seat.body] = moments.get(seat.body, np.zeros(3)) + weight.volume_mm3 * com
    found = {}
    for body, volume in volumes.items():
        x, y, z = (float(v) for v in moments[body] / volume)
        found[body] = Weight(volume_mm3=volume, mass_g=volume * PLA_G_PER_CM3 / 1000.0, com_mm=(x, y, z))
    return found
