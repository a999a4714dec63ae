"""Whether what explains both cards is a hand that can be measured: seen from its side, level, and one."""

from __future__ import annotations

from math import degrees, hypot

import numpy as np

from handsel.vision.rest_angle.causes import CLEAR, FROM_THE_SIDE, MOST_OBLIQUE_DEG, SHARPER
from handsel.vision.rest_angle.hand_view import about
from handsel.vision.rest_angle.posterior import Posterior
from handsel.vision.rest_angle.refused import Cause, PhotoRefused

# Chosen from renders as docs/studies/angle.md tells, but for the last three, which are common sense of a hand.
_MOST_MISFIT = 16.0  # residuals four times what they should be
_DOUBTFUL_BLUR_CELLS = 0.3  # where edges do not fit, what this much of is the likely cause
_DOUBTFUL_LOST = 0.06
_REACH_MM = (18.0, 220.0)  # between the middles of both cards of one hand
_LEVEL_DEG = 27.0  # a phone is held, a hand lies, and both are seen aslant: level to within this
_CLEARLY_DEG = 12.0


def check_hand(posterior: Posterior, where: str) -> None:
    """The explanation is a hand that can be measured.

    Parameters: posterior; where, what the photo is called in messages.
    Returns: nothing.
    Raises: PhotoRefused with its cause.
    Valid for: as angle.measure_rest_angle.
    Source: own order of tests.
    Checked by: unit/test_vision_angle.py
    """
    slant, above, aside = sight_deg(posterior)
    if slant > MOST_OBLIQUE_DEG:
        if above > abs(aside):
            raise PhotoRefused(
                Cause.FROM_ABOVE,
                f"the hand is seen from {above:.0f} degrees above its side",
                where=where,
                do=FROM_THE_SIDE,
            )
        raise PhotoRefused(
            Cause.OBLIQUE,
            f"the cards are seen {slant:.0f} degrees from square on",
            where=where,
            do="Step round until you look straight at the cards.",
        )
    apart = hypot(*posterior.placed.apart[0, :2])
    if not _REACH_MM[0] < apart < _REACH_MM[1]:
        raise PhotoRefused(
            Cause.APART,
            f"the cards are {apart:.0f} mm apart, which no hand is",
            where=where,
            do="Photograph one hand with its own two cards; print the cards at full size.",
        )
    _check_level(posterior, where)
    if posterior.misfit > _MOST_MISFIT:
        cards = (posterior.scene.palm, posterior.scene.cuff)
        if max(c.blur_cells for c in cards) > _DOUBTFUL_BLUR_CELLS:
            raise PhotoRefused(Cause.BLURRED, "the cards are blurred", where=where, do=SHARPER)
        worst = max(cards, key=lambda c: c.lost_ratio)
        if worst.lost_ratio > _DOUBTFUL_LOST:
            raise PhotoRefused(
                Cause.COVERED, f"part of the {worst.name} is hidden or washed out", where=where, do=CLEAR
            )
        raise PhotoRefused(
            Cause.DISTORTED,
            "the edges of the cards do not run as on two flat square cards",
            where=where,
            do="Press bent cards flat, wipe them, keep shadows off, and take it again.",
        )


def _check_level(posterior: Posterior, where: str) -> None:
    """The palm lies level and the cuff is raised, not the other way round.

    Swapped cards show the same angle, but the side that is seen and what is drawn would be wrong. A hand that is
    raised by less than the phone may be tilted cannot be told from a swapped one.
    """
    at = posterior.placed
    palm, cuff = at.hand[0], at.hand[0] @ about(2, at.hinge)[0]
    # How far the picture's horizontal is out of the plane that each card would lie level in.
    tilts = [degrees(abs(float(np.arcsin(np.clip(frame[0, 1], -1.0, 1.0))))) for frame in (palm, cuff)]
    if tilts[0] > max(_LEVEL_DEG, tilts[1] + _CLEARLY_DEG):
        raise PhotoRefused(
            Cause.SWAPPED,
            "the palm card leans and the cuff card lies level, so they seem swapped",
            where=where,
            do="Put card 10 on the palm and card 11 on the cuff, or hold the phone level.",
        )


def sight_deg(posterior: Posterior) -> tuple[float, float, float]:
    """Line of sight against the hinge axis, all in degrees: in all, from above, from aside.

    Parameters: posterior.
    Returns: three angles [deg].
    Raises: nothing of its own.
    Valid for: as angle.measure_rest_angle.
    Source: definition.
    Checked by: unit/test_vision_angle.py
    """
    at = posterior.placed
    middle = 0.5 * (at.palm_at[0] + at.cuff_at[0])
    x, y, z = -at.hand[0].T @ (middle / np.linalg.norm(middle))
    return (
        degrees(float(np.arccos(np.clip(z, -1.0, 1.0)))),
        degrees(float(np.arctan2(y, hypot(x, z)))),
        degrees(float(np.arctan2(x, z))),
    )
