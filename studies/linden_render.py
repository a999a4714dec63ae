"""Pictures of linden, all parts in place with the hand straight, for judging the shapes by eye.

python studies/linden_render.py [FOLDER] [--design FILE] [--scale 1.0] [--left]
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import trimesh
from PIL import Image
from render import render

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.design.shapes import part_mesh, placed_pieces

COLOURS = {
    "palm": (214, 223, 219),
    "proximal": (242, 190, 120),
    "tip": (236, 148, 96),
    "cuff": (150, 178, 190),
    "tension_block": (110, 134, 152),
    "joint_slide": (90, 100, 110),
    "tension_carrier": (210, 200, 150),
    "whippletree": (220, 90, 70),
    "thumb_tension_pin": (220, 90, 70),
}
PIN, CORD, ELASTIC = (120, 120, 125), (40, 60, 160), (60, 140, 90)
VIEWS = {
    "back": (0.0, 62.0),
    "side": (0.0, 0.0),
    "three_quarter": (38.0, 24.0),
    "palm_side": (150.0, -35.0),
    "thumb_side": (180.0, 8.0),
    "front": (72.0, 12.0),
}


def lines(design: Design) -> list[tuple[trimesh.Trimesh, tuple[int, int, int]]]:
    """Cords and elastics as thin rods along their routes."""
    found = []
    routes = [(leg.points, 0.5, CORD) for c in design.cords for leg in c.legs]
    routes += [(e.points, 0.9, ELASTIC) for e in design.elastics]
    for points, radius, colour in routes:
        for a, b in zip(points[:-1], points[1:], strict=True):
            found.append((trimesh.creation.cylinder(radius, segment=[a.at_mm, b.at_mm], sections=12), colour))
    return found


def hand(design: Design) -> list[tuple[trimesh.Trimesh, tuple[int, int, int]]]:
    found = lines(design)
    for part in design.parts:
        found += [(mesh, COLOURS.get(part.shape, PIN)) for _, mesh in placed_pieces(design, part)]
    return found


def kit(design: Design) -> list[tuple[trimesh.Trimesh, tuple[int, int, int]]]:
    """Every part once, laid out in rows as seen from above."""
    found, x, y, row = [], 0.0, 0.0, 0.0
    for part in design.parts:
        mesh = part_mesh(design, part)
        size = mesh.extents
        if x + size[0] > 330.0:
            x, y, row = 0.0, y - row - 8.0, 0.0
        mesh.apply_translation(
            np.array([x, y, 0.0]) - [mesh.bounds[0][0], mesh.bounds[1][1], mesh.bounds[0][2]]
        )
        x, row = x + size[0] + 8.0, max(row, size[1])
        found.append((mesh, COLOURS.get(part.shape, PIN)))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("linden-pictures"))
    parser.add_argument("--design", default="linden")
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--left", action="store_true")
    parser.add_argument("--views", nargs="*", default=list(VIEWS))
    options = parser.parse_args()
    design = placed(
        load_design(options.design), scale_ratio=options.scale, side="left" if options.left else "right"
    )
    options.folder.mkdir(parents=True, exist_ok=True)
    pieces = hand(design)
    for name in options.views:
        if name in VIEWS:
            render(pieces, *VIEWS[name]).save(options.folder / f"{name}.png")
    if "kit" in options.views:
        image: Image.Image = render(kit(design), 0.0, 75.0)
        image.save(options.folder / "kit.png")
    print(options.folder)


if __name__ == "__main__":
    main()
