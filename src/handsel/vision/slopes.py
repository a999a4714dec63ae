"""Misses and surprises of one state with their derivatives, written out; `hand_view` says what they are.

The search needs them a hundred times per photo, so they are worth their algebra. A test holds them to differences of
`hand_view`'s own numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, exp, hypot, log, sin, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FocalGuess
from handsel.vision.edges import EdgeReadings
from handsel.vision.hand_view import (
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
    TILTS,
    Scene,
    about,
    known_scales,
    view_angles,
)

FloatArray = npt.NDArray[np.float64]

_UNIT = np.eye(3)
_X, _Y, _Z = _UNIT


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Card:
    turn: FloatArray  # (3, 3) camera frame
    right: FloatArray  # (3, 3) right Jacobian of its turn
    at: FloatArray  # (3,) [mm]
    of_at: FloatArray  # (3, 22)


def slopes(
    scene: Scene, state: FloatArray, guess: FocalGuess, u_edge: FloatArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residuals of one state in standard deviations, and their derivatives.

    Parameters: scene; state : (22,) float [-]; guess of the focal length; u_edge : (n,) float, uncertainty of the
        edges in pixels; weights : (n,) float [-], the say of each edge.
    Returns: (n + m,) float [-] and (n + m, 22) float [-].
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

    Parameters: scene; state : (22,) float [-]; guess of the focal length, of no matter here.
    Returns: (22,) float [rad].
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
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if size < 1e-5:
        return _UNIT + k, _UNIT - 0.5 * k
    twice, first, second = k @ k, sin(size) / size, (1.0 - cos(size)) / size**2
    return _UNIT + first * k + second * twice, _UNIT - second * k + (1.0 - first) / size**2 * twice


def _crossed(axis: FloatArray, points: FloatArray) -> FloatArray:
    """axis x points: (n, 3)."""
    x, y, z = axis
    cross: FloatArray = points @ np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
    return cross


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
    jacobian[:, turn] = np.column_stack([y * gz, -x * gz, x * gy - y * gx]) @ placed.right


def _in_picture(
    scene: Scene, state: FloatArray, points: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Misses [px], their derivatives by the lens and the spreads, and by the points themselves (n, 3)."""
    f_px, k1 = scene.nominal_f_px * exp(state[FOCAL]), state[DISTORTION]
    normal = scene.normal
    flat = points[:, :2] / points[:, 2:]
    square = (flat**2).sum(1)
    stretch = 1.0 + k1 * square
    across = (normal * flat).sum(1)
    middle = (np.array(scene.size_px) - 1.0) / 2.0 + state[CENTRE]
    fixed = (normal * (middle - scene.at_px)).sum(1)
    miss = f_px * stretch * across + fixed + state[SPREAD][scene.spread_column]
    of_flat = f_px * (stretch[:, None] * normal + (2.0 * k1 * across)[:, None] * flat)
    of_point = np.column_stack([of_flat, -(of_flat * flat).sum(1)]) / points[:, 2:]
    jacobian = np.zeros((len(points), COUNT))
    jacobian[:, FOCAL] = f_px * stretch * across
    jacobian[:, CENTRE] = normal
    jacobian[:, DISTORTION] = f_px * square * across
    jacobian[np.arange(len(points)), SPREAD.start + scene.spread_column] = 1.0
    return miss, jacobian, of_point


def _known(
    scene: Scene, state: FloatArray, guess: FocalGuess, palm: _Card, cuff: _Card
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Surprises in the order of hand_view.surprises, their derivatives, and those of the turn about the hinge."""
    about_y = about(1, state[17:18])[0]
    tilt = about_y @ about(0, state[16:17])[0]
    back = tilt @ palm.turn.T  # camera to hand frame
    relative = back @ cuff.turn
    # A small change turns the hand's frame by of_frame and the cuff in it by of_cuff, both about axes of that frame.
    of_frame = np.zeros((3, COUNT))
    of_frame[:, PALM_TURN] = -tilt @ palm.right
    of_frame[:, TILTS] = np.column_stack([about_y @ _X, _Y])
    of_cuff = of_frame.copy()
    of_cuff[:, CUFF_TURN] = relative @ cuff.right
    angles = np.array(
        [
            np.arctan2(relative[2, 1], relative[2, 2]),
            -np.arcsin(np.clip(relative[2, 0], -1.0, 1.0)),
            np.arctan2(relative[1, 0], relative[0, 0]),
        ]
    )
    about_z, about_tilt = about(2, angles[2:])[0], about(1, angles[1:2])[0]
    axes = np.column_stack([about_z @ about_tilt @ _X, about_z @ _Y, _Z])
    of_angles = np.linalg.solve(axes, of_cuff)
    apart, to_camera = back @ (cuff.at - palm.at), -(back @ palm.at)
    of_apart = back @ (cuff.of_at - palm.of_at) - _crossed(apart, of_frame.T).T
    of_camera = -(back @ palm.of_at) - _crossed(to_camera, of_frame.T).T
    x, y, z = to_camera
    flat, whole = hypot(x, z), float(to_camera @ to_camera)
    lens = state[FOCAL] + log(26.0) - guess.log_f35
    known = np.concatenate(
        [
            [lens],
            state[CENTRE],
            [state[DISTORTION]],
            state[TILTS],
            angles[:2],
            apart[2:],
            view_angles(to_camera),
            [state[PALM_DEPTH] + state[FOCAL] - log(DISTANCE_MM)],
            state[SPREAD],
        ]
    )
    of = np.zeros((known.size, COUNT))
    plain = [FOCAL, 1, 2, DISTORTION, 16, 17]
    of[np.arange(6), plain] = 1.0
    of[6:8], of[8] = of_angles[:2], of_apart[2]
    of[9] = (flat**2 * of_camera[1] - y * (x * of_camera[0] + z * of_camera[2])) / (flat * whole)
    of[10] = (z * of_camera[0] - x * of_camera[2]) / flat**2
    of[11, FOCAL] = of[11, PALM_DEPTH] = 1.0
    of[np.arange(12, 16), np.arange(SPREAD.start, SPREAD.stop)] = 1.0
    scales = known_scales(scene, guess)
    return known / scales, of / scales[:, None], of_angles[2]
