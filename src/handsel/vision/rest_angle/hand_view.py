"""The hand as a camera sees it: all that is unknown as one vector, and where it puts every measured edge.

The two cards hang together through the hand. Each lies on a side face of its part, tilted out of it a little
about its own axes; both side faces stand square to the hinge axis, one a few millimetres further out than the
other; and the hinge turns one face against the other within their plane. So the pair has one direction of view
and one turn to find, instead of two free poses.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import DISTORTION_SD, FocalGuess, focal_px, project
from handsel.vision.edges import EdgeReadings

FloatArray = npt.NDArray[np.float64]

# The unknowns, in order. Angles in radians, lengths in mm, the picture in px. What the edges fix, each card's own pose,
# stands by itself, so that a search runs straight; how the cards hang together is in what is known beforehand.
FOCAL, CENTRE, DISTORTION = (
    0,
    slice(1, 3),
    3,
)  # FOCAL: logarithm of the focal length over that of a 26 mm lens
PALM_TURN, PALM_AT, PALM_DEPTH = slice(4, 7), slice(7, 9), 9  # TURN: rotation vector from a reference pose
CUFF_TURN, CUFF_AT, CUFF_DEPTH = slice(10, 13), slice(13, 15), 15
# AT: where a 26 mm lens would see the card's middle (tangents); DEPTH: logarithm of its distance had it that lens. Its
# place and size in the picture fix these whatever the lens, so a change of lens alone leaves the card where it is.
TILTS = slice(
    16, 18
)  # of the palm card out of its face, about its x and y; they say where the hinge axis points
SPREAD = slice(18, 22)  # black and white edges moved toward white: palm x, y; cuff x, y [px]
STRETCH = 22  # the picture's height over that of square pixels, less 1: programs fit pictures into frames
COUNT = 23

# Standard deviations of what is physically known. An even spread over +-a has a / sqrt(3).
TILT_SD = np.radians(4.0 / np.sqrt(3.0))  # a card lies in its face within 4 degrees
STEP_SD_MM = 8.0 / np.sqrt(3.0)  # one side face is further out by up to 8 mm
SPREAD_SD_PX, SPREAD_BLUR_RATIO = 0.08, 0.1  # ink, exposure and file values shift edges; more so when blurred
DISTANCE_MM, DISTANCE_LOG_SD = 430.0, 0.35  # an arm's length
# From the side and rather from above than from under the table.
ABOVE_RAD, ABOVE_SD = np.radians(15.0), np.radians(20.0)
ASIDE_SD = np.radians(20.0)

# Groups of what is known beforehand, for the account of uncertainties.
GROUPS = ("focal length", "distortion", "obliquity", "edge spread")
KNOWN_GROUP = np.repeat(
    [0, 1, 1, 2, 2, 2, 2, 0, 3, 1], [1, 2, 1, 4, 1, 1, 1, 1, 4, 1]
)  # place in GROUPS of each surprise
FACING = np.diag([1.0, -1.0, -1.0])  # a card square to the camera: its y up is the picture's y down


@dataclass(frozen=True, kw_only=True, eq=False)  # no slots: what is worked out once is kept
class Scene:
    """What was measured in one photo, and the pose that the unknowns are counted from."""

    palm: EdgeReadings
    cuff: EdgeReadings
    size_px: tuple[int, int]  # width, height
    palm_reference: FloatArray  # (3, 3) turn of the palm card that PALM_TURN starts from
    cuff_reference: FloatArray

    @cached_property
    def at_px(self) -> FloatArray:
        """Measured edge points, palm first."""
        return np.vstack([self.palm.at_px, self.cuff.at_px])

    @cached_property
    def normal(self) -> FloatArray:
        """Their unit normals toward white."""
        return np.vstack([self.palm.normal, self.cuff.normal])

    @cached_property
    def at_normal_px(self) -> FloatArray:
        """Where the measured points lie along their normals, from the picture's corner."""
        at: FloatArray = (self.at_px * self.normal).sum(1)
        return at

    @cached_property
    def spread_column(self) -> npt.NDArray[np.intp]:
        """Which of the four spreads moves each point."""
        column: npt.NDArray[np.intp] = np.concatenate([self.palm.across, 2 + self.cuff.across])
        return column

    @cached_property
    def scales(self) -> FloatArray:
        """Standard deviations of what is known beforehand, those that hang on the guess of the lens left at 1."""
        blur = np.array([self.palm.blur_px, self.palm.blur_px, self.cuff.blur_px, self.cuff.blur_px])
        spread = np.hypot(SPREAD_SD_PX, SPREAD_BLUR_RATIO * blur)
        placed = [TILT_SD] * 4 + [STEP_SD_MM, ABOVE_SD, ASIDE_SD, DISTANCE_LOG_SD]
        return np.array([1.0, 1.0, 1.0, DISTORTION_SD, *placed, *spread, 1.0])

    @cached_property
    def nominal_f_px(self) -> float:
        """Focal length of a 26 mm lens, which FOCAL is the logarithm of a ratio to."""
        return focal_px(26.0, *self.size_px)


def turns(vectors: FloatArray) -> FloatArray:
    """Rotation matrices from rotation vectors.

    Parameters: vectors : (b, 3) float [rad].
    Returns: (b, 3, 3) float [-].
    Raises: nothing of its own.
    Valid for: any length.
    Source: Rodrigues' formula.
    Checked by: unit/test_vision_hand_view.py
    """
    size = np.sqrt((vectors**2).sum(1)) + 1e-12
    x, y, z = (vectors / size[:, None]).T
    zero = np.zeros_like(x)
    k = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).reshape(-1, 3, 3)
    result: FloatArray = (
        np.eye(3) + np.sin(size)[:, None, None] * k + (1 - np.cos(size))[:, None, None] * (k @ k)
    )
    return result


def about(axis: int, angle_rad: FloatArray) -> FloatArray:
    """Rotation matrices about one axis.

    Parameters: axis, 0 to 2; angle_rad : (b,) float [rad].
    Returns: (b, 3, 3) float [-].
    Raises: nothing of its own.
    Valid for: any angle.
    Source: definition.
    Checked by: unit/test_vision_hand_view.py
    """
    result = np.zeros((angle_rad.size, 3, 3))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    result[:, axis, axis] = 1.0
    result[:, i, i] = result[:, j, j] = np.cos(angle_rad)
    result[:, j, i] = np.sin(angle_rad)
    result[:, i, j] = -result[:, j, i]
    return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """Hand and cards, for b states at once; camera frame unless it says otherwise."""

    hand: FloatArray  # (b, 3, 3)
    palm: FloatArray  # (b, 3, 3)
    cuff: FloatArray
    palm_at: FloatArray  # (b, 3) [mm]
    cuff_at: FloatArray
    hinge: FloatArray  # (b,) turn of the cuff card about the hinge axis against the palm card [rad]
    cuff_tilts: FloatArray  # (b, 2) of the cuff card out of its face, about its x and y [rad]
    apart: FloatArray  # (b, 3) [mm] cuff card from palm card, hand frame


def place(scene: Scene, states: FloatArray) -> Placed:
    """Where the unknowns put the hand and its cards.

    A card's tilts are about its x first and then about its y, seen from the card, so that its x axis seen along
    the hinge axis stays on the reference line whatever the tilts: the turn about the hinge that is left between
    both cards is the rest angle but for its sign.

    Parameters: scene; states : (b, 23) float [-].
    Returns: Placed, lengths in mm.
    Raises: nothing of its own.
    Valid for: tilts below 90 degrees.
    Source: own construction, as the frames in `handsel.vision` say.
    Checked by: unit/test_vision_hand_view.py
    """
    palm = scene.palm_reference @ turns(states[:, PALM_TURN])
    cuff = scene.cuff_reference @ turns(states[:, CUFF_TURN])
    tilt = about(1, states[:, 17]) @ about(0, states[:, 16])
    hand = palm @ tilt.transpose(0, 2, 1)
    palm_at = _middle(states, PALM_AT, PALM_DEPTH)
    cuff_at = _middle(states, CUFF_AT, CUFF_DEPTH)
    back = hand.transpose(0, 2, 1)
    relative = back @ cuff  # = about z by the hinge, then y, then x by the tilts
    tilts = np.column_stack(
        [np.arctan2(relative[:, 2, 1], relative[:, 2, 2]), -np.arcsin(np.clip(relative[:, 2, 0], -1.0, 1.0))]
    )
    return Placed(
        hand=hand,
        palm=palm,
        cuff=cuff,
        palm_at=palm_at,
        cuff_at=cuff_at,
        hinge=np.arctan2(relative[:, 1, 0], relative[:, 0, 0]),
        cuff_tilts=tilts,
        apart=(back @ (cuff_at - palm_at)[:, :, None])[:, :, 0],
    )


def _middle(states: FloatArray, at: slice, depth: int) -> FloatArray:
    near = np.exp(states[:, depth])
    return np.column_stack([states[:, at] * near[:, None], near * np.exp(states[:, FOCAL])])


def in_picture(scene: Scene, states: FloatArray, points: FloatArray) -> FloatArray:
    """Camera-frame points in the picture, each state with its own lens.

    Parameters: scene; states : (b, 23) float [-]; points : (b, n, 3) float [mm].
    Returns: (b, n, 2) float [px].
    Raises: nothing of its own.
    Valid for: points in front of the camera.
    Source: as camera.project; a stretched picture is so about its optical centre, which is left open anyway.
    Checked by: unit/test_vision_hand_view.py
    """
    middle = (np.array(scene.size_px) - 1.0) / 2.0 + states[:, CENTRE]
    shown = project(points, scene.nominal_f_px * np.exp(states[:, FOCAL]), middle, states[:, DISTORTION])
    shown[..., 1] += states[:, STRETCH, None] * (shown[..., 1] - middle[:, None, 1])
    return shown


def misses_px(scene: Scene, states: FloatArray) -> FloatArray:
    """How far each measured edge lies from where the unknowns put it.

    Parameters: scene; states : (b, 23) float [-].
    Returns: (b, n) float [px], along each edge's normal.
    Raises: nothing of its own.
    Valid for: any states.
    Source: definition.
    Checked by: unit/test_vision_hand_view.py
    """
    at = place(scene, states)
    palm = scene.palm.card_mm @ at.palm[:, :, :2].transpose(0, 2, 1) + at.palm_at[:, None]
    cuff = scene.cuff.card_mm @ at.cuff[:, :, :2].transpose(0, 2, 1) + at.cuff_at[:, None]
    shown = in_picture(scene, states, np.concatenate([palm, cuff], axis=1))
    result: FloatArray = ((shown - scene.at_px) * scene.normal).sum(-1)
    result += states[:, SPREAD][:, scene.spread_column]
    return result


def surprises(scene: Scene, states: FloatArray, guess: FocalGuess) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """How far the unknowns are from what is known beforehand, in standard deviations.

    Parameters: scene; states : (b, 23) float [-]; guess, the focal length taken for possible.
    Returns: (b, m) float [-], and for each column its place in GROUPS.
    Raises: nothing of its own.
    Valid for: a hand on a table, photographed from the side.
    Source: the constants above; placing of the cards and of the camera is common practice.
    Checked by: unit/test_vision_hand_view.py
    """
    at = place(scene, states)
    to_camera = -(at.hand.transpose(0, 2, 1) @ at.palm_at[:, :, None])[:, :, 0]
    plain = np.column_stack(
        [
            states[:, FOCAL] + np.log(26.0) - guess.log_f35,
            states[:, CENTRE],
            states[:, DISTORTION],
            states[:, TILTS],
            at.cuff_tilts,
            at.apart[:, 2],
            view_angles(to_camera.T).T,
            states[:, PALM_DEPTH] + states[:, FOCAL] - np.log(DISTANCE_MM),
            states[:, SPREAD],
            states[:, STRETCH],
        ]
    )
    return plain / known_scales(scene, guess), KNOWN_GROUP


def known_scales(scene: Scene, guess: FocalGuess) -> FloatArray:
    """Standard deviations of what is known beforehand, in the order of surprises.

    Parameters: scene; guess, the focal length taken for possible.
    Returns: (17,) float [-].
    Raises: nothing of its own.
    Valid for: as surprises.
    Source: the constants above.
    Checked by: unit/test_vision_slopes.py
    """
    scales = scene.scales.copy()
    scales[0] = guess.sd
    scales[1:3] = guess.centre_ratio_sd * float(np.hypot(*scene.size_px))
    scales[16] = guess.stretch_sd
    return scales


def view_angles(to_camera: FloatArray) -> FloatArray:
    """How far the camera is above and aside of what is usual.

    Parameters: to_camera : (3,) or (3, b) float [mm], hand frame.
    Returns: (2,) or (2, b) float [rad].
    Raises: nothing of its own.
    Valid for: as surprises.
    Source: the constants above.
    Checked by: unit/test_vision_slopes.py
    """
    x, y, z = to_camera
    return np.array([np.arctan2(y, np.hypot(x, z)) - ABOVE_RAD, np.arctan2(x, z)])
