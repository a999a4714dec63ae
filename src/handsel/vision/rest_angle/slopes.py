"""Misses and surprises of one state with their derivatives, written out; `hand_view` says what they are.

The search needs them a hundred times per photo, so they are worth their algebra. A test holds them to differences of
`hand_view`'s own numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, exp, log, sin, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FocalGuess
from handsel.vision.edges import EdgeReadings
from handsel.vision.rest_angle.hand_view import (
    CENTRE,
    COUNT,
    CUFF_AT,
    CUFF_DEPTH,
    CUFF_TURN,
    DISTANCE_MM,
    DISTORTION,
    FOCAL,
    PALM_AT,
    PALM_DEPTH,
    PALM_TURN,
    SPREAD,
    STRETCH,
    TILTS,
    Scene,
    known_scales,
    view_angles,
)

FloatArray = npt.NDArray[np.float64]

_UNIT = np.eye(3)
# Surprises that are an unknown itself, or a sum of some: their rows, and the columns of those unknowns.
_PLAIN_ROWS = np.array([0, 1, 2, 3, 4, 5, 11, 11, 12, 13, 14, 15, 16])
_PLAIN_COLUMNS = np.array(
    [FOCAL, 1, 2, DISTORTION, 16, 17, FOCAL, PALM_DEPTH, *range(SPREAD.start, SPREAD.stop), STRETCH]
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Card:
    turn: FloatArray  # (3, 3) camera frame
    right: FloatArray  # (3, 3) right Jacobian of its turn
    at: FloatArray  # (3,) [mm]
    of_at: FloatArray  # (3, 23)


def slopes(
    scene: Scene, state: FloatArray, guess: FocalGuess, u_edge: FloatArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residuals of one state in standard deviations, and their derivatives.

    Parameters: scene; state : (23,) float [-]; guess of the focal length; u_edge : (n,) float, uncertainty of the
        edges in pixels; weights : (n,) float [-], the say of each edge.
    Returns: (n + m,) float [-] and (n + m, 23) float [-].
    Raises: nothing of its own.
    Valid for: states with both cards in front of the camera.
    Source: derivatives of hand_view.misses_px and hand_view.surprises by the chain rule; that of a turn by its vector
        with the right Jacobian of the rotation group.
    Checked by: unit/test_vision_slopes.py
    """
    palm, cuff = _cards(scene, state)
    n = len(scene.palm.card_mm)
    points = np.concatenate([_points(scene.palm, palm), _points(scene.cuff, cuff)])
    miss, jacobian, of_point = _in_picture(scene, state, points)
    _through_pose(jacobian[:n], of_point[:n], scene.palm, palm, PALM_TURN, PALM_AT, PALM_DEPTH)
    _through_pose(jacobian[n:], of_point[n:], scene.cuff, cuff, CUFF_TURN, CUFF_AT, CUFF_DEPTH)
    scale = np.sqrt(weights) / u_edge
    known, of_known, _ = _known(scene, state, guess, palm, cuff)
    return np.concatenate([miss * scale, known]), np.concatenate([jacobian * scale[:, None], of_known])


def hinge_slope(scene: Scene, state: FloatArray, guess: FocalGuess) -> FloatArray:
    """How the turn about the hinge changes with each unknown.

    Parameters: scene; state : (23,) float [-]; guess of the focal length, of no matter here.
    Returns: (23,) float [rad].
    Raises: nothing of its own.
    Valid for: as slopes.
    Source: as slopes.
    Checked by: unit/test_vision_slopes.py
    """
    return _known(scene, state, guess, *_cards(scene, state))[2]


def _cards(scene: Scene, state: FloatArray) -> tuple[_Card, _Card]:
    focal = exp(state[FOCAL])
    cards = []
    for reference, turn, at, depth in (
        (scene.palm_reference, PALM_TURN, PALM_AT, PALM_DEPTH),
        (scene.cuff_reference, CUFF_TURN, CUFF_AT, CUFF_DEPTH),
    ):
        near = exp(state[depth])
        middle = np.array([*(state[at] * near), near * focal])
        of = np.zeros((3, COUNT))
        of[0, at.start] = of[1, at.start + 1] = near
        of[:, depth] = middle
        of[2, FOCAL] = middle[2]
        exponential, right = _turn(state[turn])
        cards.append(_Card(turn=reference @ exponential, right=right, at=middle, of_at=of))
    return cards[0], cards[1]


def _turn(vector: FloatArray) -> tuple[FloatArray, FloatArray]:
    """exp(v), and J with exp(v + d) = exp(v) exp(J d) for small d."""
    x, y, z = (float(v) for v in vector)
    size = sqrt(x * x + y * y + z * z)
    k = _cross_matrix(vector)
    if size < 1e-5:
        return _UNIT + k, _UNIT - 0.5 * k
    twice, first, second = k @ k, sin(size) / size, (1.0 - cos(size)) / size**2
    return _UNIT + first * k + second * twice, _UNIT - second * k + (1.0 - first) / size**2 * twice


def _cross_matrix(axis: FloatArray) -> FloatArray:
    """The matrix that takes a vector v to axis x v."""
    x, y, z = (float(v) for v in axis)
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def _about_x(angle_rad: float) -> FloatArray:
    c, s = cos(angle_rad), sin(angle_rad)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def _about_y(angle_rad: float) -> FloatArray:
    c, s = cos(angle_rad), sin(angle_rad)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def _points(card: EdgeReadings, placed: _Card) -> FloatArray:
    """The card's points in the camera frame."""
    points: FloatArray = card.card_mm @ placed.turn[:, :2].T + placed.at
    return points


def _through_pose(
    jacobian: FloatArray,
    of_point: FloatArray,
    card: EdgeReadings,
    placed: _Card,
    turn: slice,
    at: slice,
    depth: int,
) -> None:
    """What the card's own pose adds to the derivatives, written into their rows."""
    jacobian[:, FOCAL] += of_point @ placed.of_at[:, FOCAL]
    jacobian[:, at] = of_point @ placed.of_at[:, at]
    jacobian[:, depth] = of_point @ placed.at
    # The miss changes with a turn d by g . R (J d x p) = (p x R'g) . J d.
    x, y = card.card_mm.T
    gx, gy, gz = (of_point @ placed.turn).T
    jacobian[:, turn] = np.array([y * gz, -x * gz, x * gy - y * gx]).T @ placed.right


def _in_picture(
    scene: Scene, state: FloatArray, points: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Misses [px], their derivatives by the lens and the spreads, and by the points themselves (n, 3)."""
    f_px, k1 = scene.nominal_f_px * exp(state[FOCAL]), state[DISTORTION]
    flat = points[:, :2] / points[:, 2:]
    square = flat[:, 0] ** 2 + flat[:, 1] ** 2
    outward = 1.0 + k1 * square
    normal = scene.normal * [1.0, 1.0 + state[STRETCH]]  # what a stretched picture's height does to a miss
    across = normal[:, 0] * flat[:, 0] + normal[:, 1] * flat[:, 1]
    middle = (np.array(scene.size_px) - 1.0) / 2.0 + state[CENTRE]
    fixed = scene.normal @ middle - scene.at_normal_px
    miss = f_px * outward * across + fixed + state[SPREAD][scene.spread_column]
    of_flat = f_px * (outward[:, None] * normal + (2.0 * k1 * across)[:, None] * flat)
    of_point = np.empty((len(points), 3))
    of_point[:, :2] = of_flat
    of_point[:, 2] = -(of_flat[:, 0] * flat[:, 0] + of_flat[:, 1] * flat[:, 1])
    of_point /= points[:, 2:]
    jacobian = np.zeros((len(points), COUNT))
    jacobian[:, FOCAL] = f_px * outward * across
    jacobian[:, CENTRE] = scene.normal
    jacobian[:, DISTORTION] = f_px * square * across
    jacobian[:, STRETCH] = f_px * outward * scene.normal[:, 1] * flat[:, 1]
    jacobian[np.arange(len(points)), SPREAD.start + scene.spread_column] = 1.0
    return miss, jacobian, of_point


def _known(
    scene: Scene, state: FloatArray, guess: FocalGuess, palm: _Card, cuff: _Card
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Surprises in the order of hand_view.surprises, their derivatives, and those of the turn about the hinge."""
    about_y = _about_y(state[17])
    tilt = about_y @ _about_x(state[16])
    back = tilt @ palm.turn.T  # camera to hand frame
    relative = back @ cuff.turn
    # A small change turns the hand's frame by of_frame and the cuff in it by of_cuff, both about axes of that frame.
    of_frame = np.zeros((3, COUNT))
    of_frame[:, PALM_TURN] = -tilt @ palm.right
    of_frame[:, TILTS.start], of_frame[1, TILTS.start + 1] = about_y[:, 0], 1.0
    of_cuff = of_frame.copy()
    of_cuff[:, CUFF_TURN] = relative @ cuff.right
    tilt_x, tilt_y, of_angles = _apart_in_turn(relative)
    of_angles = of_angles @ of_cuff
    apart, to_camera = back @ (cuff.at - palm.at), -(back @ palm.at)
    of_camera = _cross_matrix(-to_camera) @ of_frame - back @ palm.of_at
    x, y, z = (float(v) for v in to_camera)
    across = x * x + z * z
    flat, whole = sqrt(across), across + y * y
    known, of = np.empty(17), np.zeros((17, COUNT))
    known[0] = state[FOCAL] + log(26.0) - guess.log_f35
    known[1:4], known[4:6] = state[1:4], state[TILTS]
    known[6:9] = tilt_x, tilt_y, apart[2]
    known[9:11] = view_angles(to_camera)
    known[11] = state[PALM_DEPTH] + state[FOCAL] - log(DISTANCE_MM)
    known[12:16], known[16] = state[SPREAD], state[STRETCH]
    of[_PLAIN_ROWS, _PLAIN_COLUMNS] = 1.0
    of[6:8] = of_angles[:2]
    of[8] = back[2] @ (cuff.of_at - palm.of_at) + apart[1] * of_frame[0] - apart[0] * of_frame[1]
    of[9] = (across * of_camera[1] - y * (x * of_camera[0] + z * of_camera[2])) / (flat * whole)
    of[10] = (z * of_camera[0] - x * of_camera[2]) / across
    scales = known_scales(scene, guess)
    return known / scales, of / scales[:, None], of_angles[2]


def _apart_in_turn(relative: FloatArray) -> tuple[float, float, FloatArray]:
    """A turn taken apart into one about z after one about y after one about x.

    Returns the turns about x and y, and how all three (x, y, z) change when the whole is turned a little
    further about the axes of its frame: (3, 3).
    """
    tilt_x = atan2(relative[2, 1], relative[2, 2])
    tilt_y = -asin(min(max(float(relative[2, 0]), -1.0), 1.0))
    hinge = atan2(relative[1, 0], relative[0, 0])
    c, s, narrow, slope = cos(hinge), sin(hinge), cos(tilt_y), sin(tilt_y)
    of_turn = np.array(
        [
            [c / narrow, s / narrow, 0.0],
            [-s, c, 0.0],
            [slope * c / narrow, slope * s / narrow, 1.0],
        ]
    )
    return tilt_x, tilt_y, of_turn
