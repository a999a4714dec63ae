"""Simple solid bodies to build parts from: rounded ends, plates, lofts, drilled ways.

Everything works on solids of manifold3d, which is imported when a body is made and never before, so
that reading a design does not pay for it. Lengths are mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import cos, pi, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Solid = Any  # manifold3d.Manifold: no types of ours to lean on
Profile = Any  # manifold3d.CrossSection
Outline = Sequence[tuple[float, float]]
SEGMENTS = 32  # facets in a full turn

# Which coordinates a profile's own two axes become, and which one it is extruded along.
_PLANES = {"x": (1, 2, 0), "y": (0, 2, 1), "z": (0, 1, 2)}


def profile(outline: Outline) -> Profile:
    """The area inside one closed outline, whichever way round it is listed."""
    from manifold3d import CrossSection, FillRule

    return CrossSection([np.asarray(outline, float)], FillRule.NonZero)


def disc(radius_mm: float, at: tuple[float, float] = (0.0, 0.0), segments: int = SEGMENTS) -> Profile:
    """A round area; `at` is its middle."""
    from manifold3d import CrossSection

    return CrossSection.circle(radius_mm, segments).translate(at)


def rectangle(x: tuple[float, float], y: tuple[float, float], corner_mm: float = 0.0) -> Profile:
    """A rectangle between two values of each of its axes, in either order.

    Parameters: x, y [mm]; corner_mm, radius of its corners.
    Returns: the area.
    """
    area = profile([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])
    return eased(area, corner_mm) if corner_mm > 0 else area


def grown(area: Profile, by_mm: float) -> Profile:
    """The area with its edge moved out (in, when negative); corners that turn outward get round."""
    from manifold3d import JoinType

    return area.offset(by_mm, JoinType.Round, circular_segments=SEGMENTS)


def eased(area: Profile, radius_mm: float) -> Profile:
    """The area with every outward corner rounded."""
    return grown(grown(area, -radius_mm), radius_mm)


def filleted(area: Profile, radius_mm: float) -> Profile:
    """The area with every inward corner filled."""
    return grown(grown(area, radius_mm), -radius_mm)


def prism(area: Profile, lo_mm: float, hi_mm: float, along: str) -> Solid:
    """The area extruded between two places, in either order.

    Parameters: area [mm]; lo_mm, hi_mm, the places; along, "x", "y" or "z": its own axes are then (y, z), (x, z)
        or (x, y).
    Returns: the solid.
    """
    from manifold3d import Manifold

    u, v, w = _PLANES[along]
    turn = np.zeros((3, 4))
    turn[u, 0], turn[v, 1], turn[w, 2] = 1.0, 1.0, 1.0
    turn[w, 3] = min(lo_mm, hi_mm)
    return Manifold.extrude(area, abs(hi_mm - lo_mm)).transform(turn)


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Solid:
    return prism(rectangle(x, y), z[0], z[1], "z")


def rod(
    radius_mm: float, lo_mm: float, hi_mm: float, along: str, at: tuple[float, float] = (0.0, 0.0)
) -> Solid:
    """A round rod; `at` are the two other coordinates in the order of `prism`."""
    return prism(disc(radius_mm, at), lo_mm, hi_mm, along)


def ball(radius_mm: float, at: Iterable[float], segments: int = SEGMENTS) -> Solid:
    """A ball; `at` is its middle."""
    from manifold3d import Manifold

    return Manifold.sphere(radius_mm, segments).translate(tuple(float(v) for v in at))


def hull(solids: Sequence[Solid]) -> Solid:
    """The smallest convex body round some solids."""
    from manifold3d import Manifold

    return Manifold.batch_hull(list(solids))


def hull_of(points: Floats) -> Solid:
    """The smallest convex body round (n, 3) points."""
    from manifold3d import Manifold

    return Manifold.hull_points(np.ascontiguousarray(points, float))


def capsule(a: Iterable[float], b: Iterable[float], radius_mm: float, segments: int = 20) -> Solid:
    """A round rod with ball ends between two points."""
    return hull([ball(radius_mm, a, segments), ball(radius_mm, b, segments)])


def way(points: Iterable[Iterable[float]], radius_mm: float) -> Solid:
    """A round tube along a broken line: what a drill or a cord takes up."""
    ends = [list(p) for p in points]
    return union([capsule(a, b, radius_mm) for a, b in zip(ends[:-1], ends[1:], strict=True)])


def open_way(points: Iterable[Iterable[float]], radius_mm: float, toward: Iterable[float]) -> Solid:
    """A groove along a broken line, round at its floor and open in the direction `toward` [mm]."""
    shift = tuple(float(v) for v in toward)
    ends = [list(p) for p in points]
    pieces = [capsule(a, b, radius_mm) for a, b in zip(ends[:-1], ends[1:], strict=True)]
    return union([hull([piece, piece.translate(shift)]) for piece in pieces])


def union(solids: Sequence[Solid]) -> Solid:
    """Everything that is in any of the solids."""
    from manifold3d import Manifold, OpType

    return Manifold.batch_boolean(list(solids), OpType.Add)


def cut(solid: Solid, tools: Sequence[Solid]) -> Solid:
    """The solid without any of the tools."""
    return solid - union(tools) if tools else solid


def softened(solid: Solid, radius_mm: float, segments: int = 16) -> Solid:
    """The solid rolled over by a ball: grows by the radius, outward edges become round."""
    from manifold3d import Manifold

    return solid.minkowski_sum(Manifold.sphere(radius_mm, segments))


def soft_prism(area: Profile, lo_mm: float, hi_mm: float, along: str, edge_mm: float) -> Solid:
    """A prism of the given outer size with every outward edge rounded."""
    core = prism(grown(area, -edge_mm).simplify(0.05), lo_mm + edge_mm, hi_mm - edge_mm, along)
    return softened(core, edge_mm)


def rounded_section(
    width_mm: float,
    low_mm: float,
    high_mm: float,
    low_corner_mm: float,
    high_corner_mm: float,
    inset_mm: float = 0.0,
) -> Floats:
    """Points round a rectangle about y = 0 with its own corner radius below and above: (n, 2) y, z [mm]."""
    half = width_mm / 2 - inset_mm
    low, high = low_mm + inset_mm, high_mm - inset_mm
    points = []
    corners = (
        (half, high, high_corner_mm, 0),
        (-half, high, high_corner_mm, 1),
        (-half, low, low_corner_mm, 2),
        (half, low, low_corner_mm, 3),
    )
    for y, z, radius, quarter in corners:
        r = max(radius - inset_mm, 0.02)
        cy, cz = y - r * (1 if y > 0 else -1), z - r * (1 if quarter < 2 else -1)
        for k in range(9):
            turn = (quarter + k / 8) * pi / 2
            points.append((cy + r * cos(turn), cz + r * sin(turn)))
    return np.array(points)


def loft(sections: Sequence[tuple[float, Floats]]) -> Solid:
    """The convex body through sections (x, points of y and z)."""
    return hull_of(np.vstack([np.column_stack([np.full(len(p), x), p]) for x, p in sections]))


def moved(solid: Solid, matrix: Floats) -> Solid:
    """The solid under a rigid motion or reflection.

    Parameters: solid [mm]; matrix : (4, 4) float, its last column [mm].
    Returns: the solid moved.
    """
    return solid.transform(np.ascontiguousarray(matrix[:3, :4], float))


def one_body(solid: Solid) -> bool:
    """Whether it is a single piece of positive volume."""
    from manifold3d import Error

    return bool(solid.status() == Error.NoError and solid.volume() > 0 and len(solid.decompose()) == 1)
