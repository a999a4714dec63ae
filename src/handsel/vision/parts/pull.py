"""A part's outline pulled onto the steps of light: place and turn, and size when asked, by least squares.

Along the normal of every point of the predicted outline the step of light is looked for (`steps`). After each
move that the camera would notice the solid's outline is predicted anew. A tall part's outline also hangs on how high
the camera stood: that is fitted with it, held by what the markers say of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import hypot, pi, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat
from handsel.vision.mat.patches import Patch
from handsel.vision.mat.view import MatView
from handsel.vision.parts.kinds import Pose, outline_seen
from handsel.vision.parts.steps import (
    EDGE_PX,
    ONE_VOICE_MM,
    PRINT_MM,
    SPACING_MM,
    Steps,
    most_said,
    outline_points,
    said_of,
    signed_to,
    steps_at,
)

FloatArray = npt.NDArray[np.float64]

# How far off a step may be and still count half [mm], round by round.
_CLEAR_REACHES, _FAINT_REACHES, _SETTLED = (
    (1.6, 1.2, 0.8, 0.6, 0.6),
    (1.3, 0.9, 0.7, 0.6, 0.6),
    (0.7, 0.6, 0.6),
)
_LAST_REACH = 0.8  # when it is asked how well all fits
LEAST_STEPS = 12  # fewer points with a step tell neither place nor turn
_TALL_MM = 0.15  # by which what is not known of the camera's height moves an outline before it is fitted too
_ANOTHER_VIEW = 0.08  # a part's top moved by so much against its foot [mm] is seen anew
_MOST_TURN_RAD, _MOST_GROWTH, _MOST_HEIGHTS = (
    0.2,
    0.08,
    1.5,
)  # of one round, so that a stray step leads nowhere far


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
    matched_ratio: float  # share of the outline that can be seen whose step is where it should be
    shown_ratio: float  # share of the outline that can be seen: no printing below, no other part before it
    rms_mm: float  # of those
    outline_mm: FloatArray  # (n, 2) predicted, table frame
    inside_says: float = 0.0  # of what it says, by what is seen within the outline (`inside`)
    inside_most: float = 0.0  # of what it says at most


@dataclass(slots=True, kw_only=True, eq=False)
class _Laid:
    """A part as it is pulled about."""

    patch: Patch
    flat: Flat
    view: MatView
    pose: Pose
    at_mm: FloatArray
    turn_rad: float
    scale: float
    free_scale: bool
    inner: tuple[FloatArray, FloatArray] | None = None  # places on lines within the outline, and across them
    height_off: float = 0.0  # of the camera, relative
    u_scale: float = 0.0
    u_point: float = field(init=False)  # standard uncertainty of one step [mm]
    u_lift: float = field(init=False)  # what is not known of the camera's height, at the part's top [mm]
    lift: float = field(init=False)  # how far its top seems to move against its foot, as a share
    aside: float = field(init=False)  # how far it reaches from under the camera [mm]
    outline: FloatArray = field(init=False)
    strayed: float = 0.0  # how far the outline is from being what the camera sees [mm]

    def __post_init__(self) -> None:
        camera = self.view.at_mm
        # Far from the camera a pixel covers more.
        px_per_mm = min(self.flat.px_per_mm, self.view.px_per_mm_at(self.at_mm))
        self.u_point = hypot(PRINT_MM, EDGE_PX / px_per_mm)
        self.lift = self.pose.height_mm / max(float(camera[2]) - self.pose.height_mm, 50.0)
        self.aside = float(np.linalg.norm(self.at_mm - camera[:2])) + 0.5 * pose_span_mm(self.pose)
        # What the camera's own height leaves open moves a tall part's upper edges: they say how high it stood.
        self.u_lift = self.view.u_height_ratio * self.lift * (1.0 + self.lift) * self.aside
        self.outline = self.predicted()

    @property
    def is_tall(self) -> bool:
        return self.u_lift > _TALL_MM

    def predicted(self, height_ratio: float = 0.0) -> FloatArray:
        """The outline from where the camera is, or from so much higher."""
        at = self.view.at_mm * [1.0, 1.0, 1.0 + self.height_off + height_ratio]
        return outline_seen(
            self.pose, at_mm=self.at_mm, turn_rad=self.turn_rad, camera_mm=at, scale=self.scale
        )

    def pull(self, reach: float) -> bool:
        """One round; False when hardly a step is near."""
        # A small move carries the outline along; after a large one the camera sees another.
        if self.strayed > _ANOTHER_VIEW:
            self.outline, self.strayed = self.predicted(), 0.0
        points, normals = outline_points(self.outline)
        # What is not known of the camera's height would move lines at other heights otherwise than the outline.
        if self.inner is not None and not self.is_tall:
            points, normals = (np.vstack(pair) for pair in zip((points, normals), self.inner, strict=True))
        steps = steps_at(self.flat, self.patch, points, normals, reach)
        if steps.there.sum() < LEAST_STEPS:
            return False
        pivot = points.mean(0)
        rows = self._rows(points, normals, points - pivot)
        off, there = steps.off_mm, steps.there
        scatter = max(self.u_point, float(np.median(np.abs(off[there]))))
        weight = there / (1.0 + (off / (2.0 * scatter)) ** 2)
        normal = rows.T @ (rows * weight[:, None]) + 1e-6 * np.eye(rows.shape[1])
        right = rows.T @ (weight * np.where(there, off, 0.0))
        if self.is_tall:  # in units of what is known of the height beforehand, counted as neighbours are
            known = scatter**2 * ONE_VOICE_MM / SPACING_MM
            normal[-1, -1] += known
            right[-1] -= known * self.height_off / self.view.u_height_ratio
        self._move(np.asarray(np.linalg.solve(normal, right), float), pivot)
        if self.free_scale:
            share = ONE_VOICE_MM / SPACING_MM
            self.u_scale = sqrt(float(np.linalg.inv(normal)[3, 3]) * share) * scatter
        return True

    def _rows(self, points: FloatArray, normals: FloatArray, arm: FloatArray) -> FloatArray:
        """How each point moves outward with place, turn, size and the camera's height."""
        rows = np.column_stack([normals, arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]])
        if self.free_scale:
            rows = np.column_stack([rows, (arm * normals).sum(1)])
        if self.is_tall:
            higher = self.predicted(self.view.u_height_ratio)
            rows = np.column_stack([rows, signed_to(points, higher)])
        return rows

    def _move(self, step: FloatArray, pivot: FloatArray) -> None:
        if self.is_tall:
            self.height_off += self.view.u_height_ratio * _held(step[-1], _MOST_HEIGHTS)
            self.strayed = 2 * _ANOTHER_VIEW
        more = _held(step[2], _MOST_TURN_RAD)
        grow = 1.0 + (_held(step[3], _MOST_GROWTH) if self.free_scale else 0.0)
        way = grow * np.array([[np.cos(more), np.sin(more)], [-np.sin(more), np.cos(more)]])
        self.at_mm = pivot + step[:2] + (self.at_mm - pivot) @ way
        self.outline = pivot + step[:2] + (self.outline - pivot) @ way
        if self.inner is not None:
            at, across = self.inner
            self.inner = (pivot + step[:2] + (at - pivot) @ way, across @ way / grow)
        self.turn_rad, self.scale = self.turn_rad + more, self.scale * grow
        # How far the top of the part moves against its foot, as the camera sees it.
        moved = float(np.linalg.norm(step[:2])) + self.aside * (abs(more) + abs(grow - 1.0))
        self.strayed += self.lift * moved


def _held(value: float, most: float) -> float:
    return min(max(float(value), -most), most)


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
    inner: tuple[FloatArray, FloatArray] | None = None,
) -> Fit | None:
    """One explanation pulled onto the steps of light, and what it says.

    Parameters: patch; flat; view; index of the kind; pose; at_mm : (2,) float [mm]; turn_rad [rad]; scale [-] in
        printed millimetres; free_scale; base, the scale that stands for the ordered size [-]; settled, whether it
        has been pulled onto the steps before and only the size is to be freed; inner, lines within the outline as
        `inner_lines` gives them, to be pulled onto their steps with it.
    Returns: Fit, or None when hardly a step is near.
    Raises: nothing of its own.
    Valid for: starts within about 2 mm.
    Source: Gauss-Newton with weights of a Student's kind.
    Checked by: unit/test_vision_parts.py
    """
    laid = _Laid(
        patch=patch,
        flat=flat,
        view=view,
        pose=pose,
        at_mm=at_mm,
        turn_rad=turn_rad,
        scale=scale,
        free_scale=free_scale,
        inner=inner,
    )
    for reach in _SETTLED if settled else _CLEAR_REACHES if patch.certain else _FAINT_REACHES:
        if not laid.pull(reach):
            return None
    outline = laid.predicted()
    points, normals = outline_points(outline)
    steps = steps_at(flat, patch, points, normals, _LAST_REACH)
    u_all = laid.u_point if laid.is_tall else hypot(laid.u_point, 0.5 * laid.u_lift)
    says, matched = said_of(steps, points, patch, flat, outline, u_all)
    return Fit(
        kind=index,
        pose=pose,
        at_mm=laid.at_mm,
        turn_rad=float(laid.turn_rad % (2 * pi)),
        scale=laid.scale / base,
        u_scale=laid.u_scale / base,
        says=says,
        most_says=most_said(steps, u_all, both=patch.certain),
        matched_ratio=matched,
        shown_ratio=float((~steps.silent).mean()),
        rms_mm=_rms(steps, u_all),
        outline_mm=outline,
    )


def as_ordered(
    patch: Patch,
    flat: Flat,
    view: MatView,
    *,
    index: int,
    pose: Pose,
    at_mm: FloatArray,
    turn_rad: float,
    base: float,
) -> Fit | None:
    """One explanation at the ordered size, pulled onto the steps of light.

    Parameters: as `refined`.
    Returns: Fit, or None when hardly a step is near.
    Raises: nothing of its own.
    Valid for: starts within about 2 mm.
    Source: `refined`.
    Checked by: unit/test_vision_parts_faint.py
    """
    return refined(
        patch,
        flat,
        view,
        index=index,
        pose=pose,
        at_mm=at_mm,
        turn_rad=turn_rad,
        scale=base,
        free_scale=False,
        base=base,
    )


def _rms(steps: Steps, u: float) -> float:
    """How far off those steps are that are where they should be [mm]."""
    good = steps.off_mm[steps.there & (np.abs(steps.off_mm) < 3.0 * u)]
    return sqrt(float((good**2).mean())) if len(good) else 3.0 * u


def foot_of(fit: Fit, print_ratio: float) -> FloatArray:
    """What a fitted part covers of the paper, seen from straight above.

    Parameters: fit; print_ratio, size of the printed mat against what it should be [-].
    Returns: (n, 2) float [mm], table frame, printed millimetres.
    Raises: nothing of its own.
    Valid for: any fit.
    Source: the pose's outline from above, sized, turned and moved.
    Checked by: unit/test_vision_parts_joined.py
    """
    c, s = np.cos(fit.turn_rad), np.sin(fit.turn_rad)
    foot: FloatArray = fit.scale / print_ratio * fit.pose.outline_mm @ np.array([[c, s], [-s, c]]) + fit.at_mm
    return foot


def pose_span_mm(pose: Pose) -> float:
    """Longest side of the upright box round a pose's outline [mm]."""
    return float(np.ptp(pose.outline_mm, axis=0).max())
