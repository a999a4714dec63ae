"""The outline of a lying part as a camera near by sees it, from the mesh's own edges.

A face is seen when the camera is on its outer side. Edges between a seen and an unseen face run round all that the
part hides; each is moved away from the camera as far as its own height asks, and what they run round is united.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.design.shapes import surface
from handsel.design.solids import Solid
from handsel.vision.mat.view import shadow_mm

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_SLIT_MM = 0.6  # half the width of a slit that closes
_FINE_MM = 0.02  # detail of an outline that no photo shows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Skin:
    """A closed mesh, ready to be asked which of its edges are its outline."""

    points_mm: FloatArray  # (n, 3), z up from the paper
    normals: FloatArray  # (m, 3) of the faces, outward, as long as twice their area
    offsets: FloatArray  # (m,) of the faces' planes along their normals
    edges: IntArray  # (e, 2) ends, in the order in which the first face runs round
    faces: IntArray  # (e, 2) the two faces at each edge


def skin_of(solid: Solid) -> Skin:
    """The mesh of a solid with its edges paired.

    Parameters: solid.
    Returns: Skin.
    Raises: nothing of its own.
    Valid for: closed bodies, every edge between two faces.
    Source: each edge is run through once in each direction.
    Checked by: unit/test_vision_part_silhouette.py
    """
    points, triangles = surface(solid)
    corners = points[triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    ways = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.intp)
    face = np.tile(np.arange(len(triangles)), 3)
    key = ways.min(1) * len(points) + ways.max(1)
    order = np.argsort(key, kind="stable")
    first, second = order[::2], order[1::2]
    return Skin(
        points_mm=points,
        normals=normals,
        offsets=(normals * corners[:, 0]).sum(1),
        edges=ways[first],
        faces=np.column_stack([face[first], face[second]]),
    )


def silhouette(skin: Skin, camera_mm: FloatArray) -> FloatArray:
    """The outer edge of what a body hides of the paper it lies on.

    Parameters: skin; camera_mm : (3,) float [mm], in the skin's own frame.
    Returns: (n, 2) float [mm], skin's frame, anticlockwise.
    Raises: nothing of its own.
    Valid for: bodies lower than the camera.
    Source: the boundary of the faces turned to the camera, projected, filled where it runs round at least once.
    Checked by: unit/test_vision_part_silhouette.py
    """
    from manifold3d import CrossSection, FillRule, JoinType

    flat = shadow_mm(skin.points_mm, camera_mm)
    area = CrossSection([flat[ring] for ring in _rings(_rim(skin, camera_mm))], FillRule.Positive)
    # A slit too narrow for light to come through is no gap in a photo.
    closed = (
        area.simplify(_FINE_MM)
        .offset(_SLIT_MM, JoinType.Round, circular_segments=12)
        .offset(-_SLIT_MM, JoinType.Round, circular_segments=12)
    )
    return max((np.asarray(r, float) for r in closed.to_polygons()), key=ring_area_mm2)


def _rim(skin: Skin, camera_mm: FloatArray) -> IntArray:
    """The edges between faces that the camera sees and others, (k, 2) points in the order of the seen face."""
    seen = skin.normals @ camera_mm > skin.offsets
    one = seen[skin.faces[:, 0]]
    between = np.flatnonzero(one != seen[skin.faces[:, 1]])
    ways = skin.edges[between]
    return np.where(one[between, None], ways, ways[:, ::-1])


def _rings(ways: IntArray) -> list[list[int]]:
    """Closed walks along all the ways, each walked once; where several go on, which is taken does not matter."""
    onward: dict[int, int] = {}
    aside: dict[int, list[int]] = {}  # hardly a point has two ways onward
    for start, end in ways.tolist():
        if start in onward:
            aside.setdefault(start, []).append(onward[start])
        onward[start] = end
    rings = []
    for first in list(onward):
        while first in onward:
            at, ring = first, []
            while at in onward:
                ring.append(at)
                to = onward.pop(at)
                if aside.get(at):
                    onward[at] = aside[at].pop()
                at = to
            rings.append(ring)
    return rings


def ring_area_mm2(ring: FloatArray) -> float:
    """Area inside a closed line, positive when it runs anticlockwise with y up."""
    x, y = ring.T
    return float(x[:-1] @ y[1:] - x[1:] @ y[:-1] + x[-1] * y[0] - x[0] * y[-1]) / 2.0
