"""What comes of setting a hand by its own readings: every rework of cords or slides ends with that.

Whoever has moved a slide or put in a cord works the hand, reads it, and sets screws and thumb pin once more. What
the first move left then hardly matters; what counts is how far the slides reach, and how well one reads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.mechanics.draws import Draws
from handsel.mechanics.excess import worked_from
from handsel.rework.moves import (
    ALLOWED_TURNS,
    HALF_TURN,
    MODEL_SD_DEG,
    PIN_SD_MM,
    PIN_STEP_MM,
    TURN_COST_DEG2,
    TURN_SD,
    Chooser,
    Outcome,
)

Floats = NDArray[np.float64]

# A thumb that starts much earlier than the fingers leaves their cords slack at rest, or its own tip bent. Of sound
# hands in the referee those within 1.2 degrees still conform, of those beyond 1.5 few do.
FINGERS_FIRST_DEG = 1.3
# Slides of a hand that conforms more probably than not are left alone: a reading that is a degree or two off moves them
# for nothing, and where the thumb then meets the fingers they may no longer keep together. Twenty-five hands without a
# fault in the referee, each read twice: set wherever the chance was below 0.9, 24 times a good one was moved and spoilt
# 5 times, 12 times a bad one and cured 4 times; below 0.5, 5 and 1, 8 and 4.
LEFT_ALONE_P = 0.5
# Between that and the limit of timing, nearer to the fingers: the later a thumb meets them, the further apart they have
# come by then.
THUMB_IN_BETWEEN_DEG = -1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OnceSet:
    """A hand in its lengths once it was set, over the posterior's n guesses.

    worked_deg, lead_deg : (n,) float [deg].
    """

    p_conforms: float
    worked_deg: Floats
    lead_deg: Floats


def once_set(chooser: Chooser, outcome: Outcome, *, angle_u_deg: float, lead_u_deg: float) -> OnceSet:
    """What a hand comes to in its lengths once it was set by its own readings.

    Parameters: chooser; outcome, the hand after its rework; angle_u_deg, lead_u_deg, standard uncertainties of
        reading the fingers' start and how much earlier the thumb starts [deg].
    Returns: OnceSet; its chance is that angle, thumb timing and level bar then all conform [-].
    Raises: nothing of its own.
    Valid for: screws within their allowance and a pin within its limits. The bar's tilt no screw changes.
    Source: Monte Carlo over the posterior's guesses: each is read with error, set as read, and judged as it is.
    Checked by: unit/test_setting.py
    """
    f, n = chooser.found, chooser.n
    read_bar, read_lead, turn_error, pin_error = Draws(12).normal(4, n)
    tension = _tension(chooser, outcome, angle_u_deg * read_bar, TURN_SD * turn_error)
    bar, tilt = f.map.bar(outcome.excess_mm, tension)
    pin = _pin(chooser, outcome, bar, lead_u_deg * read_lead, PIN_SD_MM * pin_error)
    thumb = f.map.thumb(outcome.excess_mm, pin)
    worked = worked_from(bar, thumb, chooser.held_anew) + MODEL_SD_DEG * chooser.model_error
    lead = thumb - bar
    return OnceSet(
        p_conforms=_conforming(chooser, worked, lead, tilt), worked_deg=worked, lead_deg=np.asarray(lead)
    )


def conforms_as_left(chooser: Chooser, outcome: Outcome) -> float:
    """Chance that a hand conforms in its lengths as it was left, without being set.

    Parameters: chooser; outcome.    Returns: the chance [-].    Raises: nothing of its own.
    Valid for: as once_set.    Source: as there.    Checked by: unit/test_setting.py
    """
    return _conforming(chooser, outcome.worked_deg, outcome.lead_deg, outcome.tilt_deg)


def _conforming(chooser: Chooser, worked: Floats, lead: Floats, tilt: Floats) -> float:
    w = chooser.wanted
    good = (worked >= w.least_deg) & (worked <= w.most_deg) & (np.abs(tilt) <= w.tilt_limit_deg)
    good &= (lead >= -w.lead_limit_deg) & (lead <= min(FINGERS_FIRST_DEG, w.lead_limit_deg))
    return min(1.0, float(chooser.found.weight @ good))


def _tension(chooser: Chooser, outcome: Outcome, misread_deg: Floats, error_turns: Floats) -> Floats:
    """Where the screws come to stand, for each guess: nearest the target as it was read, forward preferred."""
    slide, best, cost = chooser.tension, outcome.tension_mm, np.full(chooser.n, np.inf)
    for turns in HALF_TURN * np.arange(round(ALLOWED_TURNS / HALF_TURN) + 1):
        at = np.full(chooser.n, slide.min_mm + chooser.pitch * float(turns))
        bar, _ = chooser.found.map.bar(outcome.excess_mm, at)
        off = (bar + misread_deg - chooser.wanted.target_deg) ** 2 + TURN_COST_DEG2 * float(turns)
        best, cost = np.where(off < cost, at, best), np.minimum(off, cost)
    return np.clip(best + chooser.pitch * error_turns, slide.min_mm, slide.max_mm)


def _pin(chooser: Chooser, outcome: Outcome, bar: Floats, misread_deg: Floats, error_mm: Floats) -> Floats:
    """Where the thumb pin comes to stand, for each guess: the thumb a little after the fingers, as it was read."""
    slide, best, cost = chooser.pin, outcome.thumb_pin_mm, np.full(chooser.n, np.inf)
    low, high = (max(slide.min_mm, chooser.wanted.pin_low_mm), min(slide.max_mm, chooser.wanted.pin_high_mm))
    for mm in np.arange(low + PIN_STEP_MM, high - PIN_STEP_MM + 1e-9, PIN_STEP_MM):
        at = np.full(chooser.n, float(mm))
        off = np.abs(
            chooser.found.map.thumb(outcome.excess_mm, at) - bar + misread_deg - chooser.thumb_aim_deg
        )
        best, cost = np.where(off < cost, at, best), np.minimum(off, cost)
    return np.clip(best + error_mm, slide.min_mm, slide.max_mm)
