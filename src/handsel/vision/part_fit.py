"""Which part, lying how and where, explains an outline: the solid's outline laid on the picture and pulled onto edges.

First roughly, on the outline of the patch or, where that is part and shadow in one, on all edges near it. Then the
best few finely: along the normal of every point of the predicted outline the strongest step of light is looked for,
place and turn (and size, when asked) follow by least squares, and the solid's outline is predicted anew from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat_flat import Flat, Patch
from handsel.vision.mat_view import MatView
from handsel.vision.part_kinds import Kind, Pose, even_points, outline_seen
from handsel.vision.part_silhouette import ring_area_mm2

FloatArray = npt.NDArray[np.float64]

_SPACING_MM = 0.7  # between points of an outline
_REACH_MM = 2.2  # to either side of it that is searched
_RANDOM_MM = 2 * _REACH_MM  # a step by chance may be anywhere in it
_PRINT_MM = 0.13  # by which printed edges stray: elephant's foot, layers
_EDGE_PX = 0.30  # by which a read step strays
_STRAY = 0.06  # share of the points whose step belongs to something else
_ONE_VOICE_MM = 2.6  # neighbours nearer than this err together
_NO_STEP = (-1.2, -0.35)  # what a point without any step says: on a clear outline, on a faint one
_LEAST_STEP = 0.06  # of the paper's light
_LUMA, _COLOUR_SAYS = np.array([0.299, 0.587, 0.114]), 0.8
_BY_MASK_MM = 0.45
# How far off a step may be and still count half [mm], round by round.
_CLEAR_REACHES, _FAINT_REACHES, _SETTLED = (
    (1.6, 1.2, 0.8, 0.6, 0.6),
    (1.3, 0.9, 0.7, 0.6, 0.6),
    (0.7, 0.6, 0.6),
)
# Areas of a patch against a part's predicted one that are looked at: a mask may lose a rim, and a faint one is
# part and shadow together. Narrower, and true parts under a hard lamp are missed.
_CLEAR_AREA, _FAINT_AREA = (0.60, 1.55), (0.60, 3.0)
_TALL_MM = 0.15  # by which what is not known of the camera's height moves an outline before it is fitted too
_OTHER_FORM = 2.0  # lengths against widths that differ by so much are not the same form
_ANOTHER_VIEW = 0.08  # a part's top moved by so much against its foot [mm] is seen anew
_SEARCH_MM, _SAME_VIEW_RAD = 1.0, 0.15  # steps of a search; turned by less, an outline is not predicted anew
_SEARCH_POINTS, _EDGE_BY_CHANCE = 60, 0.25  # places along an outline; how steep they are by chance
_CLEAR_PER_MM = 0.10  # slope of a clear edge, blurred as a search needs it [1/mm]
_PULLS = 6  # steps in which an outline slides onto another
_FAR_WORSE = 3.0  # times the best rough miss: what misses more is not looked at finely
_OUTSIDE = 0.55  # an outline point of the patch this far off [mm] is not explained


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """One explanation of a patch."""

    kind: int  # index of the kind
    pose: Pose
    at_mm: FloatArray  # (2,) of the part's middle, table frame
    turn_rad: float
    scale: float  # against the ordered size
    u_scale: float  # standard uncertainty from the edges alone
    says: float  # log likelihood ratio against something unknown lying there
    most_says: float  # what an outline of this length says when all of it is where it should be
    matched_ratio: float  # share of the outline whose step is where it should be
    rms_mm: float  # of those
    outline_mm: FloatArray  # (n, 2) predicted, table frame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Field:
    """Distances around a patch on a grid: signed to its outline, and to the nearest edge of any sort."""

    low: FloatArray  # (2,) [mm] of the first pixel's centre
    per_mm: float
    signed: npt.NDArray[np.float32]  # (h, w) [mm], positive outside
    slopes: npt.NDArray[np.float32]  # (h, w, 3) the same with its slope along x and y [-]
    steep_x: npt.NDArray[np.float32]  # (h, w) how steeply light changes along x, 1 at a clear edge [-]
    steep_y: npt.NDArray[np.float32]

    def at(self, values: npt.NDArray[np.float32], points: FloatArray) -> FloatArray:
        index = self.index(points)
        x = np.minimum(np.maximum(index[..., 0], 0), values.shape[1] - 1)
        y = np.minimum(np.maximum(index[..., 1], 0), values.shape[0] - 1)
        result: FloatArray = values[y, x].astype(float)
        return result

    def index(self, points: FloatArray) -> npt.NDArray[np.intp]:
        """Column and row of points [mm]."""
        return ((points - self.low) * self.per_mm + 0.5).astype(np.intp)

    def shifted(
        self, values: npt.NDArray[np.float32], at: npt.NDArray[np.intp], moves: npt.NDArray[np.intp]
    ) -> npt.NDArray[np.float32]:
        """Values under n places that are moved m ways, in whole columns and rows: (m, n)."""
        width = values.shape[1]
        flat = (at[:, 1] * width + at[:, 0])[None] + (moves[:, 1] * width + moves[:, 0])[:, None]
        found: npt.NDArray[np.float32] = values.ravel().take(flat, mode="clip")
        return found


def _field(flat: Flat, patch: Patch) -> _Field:
    import cv2

    per_mm, rim = 2.0, 14.0
    low = patch.outline_mm.min(0) - rim
    wide, high = np.ceil((np.ptp(patch.outline_mm, axis=0) + 2 * rim) * per_mm).astype(int)
    mask = np.zeros((high, wide), np.uint8)
    cv2.fillPoly(mask, [np.rint((patch.outline_mm - low) * per_mm).astype(np.int32)], 1)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    x, y = np.meshgrid(low[0] + np.arange(wide) / per_mm, low[1] + np.arange(high) / per_mm)
    light = cv2.GaussianBlur(
        flat.at(np.stack([x, y], -1)).astype(np.float32), (0, 0), _SEARCH_MM * per_mm / 2
    )
    # Of the three colours the one that changes most.
    steep = [cv2.Sobel(light, cv2.CV_32F, *way) / 8 * per_mm / _CLEAR_PER_MM for way in ((1, 0), (0, 1))]
    most = np.hypot(*steep).argmax(2)[..., None]
    steep_x, steep_y = (np.take_along_axis(one, most, 2)[..., 0].astype(np.float32) for one in steep)
    signed = (outside - inside) / per_mm
    smooth = cv2.GaussianBlur(signed, (0, 0), 1.0)
    ways = (cv2.Sobel(smooth, cv2.CV_32F, *way) / 8 * per_mm for way in ((1, 0), (0, 1)))
    return _Field(
        low=low,
        per_mm=per_mm,
        signed=signed,
        slopes=np.stack([signed, *ways], -1),
        steep_x=steep_x,
        steep_y=steep_y,
    )


def fits_of(
    patch: Patch,
    kinds: tuple[Kind, ...],
    flat: Flat,
    view: MatView,
    *,
    print_ratio: float,
    free_scale: bool = False,
) -> tuple[Fit, ...]:
    """The explanations of a patch by parts, the best first.

    Parameters: patch; kinds of the kit; flat; view, of the same photo; print_ratio, size of the printed mat
        against what it should be [-]; free_scale, whether the part may have another size than ordered.
    Returns: up to eight Fits of different kinds, poses and mirror images, by what they say.
    Raises: nothing of its own.
    Valid for: parts that do not overlap in the picture.
    Source: own construction; see the module.
    Checked by: unit/test_vision_parts.py
    """
    field = _field(flat, patch)
    # One printed millimetre is `print_ratio` true ones: true parts look larger on a mat that shrank.
    base = 1.0 / print_ratio
    rough = []
    middle = patch.outline_mm.min(0) * 0.5 + patch.outline_mm.max(0) * 0.5
    extent = float(np.linalg.norm(np.ptp(patch.outline_mm, axis=0)))
    axis = _axis(even_points(patch.outline_mm, 120))[0]
    for index, kind in enumerate(kinds):
        # A part of another size is looked for as it is mostly laid.
        for pose in (
            [p for p in kind.poses if p.on_flat_side or p is kind.poses[0]] if free_scale else kind.poses
        ):
            if not _of_a_size(pose, patch.area_mm2, middle, view, free_scale=free_scale):
                continue
            turn = axis - _axis(even_points(pose.outline_mm, 120))[0]
            outline = outline_seen(
                pose, at_mm=middle, turn_rad=turn, camera_mm=view.at_mm, scale=base, rough=True
            )
            area = ring_area_mm2(outline)
            ratio = patch.area_mm2 / area
            scale = base
            if free_scale:
                if not patch.certain or not 0.36 < ratio < 2.6:
                    continue
                scale = base * sqrt(ratio)
            elif not _CLEAR_AREA[0] < ratio < (_CLEAR_AREA if patch.certain else _FAINT_AREA)[1]:
                continue
            if not free_scale and float(np.linalg.norm(np.ptp(outline, axis=0))) > 1.35 * extent + 4.0:
                continue
            if patch.certain:
                starts = _starts(patch, field, pose, scale, view)
            else:
                starts = _searched(patch, field, pose, scale, view)
            rough += [(cost, index, pose, at, turn, scale) for cost, at, turn in starts]
    rough.sort(key=lambda r: r[0])
    found: list[Fit] = []
    per_pose: dict[int, int] = {}
    most = 4 if free_scale else 8 if patch.certain else 12
    for cost, index, pose, at, turn, scale in rough:
        if len(found) >= most or (found and patch.certain and cost > _FAR_WORSE * max(rough[0][0], 0.3)):
            break
        if per_pose.get(id(pose), 0) >= 2:
            continue
        per_pose[id(pose)] = per_pose.get(id(pose), 0) + 1
        fit = refined(
            patch,
            flat,
            view,
            index=index,
            pose=pose,
            at_mm=at,
            turn_rad=turn,
            scale=scale,
            free_scale=free_scale,
            base=base,
        )
        if fit is not None:
            found.append(fit)
    return tuple(sorted(found, key=lambda f: -f.says)[:8])


def _of_a_size(pose: Pose, area_mm2: float, middle: FloatArray, view: MatView, *, free_scale: bool) -> bool:
    """Whether a part lying so can be what has this area at all: what its sides add is at most their whole width."""
    if free_scale:
        return True
    lift = pose.height_mm / max(float(view.at_mm[2]) - pose.height_mm, 50.0)
    least = ring_area_mm2(pose.outline_mm)
    across = float(np.linalg.norm(np.ptp(pose.outline_mm, axis=0)))
    aside = float(np.linalg.norm(middle - view.at_mm[:2]))
    most = least * (1.0 + lift) ** 2 + across * lift * aside
    return area_mm2 > 0.9 * _CLEAR_AREA[0] * least and area_mm2 < 1.1 * _FAINT_AREA[1] * most


def _axis(points: FloatArray) -> tuple[float, float]:
    """Direction of the longer axis of an outline's points, and how much longer it is."""
    d = points - points.mean(0)
    cov = d.T @ d
    values = np.linalg.eigvalsh(cov)
    return 0.5 * float(np.arctan2(2 * cov[0, 1], cov[0, 0] - cov[1, 1])), float(
        sqrt(values[1] / max(values[0], 1e-9))
    )


def _starts(
    patch: Patch, field: _Field, pose: Pose, scale: float, view: MatView
) -> list[tuple[float, FloatArray, float]]:
    """Places and turns that lay a pose's outline on the patch's, with how far they miss [mm]."""
    mine = even_points(patch.outline_mm, 120)
    axis, longer = _axis(mine)
    middle = mine.mean(0)
    own, own_longer = _axis(even_points(pose.outline_mm, 120))
    first = axis - own
    turns = [first, first + pi]
    if min(longer, own_longer) < 1.25:
        turns = [first + k * pi / 6 for k in range(12)]
    elif min(longer, own_longer) < 1.6:
        turns += [first + t for t in (-0.35, 0.35, pi - 0.35, pi + 0.35)]
    if max(longer, own_longer) > _OTHER_FORM * min(longer, own_longer):
        return []
    found = []
    for turn in turns:
        outline = outline_seen(
            pose, at_mm=middle, turn_rad=turn, camera_mm=view.at_mm, scale=scale, rough=True
        )
        points = even_points(outline, 90)
        at = middle + mine.mean(0) - points.mean(0)
        points = points + (at - middle)
        moved, more, cost = _pulled(field, points)
        pivot = points.mean(0)
        c, s = np.cos(more), np.sin(more)
        at = pivot + moved + (at - pivot) @ np.array([[c, s], [-s, c]])
        back = np.abs(_to_outline(mine[::2], _moved(points, pivot, moved, more)))
        cost = sqrt(0.5 * cost**2 + 0.5 * float((np.minimum(back, 4.0) ** 2).mean()))
        found.append((cost, at, turn + more))
    found.sort(key=lambda f: f[0])
    return found[:2]


def _moved(points: FloatArray, pivot: FloatArray, shift: FloatArray, turn: float) -> FloatArray:
    c, s = np.cos(turn), np.sin(turn)
    result: FloatArray = (points - pivot) @ np.array([[c, s], [-s, c]]) + pivot + shift
    return result


def _to_outline(points: FloatArray, outline: FloatArray) -> FloatArray:
    """Distance of points to the nearest of an outline's points [mm]."""
    square = (points**2).sum(1)[:, None] + (outline**2).sum(1)[None] - 2.0 * points @ outline.T
    result: FloatArray = np.sqrt(np.maximum(square.min(1), 0.0))
    return result


def _pulled(field: _Field, points: FloatArray) -> tuple[FloatArray, float, float]:
    """Shift, turn and rms distance [mm] after sliding points onto the patch's outline."""
    pivot = points.mean(0)
    shift, turn = np.zeros(2), 0.0
    for _ in range(_PULLS):
        now = _moved(points, pivot, shift, turn)
        off, along_x, along_y = np.moveaxis(field.at(field.slopes, now), -1, 0)
        arm = now - pivot - shift
        rows = np.column_stack([along_x, along_y, along_y * arm[:, 0] - along_x * arm[:, 1]])
        weight = 1.0 / (1.0 + (off / 1.5) ** 2)
        normal = rows.T @ (rows * weight[:, None]) + np.diag([0.5, 0.5, 20.0])
        step = np.linalg.solve(normal, -rows.T @ (weight * off))
        shift, turn = shift + step[:2], turn + min(max(float(step[2]), -0.3), 0.3)
    off = field.at(field.signed, _moved(points, pivot, shift, turn))
    return shift, turn, sqrt(float((np.minimum(np.abs(off), 4.0) ** 2).mean()))


def _searched(
    patch: Patch, field: _Field, pose: Pose, scale: float, view: MatView
) -> list[tuple[float, FloatArray, float]]:
    """Places and turns within a patch that is part and shadow where edges run along a pose's outline.

    The first number is the worse the higher: minus the length of outline [mm] that has an edge beyond chance.
    """
    low, high = patch.outline_mm.min(0), patch.outline_mm.max(0)
    middle = (low + high) / 2
    axis, longer = _axis(even_points(patch.outline_mm, 120))
    own, own_longer = _axis(even_points(pose.outline_mm, 120))
    turns = np.arange(45) * (2 * pi / 45)
    if min(longer, own_longer) > 1.5:
        half = np.arange(-5, 6) * np.radians(7.0)
        turns = axis - own + np.r_[half, half + pi]
    found = []
    step = round(_SEARCH_MM * field.per_mm)
    for k, turn in enumerate(turns):
        if k % 2 == 0 or abs(turn - turns[k - 1]) > _SAME_VIEW_RAD:
            outline = outline_seen(
                pose, at_mm=middle, turn_rad=float(turn), camera_mm=view.at_mm, scale=scale, rough=True
            )
        else:  # so little turned, the camera sees nearly the same
            outline = _moved(outline, middle, np.zeros(2), float(turn - turns[k - 1]))
        points, normals, run = _along(outline, _SEARCH_POINTS)
        room = (low - points.min(0) - 2.0, high - points.max(0) + 2.0)
        if (room[1] < room[0]).any():
            continue
        first, last = (np.rint(r * field.per_mm).astype(int) for r in room)
        ways = (np.arange(a, b + 1, step) for a, b in zip(first, last, strict=True))
        moves = np.stack(np.meshgrid(*ways), -1).reshape(-1, 2)
        at = field.index(points)
        moves = moves[(field.shifted(field.signed, at[::3], moves) < 1.0).mean(1) > 0.9]
        if not len(moves):
            continue
        edge = field.shifted(field.steep_x, at, moves) * normals[:, 0]
        edge += field.shifted(field.steep_y, at, moves) * normals[:, 1]
        cost = run * (_EDGE_BY_CHANCE - np.minimum(np.abs(edge), 1.0).mean(1))
        found += [(float(cost[m]), middle + moves[m] / field.per_mm, float(turn)) for m in cost.argsort()[:2]]
    found.sort(key=lambda f: f[0])
    return found[:3]


def _along(outline: FloatArray, count: int) -> tuple[FloatArray, FloatArray, float]:
    """Points at equal distances along an outline, its outward normals there, and its length [mm]."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    points = even_points(outline, count)
    along = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return points, np.column_stack([along[:, 1], -along[:, 0]]), run


def refined(
    patch: Patch,
    flat: Flat,
    view: MatView,
    *,
    index: int,
    pose: Pose,
    at_mm: FloatArray,
    turn_rad: float,
    scale: float,
    free_scale: bool,
    base: float,
    settled: bool = False,
) -> Fit | None:
    """One explanation pulled onto the steps of light, and what it says.

    Parameters: patch; flat; view; index of the kind; pose; at_mm : (2,) float [mm]; turn_rad [rad]; scale [-] in
        printed millimetres; free_scale; base, the scale that stands for the ordered size [-]; settled, whether it
        has been pulled onto the steps before and only the size is to be freed.
    Returns: Fit, or None when hardly a step is near.
    Raises: nothing of its own.
    Valid for: starts within about 2 mm.
    Source: Gauss-Newton with weights of a Student's kind.
    Checked by: unit/test_vision_parts.py
    """
    u_point = hypot(_PRINT_MM, _EDGE_PX / flat.px_per_mm)
    u_scale = 0.0
    reaches = _SETTLED if settled else _CLEAR_REACHES if patch.certain else _FAINT_REACHES

    camera = view.at_mm
    lift = pose.height_mm / max(float(camera[2]) - pose.height_mm, 50.0)
    aside = float(np.linalg.norm(at_mm - camera[:2])) + 0.5 * pose_span_mm(pose)
    # What the camera's own height leaves open moves a tall part's upper edges: they say how high it stood.
    u_lift = view.u_height_ratio * lift * (1.0 + lift) * aside
    is_tall, height_off = u_lift > _TALL_MM, 0.0

    def predicted(height_ratio: float = 0.0) -> FloatArray:
        at = camera * [1.0, 1.0, 1.0 + height_off + height_ratio]
        return outline_seen(pose, at_mm=at_mm, turn_rad=turn_rad, camera_mm=at, scale=scale)

    outline, strayed = predicted(), 0.0
    for reach in reaches:
        # A small move carries the outline along; after a large one the camera sees another.
        if strayed > _ANOTHER_VIEW:
            outline, strayed = predicted(), 0.0
        points, normals = _points(outline)
        off, there = _steps(flat, points, normals, reach)
        if there.sum() < 12:
            return None
        pivot = points.mean(0)
        arm = points - pivot
        rows = np.column_stack([normals, arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]])
        if free_scale:
            rows = np.column_stack([rows, (arm * normals).sum(1)])
        if is_tall:
            higher = predicted(view.u_height_ratio)
            rows = np.column_stack([rows, _signed_to(points, higher)])
        scatter = max(u_point, 1.0 * float(np.median(np.abs(off[there]))))
        weight = there / (1.0 + (off / (2.0 * scatter)) ** 2)
        normal = rows.T @ (rows * weight[:, None]) + 1e-6 * np.eye(rows.shape[1])
        right = rows.T @ (weight * np.where(there, off, 0.0))
        if is_tall:  # in units of what is known of the height beforehand, counted as neighbours are
            known = scatter**2 * _ONE_VOICE_MM / _SPACING_MM
            normal[-1, -1] += known
            right[-1] -= known * height_off / view.u_height_ratio
        step = np.linalg.solve(normal, right)
        if is_tall:
            height_off += view.u_height_ratio * min(max(float(step[-1]), -1.5), 1.5)
            strayed = 2 * _ANOTHER_VIEW
        more = min(max(float(step[2]), -0.2), 0.2)
        grow = 1.0 + (min(max(float(step[3]), -0.08), 0.08) if free_scale else 0.0)
        way = grow * np.array([[np.cos(more), np.sin(more)], [-np.sin(more), np.cos(more)]])
        at_mm = pivot + step[:2] + (at_mm - pivot) @ way
        outline = pivot + step[:2] + (outline - pivot) @ way
        turn_rad, scale = turn_rad + more, scale * grow
        # How far the top of the part moves against its foot, as the camera sees it.
        strayed += lift * (float(np.linalg.norm(step[:2])) + aside * (abs(more) + abs(grow - 1.0)))
        if free_scale:
            share = _ONE_VOICE_MM / _SPACING_MM
            u_scale = sqrt(float(np.linalg.inv(normal)[3, 3]) * share) * scatter
    outline = predicted()
    points, normals = _points(outline)
    off, there = _steps(flat, points, normals, 0.8)
    u_all = u_point if is_tall else hypot(u_point, 0.5 * u_lift)
    # Where colour has told the thing from its surroundings, a faint step there is no surprise.
    by_mask = np.zeros(len(points), bool)
    if patch.certain:
        dense = even_points(patch.outline_mm, max(200, 3 * len(points)))
        by_mask = _to_outline(points, dense) < _BY_MASK_MM
    says = _said(off, there, u_all, clear=patch.certain, by_mask=by_mask)
    if patch.certain:
        says = 0.5 * (says + _said_back(patch.outline_mm, outline, u_all))
    good = there & (np.abs(off) < 3.0 * u_all)
    return Fit(
        kind=index,
        pose=pose,
        at_mm=at_mm,
        turn_rad=float(turn_rad % (2 * pi)),
        scale=scale / base,
        u_scale=u_scale / base,
        says=says,
        most_says=len(points) * _SPACING_MM / _ONE_VOICE_MM * _most_said(u_all, both=patch.certain),
        matched_ratio=float((good | by_mask).mean()),
        rms_mm=sqrt(float((off[good] ** 2).mean())) if good.any() else 9.9,
        outline_mm=outline,
    )


def pose_span_mm(pose: Pose) -> float:
    """Longest side of the upright box round a pose's outline [mm]."""
    return float(np.ptp(pose.outline_mm, axis=0).max())


def _signed_to(points: FloatArray, outline: FloatArray) -> FloatArray:
    """Distance from points to a closed line [mm], positive where the line runs outside of them."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    far = _to_outline(points, even_points(outline, max(120, round(run / 0.25))))
    return np.where(_inside(points, outline), far, -far)


def _points(outline: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points at equal distances along an outline, and its outward normals there."""
    run = float(np.linalg.norm(np.roll(outline, -1, 0) - outline, axis=1).sum())
    return _along(outline, max(24, round(run / _SPACING_MM)))[:2]


def _steps(
    flat: Flat, points: FloatArray, normals: FloatArray, reach: float
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """How far out along its normal each point's step of light is [mm], and whether there is one."""
    step = 0.5 / flat.px_per_mm
    offsets = np.arange(-_REACH_MM, _REACH_MM + step / 2, step)
    # In light itself, not its logarithm, a blurred step keeps its middle.
    light = flat.ratio_at(points[:, None] + offsets[None, :, None] * normals[:, None])
    light = 0.5 * light + 0.25 * (np.roll(light, 1, 0) + np.roll(light, -1, 0))
    gap = 2
    # Photo files keep colour at half the sharpness: it helps to see an edge, and says less of where it is.
    luma = light @ _LUMA
    own = light - luma[..., None]
    by_colour = np.linalg.norm(own[:, 2 * gap :] - own[:, : -2 * gap], axis=2) / sqrt(3.0)
    change = np.hypot(luma[:, 2 * gap :] - luma[:, : -2 * gap], _COLOUR_SAYS * by_colour)
    # In shadow the same edge is a smaller step of light.
    lit = np.maximum(luma[:, 2 * gap :], luma[:, : -2 * gap])
    change = change * 1.25 / (0.25 + np.clip(lit, 0.0, 1.0))
    at = offsets[gap:-gap]
    peak = np.zeros_like(change, bool)
    peak[:, 1:-1] = (change[:, 1:-1] >= change[:, :-2]) & (change[:, 1:-1] > change[:, 2:])
    strong = peak & (change > max(_LEAST_STEP, 3.5 * flat.unlit / 2))
    likes = np.where(strong, np.minimum(change, 0.6) * np.exp(-0.5 * (at / reach) ** 2), 0.0)
    k = likes.argmax(1)
    there = likes.max(1) > 0
    rows = np.arange(len(points))
    k_in = np.clip(k, 1, change.shape[1] - 2)
    a, b, c = change[rows, k_in - 1], change[rows, k_in], change[rows, k_in + 1]
    bend = a - 2 * b + c
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (a - c) / np.where(np.abs(bend) > 1e-9, bend, 1.0), 0.0)
    return at[k_in] + np.clip(shift, -1, 1) * step, there


def _said(
    off: FloatArray, there: npt.NDArray[np.bool_], u: float, *, clear: bool, by_mask: npt.NDArray[np.bool_]
) -> float:
    """Log likelihood ratio of all steps against steps by chance."""
    normal = np.exp(-0.5 * (off / u) ** 2) / (u * sqrt(2 * pi)) * _RANDOM_MM
    each = np.where(there, np.log((1 - _STRAY) * normal + _STRAY), _NO_STEP[0 if clear else 1])
    each = np.where(by_mask, np.maximum(each, 0.0), each)
    return float(each.sum()) * _SPACING_MM / _ONE_VOICE_MM


def _most_said(u: float, *, both: bool) -> float:
    """What one voice says of a step that is just where it should be; both: from the outline of what is seen too."""
    mine = log((1 - _STRAY) * _RANDOM_MM / (u * sqrt(2 * pi)) + _STRAY)
    back = log((1 - _STRAY) * _RANDOM_MM / (hypot(u, _OUTSIDE) * sqrt(2 * pi)) + _STRAY)
    return 0.5 * (mine + back) if both else mine


def _said_back(mine_mm: FloatArray, outline: FloatArray, u: float) -> float:
    """The same from what is seen of the thing itself: what lies outside the predicted outline is not explained."""
    run = float(np.linalg.norm(np.roll(mine_mm, -1, 0) - mine_mm, axis=1).sum())
    mine = even_points(mine_mm, max(24, round(0.85 * run / _SPACING_MM)))
    off = _to_outline(mine, even_points(outline, max(120, round(run / 0.25))))
    wide = hypot(u, _OUTSIDE)
    each = np.log(
        (1 - _STRAY) * np.exp(-0.5 * (off / wide) ** 2) / (wide * sqrt(2 * pi)) * _RANDOM_MM + _STRAY
    )
    return float(each.sum()) * _SPACING_MM / _ONE_VOICE_MM


def _inside(points: FloatArray, ring: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points a closed line runs round."""
    (x, y), (xa, ya) = points.T[:, :, None], ring.T[:, None]
    xb, yb = np.roll(xa, -1, 1), np.roll(ya, -1, 1)
    spans = (ya > y) != (yb > y)
    rise = np.where(spans, yb - ya, 1.0)
    crossed = spans & (x < xa + (y - ya) * (xb - xa) / rise)
    return np.asarray(crossed.sum(1) % 2 == 1)
