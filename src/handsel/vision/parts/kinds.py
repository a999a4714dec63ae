"""What a kit's parts are as shapes: alike parts as one kind, the faces each can lie on, and its outline from anywhere.

A part has height, so from a camera near by its outline is not its drawing from above: what it hides of the paper is
taken from the solid, each point moved away from the camera as far as its own height asks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from handsel.design.model import Design, Part
from handsel.design.outlines import flat_side_of
from handsel.design.placing import placed
from handsel.design.shapes import part_solid, surface
from handsel.design.solids import Solid, moved
from handsel.design.weights import solid_weight
from handsel.vision.parts.silhouette import Skin, ring_area_mm2, silhouette, skin_of

FloatArray = npt.NDArray[np.float64]

_FINE_MM, _ROUGH_MM = 0.04, 0.35  # detail that a photo never shows, and that a first look does not need
_ONE_FACE, _SAME_FACE = (
    0.9998,
    0.995,
)  # cosine between the pieces of a face, and faces that are one resting place
_MOST_POSES = 8
_STEADY = (0.4, 0.06)  # margin [mm], and as a share of the centre's height, below which a part falls over
_LEAST_FACE = 0.01  # of the largest face's area
_DIFFERENT = 0.020  # share of the area that two outlines alike may differ by
_HANDED = 0.01  # third moments, against the size cubed, from which a part belongs to one hand
# Six places in a triangle and their weights that integrate polynomials of degree four exactly (Strang and Fix).
_NEAR, _FAR = 0.445948490915965, 0.091576213509771
_INNER = np.array([[a if k != j else 1 - 2 * a for k in range(3)] for a in (_NEAR, _FAR) for j in range(3)])
_INNER_WEIGHT = np.repeat([0.223381589678011, 0.109951743655322], 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """One way in which a kind of part can lie, as ordered or as its mirror image."""

    mirrored: bool
    solid: Solid  # z up, lowest point at 0, its outline's middle at the origin [mm]
    height_mm: float
    outline_mm: FloatArray  # (n, 2) seen from straight above, anticlockwise
    on_flat_side: bool
    skin: Skin  # of the solid
    rough_skin: Skin  # of the solid without its finer detail


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kind:
    """Parts of a kit that are the same shape."""

    names: tuple[str, ...]  # of the design's parts
    titles: tuple[str, ...]
    count: int  # copies of all of them together
    has_side: bool  # whether a part of the other hand differs
    size_mm: float  # its longest way across
    poses: tuple[Pose, ...]

    @property
    def name(self) -> str:
        """One name for all."""
        return "/".join(self.names)


@lru_cache(maxsize=8)
def kinds_of(design: Design, scale_ratio: float, side: str) -> tuple[Kind, ...]:
    """The kinds of printed parts in a kit.

    Parameters: design, at scale 1 and right, as loaded; scale_ratio, size against the design [-]; side, "right"
        or "left".
    Returns: one Kind for each shape, in the design's order.
    Raises: OutOfRange for a scale or side that the design is not made for.
    Valid for: parts as printed, the cuff flat. Takes some seconds for the first kit of a scale.
    Source: solids of the design; statics for how they lie.
    Checked by: unit/test_vision_part_kinds.py
    """
    hand = placed(design, scale_ratio=scale_ratio, side=side)
    groups: list[tuple[Solid, list[Part]]] = []
    for part in (p for p in hand.parts if p.printed):
        solid = part_solid(hand, part)
        for other, members in groups:
            if _alike(solid, other):
                members.append(part)
                break
        else:
            groups.append((solid, [part]))
    return tuple(_kind(hand, solid, members) for solid, members in groups)


def _alike(a: Solid, b: Solid) -> bool:
    """Same frame, same body: parts made by one generator from the same measures."""
    if not np.allclose(a.bounding_box(), b.bounding_box(), atol=0.05):
        return False
    same = (
        abs(x - y) <= 2e-4 * x for x, y in ((a.volume(), b.volume()), (a.surface_area(), b.surface_area()))
    )
    return all(same)


def _kind(hand: Design, solid: Solid, members: list[Part]) -> Kind:
    flat = np.array(flat_side_of(hand, members[0]))
    poses = _resting(solid.as_original().simplify(_FINE_MM), flat)
    box = solid.bounding_box()
    has_side = handedness(solid) > _HANDED
    return Kind(
        names=tuple(p.name for p in members),
        titles=tuple(p.title for p in members),
        count=sum(p.count for p in members),
        has_side=has_side,
        size_mm=max(box[k + 3] - box[k] for k in range(3)),
        poses=poses + tuple(map(_mirror_image, poses)) if has_side else poses,
    )


def handedness(solid: Solid) -> float:
    """How far a body is from being its own mirror image.

    Parameters: solid.
    Returns: 0 for a body with a plane of symmetry; else the size of its third moments that no plane through its
        centre makes vanish, as a share of its size cubed [-].
    Raises: nothing of its own.
    Valid for: bodies whose sidedness shows in third moments, as a thumb's side does.
    Source: own construction; reflection turns the sign of moments that are odd across the plane.
    Checked by: unit/test_vision_part_kinds.py
    """
    points, triangles = surface(solid)
    corners = points[triangles]
    weight = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    at = np.einsum("qk,tkj->tqj", _INNER, corners).reshape(-1, 3)
    w = (weight[:, None] * _INNER_WEIGHT).ravel()
    w /= w.sum()
    at = at - w @ at
    values, axes = np.linalg.eigh((at * w[:, None]).T @ at)
    at = at @ axes / np.sqrt(values.sum())
    planes = [np.eye(3)[k] for k in range(3)]
    for i, j in ((0, 1), (1, 2)):
        if values[j] - values[i] < 0.05 * values[2]:  # round about the third axis: any plane through it
            planes += [
                np.eye(3)[i] * np.cos(t) + np.eye(3)[j] * np.sin(t) for t in np.arange(1, 36) * np.pi / 36
            ]
    left = []
    for normal in planes:
        odd = at @ normal
        flat = at - np.outer(odd, normal)
        once = (flat * (w * odd)[:, None]).T @ flat
        left.append(np.sqrt((once**2).sum() + (w @ odd**3) ** 2))
    return float(min(left))


def _mirror_image(pose: Pose) -> Pose:
    """As the other hand's part lies on the same face."""
    solid = pose.solid.mirror((0.0, 1.0, 0.0))
    return replace(
        pose,
        mirrored=True,
        solid=solid,
        outline_mm=pose.outline_mm[::-1] * [1, -1],
        skin=skin_of(solid),
        rough_skin=skin_of(solid.simplify(_ROUGH_MM)),
    )


def _resting(solid: Solid, flat: FloatArray) -> tuple[Pose, ...]:
    """The faces that a body stays on, the largest first, one of each look."""
    corners, faces = surface(solid.hull())
    centre = np.array(solid_weight(solid).com_mm)
    a, b, c = (corners[faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1) / 2.0
    normal, area = normal[area > 1e-6] / (2.0 * area[area > 1e-6, None]), area[area > 1e-6]
    alike = normal @ normal.T
    # A face is many triangles, and a sliver's own direction is poor: all of them together say where it looks.
    one_face = alike > _ONE_FACE
    whole = (one_face * area) @ normal
    whole /= np.linalg.norm(whole, axis=1)[:, None]
    together, own, area = alike > _SAME_FACE, area, one_face @ area
    left = np.ones(len(area), bool)
    poses: list[Pose] = []
    # The side that a design wants down first: it is never the one left out.
    is_flat = normal @ flat > _SAME_FACE
    for k in np.lexsort((-area, ~is_flat)):
        if not left[k] or area[k] < _LEAST_FACE * area.max():
            continue
        mine = one_face[k]
        left &= ~mine
        # Two faces that nearly agree may have no resting place between them: then their largest piece tells it.
        for down in (whole[k], normal[mine][own[mine].argmax()]):
            depth = corners @ down
            feet = corners[depth > depth.max() - 0.05]
            steady = max(_STEADY[0], _STEADY[1] * float(depth.max() - centre @ down))
            if _margin(feet, centre, down) >= steady:
                break
        else:
            continue
        height = float(np.ptp(depth))
        left &= ~together[k]
        if sum(abs(height - p.height_mm) < 0.1 for p in poses) >= 2:
            continue  # one more side of something nearly round
        pose = _laid(solid, down, on_flat_side=float(down @ flat) > _SAME_FACE)
        if not any(_same(pose, known) for known in poses):
            poses.append(pose)
        if len(poses) == _MOST_POSES:
            break
    return tuple(poses)


def _margin(feet: FloatArray, centre: FloatArray, down: FloatArray) -> float:
    """How far inside its feet the centre of mass stands [mm]."""
    x = np.cross(down, [1.0, 0.0, 0.0] if abs(down[0]) < 0.9 else [0.0, 1.0, 0.0])
    x /= np.linalg.norm(x)
    ways = np.linspace(0.0, 2.0 * np.pi, 37)[:-1]
    rim = np.outer(x, np.cos(ways)) + np.outer(np.cross(down, x), np.sin(ways))
    return float(((feet @ rim).max(0) - centre @ rim).min())


def _laid(solid: Solid, down: FloatArray, *, on_flat_side: bool) -> Pose:
    up = -down
    x = np.array([1.0, 0.0, 0.0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    x = x - up * (x @ up)
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, :3] = np.array([x, np.cross(up, x), up])
    laid = moved(solid, matrix)
    box = laid.bounding_box()
    laid = laid.translate((-(box[0] + box[3]) / 2, -(box[1] + box[4]) / 2, -box[2]))
    return Pose(
        mirrored=False,
        solid=laid,
        height_mm=box[5] - box[2],
        outline_mm=_outer(laid),
        on_flat_side=on_flat_side,
        skin=skin_of(laid),
        rough_skin=skin_of(laid.simplify(_ROUGH_MM)),
    )


def _outer(solid: Solid) -> FloatArray:
    """The outer edge of what a body covers, seen from straight above: (n, 2), anticlockwise."""
    rings = [np.asarray(r, float) for r in solid.project().to_polygons()]
    return max(rings, key=ring_area_mm2)


def _same(a: Pose, b: Pose) -> bool:
    """Whether two ways of lying look alike, seen from above and in height."""
    area = ring_area_mm2(a.outline_mm)
    if abs(area - ring_area_mm2(b.outline_mm)) > 0.02 * area or abs(a.height_mm - b.height_mm) > 0.3:
        return False
    from manifold3d import CrossSection, FillRule

    one = CrossSection([a.outline_mm], FillRule.Positive)
    start_a, start_b = (_axis_rad(p.outline_mm) for p in (a, b))
    middle_a, middle_b = (_middle(p.outline_mm) for p in (a, b))
    for turn in (0.0, np.pi):
        angle = start_a - start_b + turn
        c, s = np.cos(angle), np.sin(angle)
        other = CrossSection(
            [(b.outline_mm - middle_b) @ np.array([[c, s], [-s, c]]) + middle_a], FillRule.Positive
        )
        if (one + other).area() - (one ^ other).area() < _DIFFERENT * area:
            # What is above the outline counts too when the camera is near: the tops' places must agree.
            return _tops_agree(a, b, angle)
    return False


def _tops_agree(a: Pose, b: Pose, angle: float) -> bool:
    _c, _s = np.cos(angle), np.sin(angle)
    for share in (0.5, 0.85):
        cut_a, cut_b = (p.solid.slice(share * p.height_mm) for p in (a, b))
        turned_b = cut_b.translate(tuple(-_middle(b.outline_mm))).rotate(float(np.degrees(angle)))
        turned_b = turned_b.translate(tuple(_middle(a.outline_mm)))
        if (cut_a + turned_b).area() - (cut_a ^ turned_b).area() > _DIFFERENT * ring_area_mm2(a.outline_mm):
            return False
    return True


def _middle(ring: FloatArray) -> FloatArray:
    """Centre of the area inside."""
    x, y = ring.T
    cross = x * np.roll(y, -1) - y * np.roll(x, -1)
    total = 3.0 * cross.sum()
    sums: FloatArray = np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()])
    return sums / float(total)


def _axis_rad(ring: FloatArray) -> float:
    """Direction of the longer axis of the area inside, up to half a turn."""
    dense = even_points(ring, 200) - _middle(ring)
    cov = dense.T @ dense
    return 0.5 * float(np.arctan2(2 * cov[0, 1], cov[0, 0] - cov[1, 1]))


def even_points(ring: FloatArray, count: int) -> FloatArray:
    """(count, 2) points at equal distances along a closed line."""
    closed = np.vstack([ring, ring[:1]])
    run = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    at = (np.arange(count) + 0.5) * (run[-1] / count)
    return np.column_stack([np.interp(at, run, closed[:, k]) for k in (0, 1)])


def outline_seen(
    pose: Pose,
    *,
    at_mm: FloatArray,
    turn_rad: float,
    camera_mm: FloatArray,
    scale: float = 1.0,
    rough: bool = False,
) -> FloatArray:
    """The outer edge of what a lying part hides of the paper.

    Parameters: pose; at_mm : (2,) float [mm], place of its middle, table frame; turn_rad [rad], anticlockwise seen
        from above; camera_mm : (3,) float [mm], table frame; scale [-], of the whole part; rough, for a
        first look, good to 0.4 mm.
    Returns: (n, 2) float [mm], table frame, anticlockwise.
    Raises: nothing of its own.
    Valid for: parts lower than the camera.
    Source: projection of the solid from the camera's place.
    Checked by: unit/test_vision_part_kinds.py
    """
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    turn = np.array([[c, s], [-s, c]])  # rows of points times this turn anticlockwise
    # Seen from the part: a part of another size is the part itself from nearer or farther.
    camera = np.r_[(camera_mm[:2] - at_mm) @ turn.T, camera_mm[2]] / scale
    result: FloatArray = scale * silhouette(pose.rough_skin if rough else pose.skin, camera) @ turn + at_mm
    return result
