"""The rest angle that a photo shows, with its uncertainty, or the one reason why it shows none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import degrees, hypot, sqrt
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from handsel.errors import Unsolved
from handsel.metrology.checks import number
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.cards import both_cards
from handsel.vision.rest_angle.drawing import Drawing, drawing_of
from handsel.vision.rest_angle.hand import check_hand, sight_deg
from handsel.vision.rest_angle.hand_view import FOCAL, STRETCH
from handsel.vision.rest_angle.posterior import Posterior, mixture_interval
from handsel.vision.rest_angle.refused import Cause, PhotoRefused
from handsel.vision.rest_angle.solving import solve

Gray = npt.NDArray[np.uint8]

CARD_TURN_SD_DEG = 0.7  # of a loose card put on by hand; 0 for cards on printed pads
CARD_TURN = "card turn"
_MOST_U_DEG = 1.5  # without the cards' turn; chosen from renders as docs/studies/angle.md tells
_OTHER_LENS = 0.1  # how far the focal length is from the file's, as a share, to be told
_STRETCHED = 0.01  # what a picture is stretched by, as a share, to be told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestAngle:
    """A rest angle read from one photo."""

    rest_angle_deg: float
    u_rest_angle_deg: float  # standard uncertainty, the cards' turn included
    low_deg: float  # between these it lies with a probability of 95 %
    high_deg: float
    contributions: Mapping[str, float]  # standard uncertainties by source; their squares add up [deg]
    fingers_point: str  # left or right in the picture
    obliquity_deg: float  # between the hinge axis and the line of sight
    f35_mm: float  # 35 mm equivalent that explains the picture
    side_px: float  # of the smaller marker
    misfit: float  # of the edges, 1 is as expected
    notes: tuple[str, ...]  # what a careful reader should know
    picture_px: tuple[int, int]  # width and height of the photo that the drawing is in
    drawing: Drawing

    def view_side(self, hand_side: str | None) -> str | None:
        """Which side of the hand faces the camera: thumb or little; None when the hand's side is not known.

        From the side alone both hands look alike: fingers to the right is the thumb side of a left hand or the
        little finger's side of a right one.
        """
        if hand_side not in ("left", "right"):
            return None
        return "little" if hand_side == self.fingers_point else "thumb"


def measure_rest_angle(
    gray: Gray, *, lens: Lens | None = None, card_turn_sd_deg: float = CARD_TURN_SD_DEG, where: str = "photo"
) -> RestAngle:
    """Read the rest angle of a hand with both cards from a photo.

    Parameters: gray : (h, w) uint8 [-], upright as shown; lens, what the file says of it;
        card_turn_sd_deg [deg], standard deviation of a card's turn within its plane, per card; where, what
        the photo is called in messages.
    Returns: RestAngle.
    Raises: PhotoRefused with its cause; OutOfRange for a card turn that is none.
    Valid for: one hand seen from the side, cards at most about 60 degrees from square on.
    Source: the angle is between the parts, as seen along the hinge axis; the account follows JCGM 100:2008 5.1.
    Checked by: unit/test_vision_angle.py, docs/studies/angle.md
    """
    turn = number(
        card_turn_sd_deg,
        "card turn",
        where=where,
        low=0.0,
        high=20.0,
        do="Give degrees: 0.7 for a loose card, 0 for a card on a printed pad.",
    )
    lens = lens or Lens()
    posterior = posterior_of(gray, lens=lens, where=where)
    result = _result(posterior, turn, lens)
    u_photo = hypot(*(u for name, u in result.contributions.items() if name != CARD_TURN))
    if u_photo > _MOST_U_DEG:
        worst = max(
            (n for n in result.contributions if n != CARD_TURN), key=lambda n: result.contributions[n]
        )
        raise PhotoRefused(
            Cause.UNCERTAIN,
            f"the angle is known to no better than {u_photo:.1f} degrees (one "
            f"standard uncertainty), mostly because of {worst}",
            where=where,
            do="Go closer, hold the phone level with the wrist, and take it again.",
        )
    return result


def posterior_of(gray: Gray, *, lens: Lens, where: str = "photo") -> Posterior:
    """All that a photo says of the angle, before the cards' own turn is added.

    Parameters: gray : (h, w) uint8 [-], upright as shown; lens, what the file says of it; where, for messages.
    Returns: Posterior.
    Raises: PhotoRefused with its cause.
    Valid for: as measure_rest_angle.
    Source: as measure_rest_angle.
    Checked by: unit/test_vision_angle.py
    """
    palm, cuff = both_cards(gray, where)
    try:
        posterior = solve(palm, cuff, (int(gray.shape[1]), int(gray.shape[0])), lens.guesses_with_doubt())
    except Unsolved as error:
        raise PhotoRefused(Cause.DISTORTED, error.what, where=where, do=error.do) from None
    check_hand(posterior, where)
    return posterior


def _result(posterior: Posterior, card_turn_sd_deg: float, lens: Lens) -> RestAngle:
    sources = posterior.u_by_source_deg | {CARD_TURN: sqrt(2.0) * card_turn_sd_deg}
    slant, _, _ = sight_deg(posterior)
    modes = posterior.modes
    means = np.array([degrees(posterior.sign * m.hinge_rad) for m in modes])
    sds = np.hypot([degrees(m.u_hinge_rad) for m in modes], sources[CARD_TURN])
    weights = np.array([m.weight for m in modes])
    f35_mm = 26.0 * float(np.exp(modes[0].state[FOCAL]))
    low, high = mixture_interval(means, sds, weights, 0.95)
    notes = []
    if lens.f35_mm is None or not lens.whole_picture:
        notes.append(
            "the photo does not say its focal length"
            if lens.whole_picture
            else "the photo was cut, so its focal length is not known"
        )
    elif modes[0].guess.weight < 0.5 and abs(f35_mm / lens.f35_mm - 1.0) > _OTHER_LENS:
        notes.append(
            f"the file says a focal length of {lens.f35_mm:.0f} mm, which does not suit what is seen: the picture was "
            "zoomed or cut, and its own was taken"
        )
    stretch, u_stretch = modes[0].state[STRETCH], sqrt(modes[0].covariance[STRETCH, STRETCH])
    if abs(stretch) > max(_STRETCHED, 2.0 * u_stretch):
        notes.append(
            f"the picture seems to be stretched in one direction, by about {100 * abs(stretch):.0f} %; this is allowed "
            "for, but the photo as the camera took it says more"
        )
    if slant > 45.0:
        notes.append(f"seen {slant:.0f} degrees from square on; from nearer the side it is known better")
    if posterior.misfit > 4.0:
        notes.append("the cards' edges are disturbed; the uncertainty is widened for it")
    scene = posterior.scene
    return RestAngle(
        rest_angle_deg=posterior.rest_angle_deg,
        u_rest_angle_deg=hypot(*sources.values()),
        low_deg=low,
        high_deg=high,
        contributions=MappingProxyType(sources),
        fingers_point="right" if posterior.fingers_right else "left",
        obliquity_deg=slant,
        f35_mm=f35_mm,
        side_px=min(scene.palm.side_px, scene.cuff.side_px),
        misfit=posterior.misfit,
        notes=tuple(notes),
        picture_px=scene.size_px,
        drawing=drawing_of(posterior),
    )
