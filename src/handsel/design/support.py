"""Whether a point stands over an outline, and by how much: for balance and for clearance."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

Point2 = tuple[float, float]


def hull(points: Sequence[Point2]) -> tuple[Point2, ...]:
    """Corners of the smallest convex outline round the points, anticlockwise.

    Parameters: points, (n, 2) [mm].    Returns: corners, n >= 3 unless all lie on one line.
    Raises: nothing of its own.    Valid for: any points.
    Source: Andrew's monotone chain, 1979.    Checked by: properties/test_support.py
    """
    ordered = sorted(set(points))

    def half(run: Sequence[Point2]) -> list[Point2]:
        kept: list[Point2] = []
        for p in run:
            while len(kept) > 1 and _cross(kept[-2], kept[-1], p) <= 0.0:
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return tuple(half(ordered) + half(ordered[::-1]))


def inside_mm(p: Point2, outline: Sequence[Point2]) -> float:
    """How far inside the convex outline round some corners a point is; negative outside.

    Parameters: p, (x, y) [mm]; outline, (n, 2) corners of what carries, in any order [mm].
    Returns: distance to the nearest edge [mm], as a length that p can move before it tips.
    Raises: nothing of its own.    Valid for: outlines with an area. A hollow in the outline
        carries nothing but does not let a rigid body tip into it, so the hull counts.
    Source: distance of a point from a segment.    Checked by: properties/test_support.py
    """
    corners = hull(outline)
    edges = list(zip(corners, corners[1:] + corners[:1], strict=True))
    away = min(_from_edge(p, a, b) for a, b in edges)
    return away if all(_cross(a, b, p) >= 0.0 for a, b in edges) else -away


def _cross(o: Point2, a: Point2, b: Point2) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def _from_edge(p: Point2, a: Point2, b: Point2) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    t = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy)
    t = min(max(t, 0.0), 1.0)  # past an end, the corner itself is nearest
    return hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)
