"""What a rest angle was read from, as lines on the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CARD_MM
from handsel.vision.rest_angle.hand_view import in_picture
from handsel.vision.rest_angle.posterior import Posterior

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """What was seen, as lines on the picture; each (n, 2) [px]."""

    palm_card: FloatArray  # outline of the white card, closed by its first corner
    cuff_card: FloatArray
    palm_line: FloatArray  # reference lines seen along the hinge axis, from where they meet
    cuff_line: FloatArray


def drawing_of(posterior: Posterior) -> Drawing:
    """The cards' outlines and both reference lines in the picture.

    Parameters: posterior.
    Returns: Drawing.
    Raises: nothing of its own.
    Valid for: as angle.measure_rest_angle.
    Source: the lines run through the middles of the cards and meet where they would.
    Checked by: unit/test_vision_angle.py
    """
    state, scene = posterior.modes[0].state[None], posterior.scene
    at = posterior.placed
    half = CARD_MM / 2.0
    outline = np.array([[-half, half], [half, half], [half, -half], [-half, -half], [-half, half]])

    def shown(points: FloatArray) -> FloatArray:
        found: FloatArray = in_picture(scene, state, points[None])[0]
        found.flags.writeable = False
        return found

    hand, fingers = at.hand[0], 1.0 if posterior.fingers_right else -1.0
    angle = float(at.hinge[0])
    along_palm = np.array([fingers, 0.0])
    along_cuff = -fingers * np.array([np.cos(angle), np.sin(angle)])
    cuff_from_palm = at.apart[0, :2]
    # Where both lines, through the middles of the cards, meet; halfway when they are nearly parallel.
    sides = np.column_stack([along_palm, -along_cuff])
    meet = 0.5 * cuff_from_palm
    if abs(np.linalg.det(sides)) > 0.05:
        meet = along_palm * np.linalg.solve(sides, cuff_from_palm)[0]
    ends = [
        np.array([meet, end])
        for end in (1.6 * CARD_MM * along_palm, cuff_from_palm + 1.6 * CARD_MM * along_cuff)
    ]
    lines = [shown(np.column_stack([e, np.zeros(2)]) @ hand.T + at.palm_at[0]) for e in ends]
    return Drawing(
        palm_card=shown(outline @ at.palm[0, :, :2].T + at.palm_at[0]),
        cuff_card=shown(outline @ at.cuff[0, :, :2].T + at.cuff_at[0]),
        palm_line=lines[0],
        cuff_line=lines[1],
    )
