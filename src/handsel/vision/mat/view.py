"""Where the camera stood over a printed mat, and what a picture point is in millimetres on it.

Frames, besides those of the package: *sheet*, as in `mat` (mm, x right, y down); *table*, the same with y up and z
up from the paper (x, -y, 0), right-handed, in which parts stand. A thing that stands above the paper hides paper
away from the camera: what the photo shows of it is its shadow from the camera's place on the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import exp, log, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from handsel.errors import HandselError
from handsel.vision.camera import CENTRE_RATIO_SD, DISTORTION_SD, Lens, focal_px, project
from handsel.vision.mat.corners import refined_corners
from handsel.vision.mat.sheet import MATS, Mat, mat_of

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_LEAST_MARKERS = 4
_LEAST_SPREAD = 0.25  # of the mat's area inside the found markers
_CORNER_PX_SD = 0.12  # of a corner that a detector refines, before the photo is asked
_OFF_PX = 6.0  # a corner this far from where the others want it is not a corner of this mat
_LEAST_CELL_PX = 3.0
_MOST_TILT_DEG = 40.0
COUNT = 10  # turn 3, place 3, log focal length, k1, centre 2


class MatCause(StrEnum):
    """What keeps a photo of parts from being measured."""

    NO_MAT = "no mat"
    COVERED = "mat covered"
    TWO_MATS = "two mats"
    OBLIQUE = "too oblique"
    SMALL = "mat too small"
    NOT_FLAT = "mat not flat"
    UNKNOWN_SHEET = "sheet not recognised"


class MatRefused(HandselError):
    """A photo of parts that cannot be measured: `cause` for programs, the message for people."""

    def __init__(self, cause: MatCause, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where=where, do=do)
        self.cause = cause


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MatView:
    """The camera over the mat, lengths in the mat's own printed millimetres."""

    mat: Mat
    rotation: FloatArray  # (3, 3) table frame to camera frame
    at_mm: FloatArray  # (3,) camera, table frame
    f_px: float
    u_log_f: float  # standard uncertainty of the focal length's logarithm
    k1: float
    centre_px: FloatArray  # (2,)
    covariance: FloatArray  # (10, 10) of turn [rad], place [mm], log f, k1, centre [px]
    u_height_ratio: float  # of the camera's height, relative
    misfit_px: float  # rms of the corners
    marker_count: int
    tilt_deg: float  # of the camera's axis from straight down
    px_per_mm: float  # at the mat's middle

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Points of the table frame in the picture: (n, 3) [mm] to (n, 2) [px]."""
        seen = (points_mm - self.at_mm) @ self.rotation.T
        pixels: FloatArray = project(
            seen[None], np.array([self.f_px]), self.centre_px[None], np.array([self.k1])
        )[0]
        return pixels

    def sheet_to_px(self, points_mm: FloatArray) -> FloatArray:
        """Points of the sheet in the picture: (n, 2) [mm] to (n, 2) [px]."""
        return self.to_px(np.column_stack([points_mm[:, 0], -points_mm[:, 1], np.zeros(len(points_mm))]))

    def px_per_mm_at(self, table_mm: FloatArray) -> float:
        """Pixels a millimetre at one place of the paper, (2,) [mm] of the table frame, along the shorter way."""
        steps = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        px = self.to_px(np.column_stack([table_mm + steps, np.zeros(3)]))
        return float(np.linalg.svd(px[1:] - px[0], compute_uv=False)[-1])


def find_markers(gray: Gray) -> dict[int, list[FloatArray]]:
    """Corners of every marker of any mat.

    Parameters: gray : (h, w) uint8 [-].
    Returns: by number, (4, 2) float [px] for each time it is there, from the top left clockwise.
    Raises: nothing of its own.
    Valid for: markers from about 20 px side.
    Source: OpenCV's marker detector; corners from `corners`.
    Checked by: unit/test_vision_mat_view.py
    """
    import cv2

    found: dict[int, list[FloatArray]] = {}
    looks = (gray, np.asarray(cv2.createCLAHE(3.0, (8, 8)).apply(gray), np.uint8))
    for look in looks:
        corners, numbers, _ = _detector().detectMarkers(look)
        for number, corner in zip(np.ravel(numbers) if numbers is not None else (), corners, strict=False):
            rough = np.asarray(corner, float).reshape(4, 2)
            new = refined_corners(gray, rough)
            if new is None:
                continue
            known = found.setdefault(int(number), [])
            if mat_of(int(number)) is None:
                del found[int(number)]
            elif all(np.linalg.norm(new.mean(0) - k.mean(0)) > 10.0 for k in known):
                known.append(new)
        if sum(map(len, found.values())) >= 10:
            break
    return found


def _detector() -> Any:
    from cv2 import aruco

    settings = aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMax = 53
    settings.minMarkerPerimeterRate = 0.02
    settings.errorCorrectionRate = 0.3
    return aruco.ArucoDetector(aruco.getPredefinedDictionary(aruco.DICT_4X4_50), settings)


def view_of(gray: Gray, *, lens: Lens | None = None, where: str = "photo") -> MatView:
    """The camera's place over the mat in a photo.

    Parameters: gray : (h, w) uint8 [-], the photo in shades of grey; lens, what its file says;
        where, the photo's name for messages.
    Returns: MatView.
    Raises: MatRefused with the cause and what to do.
    Valid for: as view_by.
    Source: as view_by.
    Checked by: unit/test_vision_mat_view.py
    """
    return view_by(find_markers(gray), (gray.shape[1], gray.shape[0]), lens=lens, where=where)


def view_by(
    markers: dict[int, list[FloatArray]],
    size_px: tuple[int, int],
    *,
    lens: Lens | None = None,
    where: str = "photo",
) -> MatView:
    """The camera's place over the mat whose markers were found.

    Parameters: markers, as find_markers gives them; size_px, width and height of the photo; lens, what its file
        says; where, the photo's name for messages.
    Returns: MatView.
    Raises: MatRefused with the cause and what to do.
    Valid for: a flat mat, seen from up to 40 degrees off straight down, one radial term of distortion.
    Source: Gauss-Newton on all corners at once, with what is known of the lens beforehand as further
        observations; covariance from the normal matrix and the residuals (JCGM 102, 6.3; Zhang 2000).
    Checked by: unit/test_vision_mat_view.py
    """
    mat, corners = _one_mat(markers, where)
    size = np.array(size_px, float)
    world = {n: np.column_stack([mat.corners_mm(n) * [1.0, -1.0], np.zeros(4)]) for n in corners}
    numbers = sorted(corners)
    while True:
        points, seen = np.vstack([world[n] for n in numbers]), np.vstack([corners[n] for n in numbers])
        _judge_spread(mat, numbers, where)
        best = min(
            (
                _fit(
                    points, seen, size, log(focal_px(exp(g.log_f35), *size)), g.sd, -2 * log(g.weight / g.sd)
                )
                for g in (lens or Lens()).guesses()
            ),
            key=lambda fit: fit[2],
        )
        state, covariance, _, left = best
        off = np.linalg.norm(left, axis=1).reshape(-1, 4).max(1)
        limit = max(_OFF_PX, 4.0 * float(np.median(off)))
        if off.max() <= limit:
            break
        numbers.remove(numbers[int(off.argmax())])
    misfit = sqrt(float((left**2).mean()))
    return _view(mat, state, covariance, misfit, len(numbers), where)


def _one_mat(found: dict[int, list[FloatArray]], where: str) -> tuple[Mat, dict[int, FloatArray]]:
    """The mat that most markers belong to, each marker once."""
    seen = {name: [n for n in found if n in mat.ids] for name, mat in MATS.items()}
    ranked = sorted(seen, key=lambda name: -len(seen[name]))
    name = ranked[0]
    if not seen[name]:
        raise MatRefused(
            MatCause.NO_MAT,
            "no mat is seen in it",
            where=where,
            do="Lay the parts on the printed mat, and photograph it whole from above in even light.",
        )
    if len(seen[ranked[1]]) >= _LEAST_MARKERS or sum(len(found[n]) > 1 for n in seen[name]) >= 3:
        raise MatRefused(
            MatCause.TWO_MATS,
            "more than one mat is seen in it",
            where=where,
            do="Photograph one mat at a time.",
        )
    corners = {n: found[n][0] for n in seen[name] if len(found[n]) == 1}
    side = min(
        (float(np.linalg.norm(np.roll(c, 1, 0) - c, axis=1).mean()) for c in corners.values()), default=0.0
    )
    if side and side / 6.0 < _LEAST_CELL_PX:
        raise MatRefused(
            MatCause.SMALL,
            f"the mat is too small in it: its markers are {side:.0f} pixels wide, {6 * _LEAST_CELL_PX:.0f} are needed",
            where=where,
            do="Go nearer until the mat fills the picture.",
        )
    return MATS[name], corners


def _judge_spread(mat: Mat, numbers: list[int], where: str) -> None:
    spread = 0.0
    if len(numbers) >= _LEAST_MARKERS:
        import cv2

        middles = np.array([[mat.marker(n).x_mm, mat.marker(n).y_mm] for n in numbers], np.float32)
        spread = float(cv2.contourArea(cv2.convexHull(middles))) / (mat.width_mm * mat.height_mm)
    if spread < _LEAST_SPREAD:
        hidden = len(mat.markers) - len(numbers)
        raise MatRefused(
            MatCause.COVERED,
            f"only {len(numbers)} of the {len(mat.markers)} markers on the mat's border are seen, too few or too close",
            where=where,
            do=f"Clear the border ({hidden} markers are covered, cut off or in glare) and take the whole mat.",
        )


def _turned(state: FloatArray) -> FloatArray:
    """(b, 3, 3) rotations of (b, 3) turn vectors."""
    angle = np.linalg.norm(state, axis=1)[:, None, None]
    k = np.zeros((len(state), 3, 3))
    k[:, 0, 1], k[:, 0, 2], k[:, 1, 2] = -state[:, 2], state[:, 1], -state[:, 0]
    k -= k.transpose(0, 2, 1)
    small = np.maximum(angle, 1e-12)
    result: FloatArray = np.eye(3) + np.sin(angle) / small * k + (1 - np.cos(angle)) / small**2 * (k @ k)
    return result


def _shown(states: FloatArray, start: FloatArray, points: FloatArray, middle: FloatArray) -> FloatArray:
    """(b, n, 2) [px] for (b, 10) states; turns are counted from `start`."""
    rotation = _turned(states[:, :3]) @ start
    seen = np.einsum("bij,nj->bni", rotation, points) + states[:, None, 3:6]
    return project(seen, np.exp(states[:, 6]), middle + states[:, 8:10], states[:, 7])


def _fit(
    points: FloatArray, seen: FloatArray, size: FloatArray, log_f: float, u_log_f: float, extra: float
) -> tuple[tuple[FloatArray, FloatArray, FloatArray], FloatArray, float, FloatArray]:
    """(state, rotation at its start, picture middle), covariance, cost and residuals of one focal guess."""
    middle = (size - 1.0) / 2.0
    start, place = _started(points, seen, exp(log_f), middle)
    state = np.r_[np.zeros(3), place, log_f, 0.0, 0.0, 0.0]
    mean = np.r_[np.full(6, 0.0), log_f, 0.0, 0.0, 0.0]
    sd = np.r_[
        np.full(6, np.inf), u_log_f, DISTORTION_SD, np.full(2, CENTRE_RATIO_SD * float(np.hypot(*size)))
    ]
    step = np.r_[np.full(3, 1e-6), np.full(3, 1e-3), 1e-6, 1e-6, 1e-3, 1e-3]
    u_px = _CORNER_PX_SD
    for round_ in range(12):
        shown = _shown(np.vstack([state, state + np.diag(step)]), start, points, middle)
        left = seen - shown[0]
        jacobian = ((shown[1:] - shown[0]) / step[:, None, None]).reshape(COUNT, -1).T
        size_of = np.linalg.norm(left, axis=1)
        weight = np.repeat(1.0 / np.maximum(size_of / (3.0 * max(u_px, 0.05)), 1.0), 2) / u_px**2
        normal = jacobian.T @ (jacobian * weight[:, None]) + np.diag(1.0 / sd**2)
        right = jacobian.T @ (weight * left.ravel()) + (mean - state) / sd**2
        move = np.linalg.solve(normal, right)
        state = state + move
        if round_ >= 3:
            u_px = max(_CORNER_PX_SD, float(np.median(size_of)) / 1.177)
    shown = _shown(state[None], start, points, middle)
    left = seen - shown[0]
    cost = float((left**2).sum()) / u_px**2 + 2 * left.size * log(u_px)
    cost += float((((mean - state) / sd) ** 2).sum()) + extra
    return (state, start, middle), np.linalg.inv(normal), cost, left


def _started(
    points: FloatArray, seen: FloatArray, f_px: float, middle: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rotation and place from the homography of all corners."""
    flat = points[:, :2]
    centre, spread = flat.mean(0), float(np.ptp(flat))
    (x, y), (u, v) = ((flat - centre) / spread).T, ((seen - middle) / f_px).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    rows = np.vstack(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v]),
        ]
    )
    h = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    h = h @ np.array([[1 / spread, 0, -centre[0] / spread], [0, 1 / spread, -centre[1] / spread], [0, 0, 1]])
    h = h / (0.5 * (np.linalg.norm(h[:, 0]) + np.linalg.norm(h[:, 1])))
    if (h @ np.r_[centre, 1.0])[2] < 0:
        h = -h
    u_, _, vt = np.linalg.svd(np.column_stack([h[:, 0], h[:, 1], np.cross(h[:, 0], h[:, 1])]))
    rotation: FloatArray = u_ @ np.diag([1.0, 1.0, np.linalg.det(u_ @ vt)]) @ vt
    return rotation, h[:, 2]


def _view(
    mat: Mat,
    fit: tuple[FloatArray, FloatArray, FloatArray],
    covariance: FloatArray,
    misfit: float,
    count: int,
    where: str,
) -> MatView:
    state, start, middle = fit
    rotation = _turned(state[None, :3])[0] @ start
    at = -rotation.T @ state[3:6]
    tilt = float(np.degrees(np.arccos(np.clip(-rotation[2, 2], -1.0, 1.0))))
    # The height's own row: at_z = -(R^T t)_z, by small steps.
    steps = np.diag(np.r_[np.full(3, 1e-5), np.full(3, 1e-2), np.ones(4)])
    moved = state + steps
    heights = [-(_turned(m[None, :3])[0] @ start).T @ m[3:6] for m in moved]
    slope = np.array([(h[2] - at[2]) / s for h, s in zip(heights, np.diag(steps), strict=True)])
    u_height = sqrt(max(float(slope @ covariance @ slope), 0.0))
    view = MatView(
        mat=mat,
        rotation=rotation,
        at_mm=at,
        f_px=exp(state[6]),
        u_log_f=sqrt(covariance[6, 6]),
        k1=float(state[7]),
        centre_px=middle + state[8:10],
        covariance=covariance,
        u_height_ratio=u_height / max(at[2], 1.0),
        misfit_px=misfit,
        marker_count=count,
        tilt_deg=tilt,
        px_per_mm=exp(state[6]) / float(np.linalg.norm(at - [mat.width_mm / 2, -mat.height_mm / 2, 0.0])),
    )
    if at[2] <= 0 or tilt > _MOST_TILT_DEG:
        raise MatRefused(
            MatCause.OBLIQUE,
            f"it is taken too far from straight above: {tilt:.0f}°, up to {_MOST_TILT_DEG:.0f}° can be measured",
            where=where,
            do="Hold the phone level over the mat's middle.",
        )
    if misfit * 1.0 > max(1.5, 0.35 * view.px_per_mm):
        raise MatRefused(
            MatCause.NOT_FLAT,
            f"the mat's markers are not where a flat mat has them, by {misfit / view.px_per_mm:.1f} mm",
            where=where,
            do="Tape the mat down flat, and check that it is printed on one sheet.",
        )
    return view


def shadow_mm(points_mm: FloatArray, camera_mm: FloatArray) -> FloatArray:
    """Where points above the paper hide it, seen from the camera.

    Parameters: points_mm : (n, 3) float [mm], table frame; camera_mm : (3,) float [mm], table frame.
    Returns: (n, 2) float [mm], table frame, on the paper.
    Raises: nothing of its own.
    Valid for: points lower than the camera.
    Source: similar triangles.
    Checked by: unit/test_vision_mat_view.py
    """
    lift = points_mm[:, 2:] / (camera_mm[2] - points_mm[:, 2:])
    result: FloatArray = points_mm[:, :2] + lift * (points_mm[:, :2] - camera_mm[:2])
    return result
