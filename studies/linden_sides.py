"""Writes linden-sides.json: how linden looks from its sides at rest, for the guide that says where cards go.

python studies/linden_sides.py
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from manifold3d import CrossSection, FillRule

from handsel.data.load_design import load_design
from handsel.data.part_sides import FORMAT
from handsel.design.model import CUFF, PALM, Design
from handsel.design.part_frames import seats, turned
from handsel.design.posing import chain
from handsel.design.shapes import part_solid
from handsel.design.solids import Floats, Solid, moved

TARGET = Path("src/handsel/data/designs/linden-sides.json")
ROUGH_MM, SMALLEST_HOLE_MM2 = 0.12, 3.0
SIDEWAYS = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0]])  # x, z, -y


def main() -> None:
    design = load_design("linden")
    pieces = []
    for part in (p for p in design.parts if p.printed):
        solid = part_solid(design, part, formed=True)
        for seat in seats(design, part):
            posed = moved(moved(solid, seat.matrix), at_rest(design, seat.body))
            low, high = posed.bounding_box()[1], posed.bounding_box()[4]
            pieces.append(
                {
                    "part": part.name,
                    "body": seat.body,
                    "low_y_mm": round(low, 2),
                    "high_y_mm": round(high, 2),
                    "rings_mm": shadow(posed),
                }
            )
    found = {
        "format": FORMAT,
        "design": design.name,
        "version": design.version,
        "wrist_deg": design.target_rest_angle_deg,
        "source": "Solids of the design's parts at scale 1, right, at the rest angle, seen along the wrist hinge.",
        "piece": pieces,
    }
    head = {k: v for k, v in found.items() if k != "piece"}
    rows = ",\n".join("  " + json.dumps(p, separators=(",", ":")) for p in pieces)
    text = json.dumps(head, indent=1)[:-2] + ',\n "piece": [\n' + rows + "\n ]\n}\n"
    TARGET.write_text(text, encoding="utf-8")
    print(f"{TARGET}: {len(pieces)} pieces, {len(text)} bytes")


def at_rest(design: Design, body: str) -> Floats:
    """(4, 4) from the straight hand to the hand at rest: only the wrist turns."""
    wrist = next(h for h in design.hinges if {h.parent, h.child} == {PALM, CUFF})
    matrix = np.eye(4)
    if wrist in chain(design, body):
        corners = turned(np.vstack([np.zeros(3), np.eye(3)]), wrist, design.target_rest_angle_deg)
        matrix[:3, 3] = corners[0]
        matrix[:3, :3] = (corners[1:] - corners[0]).T
    return matrix


def shadow(solid: Solid) -> list[list[list[float]]]:
    """Edges of what a piece hides, x and z."""
    flat = solid.transform(np.ascontiguousarray(SIDEWAYS)).project().to_polygons()
    rings = CrossSection(flat, FillRule.Positive).simplify(ROUGH_MM).to_polygons()
    return [np.round(r, 2).tolist() for r in rings if area_mm2(r) > 0 or area_mm2(r) < -SMALLEST_HOLE_MM2]


def area_mm2(ring: Floats) -> float:
    x, y = np.asarray(ring).T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2.0


if __name__ == "__main__":
    main()
