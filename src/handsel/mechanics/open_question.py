"""What the readings of a hand leave open, and which one reading would settle it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsel.design.model import Design
from handsel.mechanics.excess import BEND, LEAD, LOWERED, TILT, WORKED, LengthPosterior, Readings


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenQuestion:
    """Something that the readings do not tell, and the reading that would."""

    text: str
    reading: str  # name of the observable


# How wide a doubt still leaves a sure fix: own choice, in the light of the 30 to 45 degree window
# and the 5 degrees within which thumb and fingers start.
OPEN_BAR_SD_DEG, OPEN_APART_SD_MM, OPEN_LEAD_SD_DEG = 1.6, 3.5, 2.5


def open_question(found: LengthPosterior, readings: Readings, design: Design) -> OpenQuestion | None:
    """The gravest thing that the readings leave open, and the one reading that would settle it.

    Parameters: found, for these readings of this design, placed.
    Returns: OpenQuestion, or None when all lengths are known well enough to choose a fix.
    Raises: nothing of its own.
    Valid for: readings that agree with each other.
    Source: own rule: what the fix needs first (the fingers' angle), then the tilt, then the thumb.
    Checked by: unit/test_excess.py
    """
    i, j = found.map.loops
    apart = found.excess_mm[:, i] - found.excess_mm[:, j]
    fingers = [g.name for k, g in enumerate(design.digits) if k != found.map.digit]

    def first_missing(*names: str) -> str:
        return next((n for n in names if n not in readings), names[0])

    if found.bar_deg.std() > OPEN_BAR_SD_DEG:
        low, high = np.quantile(found.bar_deg, (0.025, 0.975))
        if WORKED not in readings and LOWERED not in readings:
            text = "No rest angle was read, so the cord lengths are not known."
            return OpenQuestion(text=text, reading=WORKED)
        return OpenQuestion(
            text="The thumb's cord may carry the hand: where the fingers alone would hold it, from "
            f"{low:.0f}° to {high:.0f}°, is not seen.",
            reading=first_missing(WORKED, f"press_{fingers[0]}", LEAD, BEND),
        )
    if apart.std() > OPEN_APART_SD_MM:
        return OpenQuestion(
            text="Whether one finger loop is longer than the other is not seen.",
            reading=first_missing(TILT, f"press_{fingers[-1]}"),
        )
    if found.lead_deg.std() > OPEN_LEAD_SD_DEG:
        if np.quantile(found.lead_deg, 0.9) < 1.0:
            least = np.quantile(found.excess_mm[:, found.map.alone], 0.05)
            end = "long" if least > 0 else "short"
            text = (
                f"The thumb's cord hangs slack: it is {abs(least):.0f} mm too {end} or longer, and how "
                "much longer is not seen."
            )
        else:
            text = "How far the thumb starts before or after the fingers is not seen."
        return OpenQuestion(text=text, reading=first_missing(LEAD, "press_thumb", BEND))
    return None
