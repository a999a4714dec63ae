"""Misses and surprises of one state with their derivatives, written out; `hand_view` says what they are.

The search needs them a hundred times per photo, so they are worth their algebra. A test holds them to differences of
`hand_view`'s own numbers.
"""

from __future__ import annotations

from math import exp, hypot, log

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FocalGuess
from handsel.vision.edges import EdgeReadings
from handsel.vision.hand_view import (
    ABOVE_SD,
    APART,
    ASIDE_SD,
    CENTRE,
    COUNT,
    DEPTH,
    DISTORTION,
    FOCAL,
    HINGE,
    KNOWN_OF,
    SPREAD,
    STEP,
    TILTS,
    TURN,
    Scene,
    about,
    known_scales,
    turns,
    view_angles,
)

FloatArray = npt.NDArray[np.float64]


def slopes(scene: Scene, state: FloatArray, guess: FocalGuess, u_edge: FloatArray,
           weights: FloatArray) -> tuple[FloatArray, FloatArray]:
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
    hand = scene.reference @ turns(state[None, TURN])[0]
    right = _right_jacobian(state[TURN])
    near, focal = exp(state[DEPTH]), exp(state[FOCAL])
    palm_at = np.array([state[7] * near, state[8] * near, near * focal])
    of_palm_at = np.zeros((3, COUNT))
    of_palm_at[0, 7] = of_palm_at[1, 8] = near
    of_palm_at[:, DEPTH] = palm_at
    of_palm_at[2, FOCAL] = palm_at[2]
    tilts, still = state[TILTS], np.zeros(3)
    palm = _card(scene.palm, hand, right, 0.0, tilts[:2], 14, still)
    offset = np.array([*state[APART], state[STEP]])
    cuff = _card(scene.cuff, hand, right, float(state[HINGE]), tilts[2:], 16, offset)
    cuff[1][:, :, APART] += hand[:, :2]
    cuff[1][:, :, STEP] += hand[:, 2]
    points = np.concatenate([palm[0], cuff[0]]) + palm_at
    of_points = np.concatenate([palm[1], cuff[1]]) + of_palm_at
    miss, jacobian = _in_picture(scene, state, points, of_points)
    scale = np.sqrt(weights) / u_edge
    known, of_known = _known(scene, state, guess, hand, right, palm_at, of_palm_at)
    return np.concatenate([miss * scale, known]), np.concatenate([jacobian * scale[:, None], of_known])


def _right_jacobian(vector: FloatArray) -> FloatArray:
    """exp(v + d) = exp(v) exp(J d) for small d."""
    size = float(np.sqrt(vector @ vector)) + 1e-12
    x, y, z = vector
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    if size < 1e-4:
        return np.eye(3) - 0.5 * k
    result: FloatArray = np.eye(3) - (1 - np.cos(size)) / size**2 * k + (size - np.sin(size)) / size**3 * (k @ k)
    return result


def _crossed(axis: FloatArray, points: FloatArray) -> FloatArray:
    """axis x points: (n, 3)."""
    x, y, z = axis
    cross: FloatArray = points @ np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
    return cross


def _card(card: EdgeReadings, hand: FloatArray, right: FloatArray, hinge: float, tilt: FloatArray, first: int,
          offset: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The card's points from the palm card's middle, camera frame, and their derivatives."""
    angles = np.array([tilt[0], tilt[1], hinge])
    about_x, about_y, about_z = (about(axis, angles[axis:axis + 1])[0] for axis in range(3))
    flat = np.column_stack([card.card_mm, np.zeros(len(card.card_mm))])
    tilted_x = flat @ about_x.T
    tilted = tilted_x @ about_y.T
    turned = tilted @ about_z.T
    whole = turned + offset
    of = np.zeros((len(flat), 3, COUNT))
    for k in range(3):
        of[:, :, 4 + k] = _crossed(right[:, k], whole) @ hand.T
    in_hand = hand @ about_z
    of[:, :, first] = _crossed(np.array([1.0, 0.0, 0.0]), tilted_x) @ (in_hand @ about_y).T
    of[:, :, first + 1] = _crossed(np.array([0.0, 1.0, 0.0]), tilted) @ in_hand.T
    if first == 16:
        of[:, :, HINGE] = _crossed(np.array([0.0, 0.0, 1.0]), turned) @ hand.T
    return whole @ hand.T, of


def _in_picture(scene: Scene, state: FloatArray, points: FloatArray, of_points: FloatArray) -> tuple[
        FloatArray, FloatArray]:
    """Misses [px] and their derivatives."""
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
    jacobian = (of_point[:, None, :] @ of_points)[:, 0, :]
    jacobian[:, FOCAL] += f_px * stretch * across
    jacobian[:, CENTRE] += normal
    jacobian[:, DISTORTION] += f_px * square * across
    jacobian[np.arange(len(points)), SPREAD.start + scene.spread_column] += 1.0
    return miss, jacobian


def _known(scene: Scene, state: FloatArray, guess: FocalGuess, hand: FloatArray, right: FloatArray,
           palm_at: FloatArray, of_palm_at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Surprises in the order of hand_view.surprises, and their derivatives."""
    scales = known_scales(scene)
    known = state[KNOWN_OF] / scales
    of_known = np.zeros((len(KNOWN_OF), COUNT))
    of_known[np.arange(len(KNOWN_OF)), KNOWN_OF] = 1.0 / scales
    known[0] = (state[FOCAL] + log(26.0) - guess.log_f35) / guess.sd
    of_known[0, FOCAL] = 1.0 / guess.sd
    x, y, z = to_camera = -(hand.T @ palm_at)
    of = -(hand.T @ of_palm_at)
    of[:, TURN] += _crossed(to_camera, right.T).T
    flat, whole = hypot(x, z), float(to_camera @ to_camera)
    above, aside, distance = view_angles(to_camera, float(state[DEPTH] + state[FOCAL]))
    known[9], known[10], known[11] = above, aside, distance
    of_known[9] = (flat**2 * of[1] - y * (x * of[0] + z * of[2])) / (flat * whole) / ABOVE_SD
    of_known[10] = (z * of[0] - x * of[2]) / flat**2 / ASIDE_SD
    of_known[11, FOCAL] = of_known[11, DEPTH]
    return known, of_known
