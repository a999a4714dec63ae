"""Why a photo that should show two cards shows no angle, as far as it can still be seen, in words with a remedy."""

from __future__ import annotations

from math import degrees

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CARD_NAMES, CUFF, PALM
from handsel.vision.finding import Found, foreshortening
from handsel.vision.rest_angle.refused import Cause, PhotoRefused
from handsel.vision.rest_angle.traces import blur_px, leans_from_above, mirrored_cards
from handsel.vision.rest_angle.traces_covered import part_of
from handsel.vision.rest_angle.traces_flat import seen_flat

Gray = npt.NDArray[np.uint8]

MOST_OBLIQUE_DEG = 62.0  # chosen from renders as docs/studies/angle.md tells
_MOST_BLUR_PX = (
    3.3  # of a picture in which no card is found; sharp renders have 3.0 at most, shaken ones 3.5 and more
)
CLEAR = "Clear the card, turn it out of the glare, and take the photo again."
SHARPER = "Rest the phone on something, wait until it is sharp, and take it again."
FROM_THE_SIDE = "Hold the phone beside the hand, as high as the wrist, and look at the cards."


def why_not(gray: Gray, found: tuple[Found, ...], where: str) -> PhotoRefused:
    """The cause for which a photo without both cards cannot be measured, from what can still be seen.

    Parameters: gray : (h, w) uint8 [-]; found, the card that was found, if any; where for the message.
    Returns: PhotoRefused, to be raised.
    Raises: nothing of its own.
    Valid for: photos in which find_cards did not find both.
    Source: own order of tests: mirrored, flat, covered, blurred, else missing.
    Checked by: unit/test_vision_angle.py
    """
    missing = [card for card in (PALM, CUFF) if card not in {f.card for f in found}]
    names = " and the ".join(CARD_NAMES[c] for c in missing)
    if not found and (seen := mirrored_cards(gray)):
        return PhotoRefused(
            Cause.MIRRORED,
            f"the picture is mirrored: the {' and the '.join(CARD_NAMES[c] for c in seen)} reads the wrong way round",
            where=where,
            do="Use the phone's main camera, or turn off mirroring of the front one, and take it again.",
        )
    # Both cards face the same way: where one is seen well, the other is not merely flat.
    well = [f for f in found if foreshortening(f) > 0.6]
    flat = [] if well else [f for f in seen_flat(gray) if f.card in missing]
    if flat:
        return too_slanted(min(flat, key=lambda f: f.card), where)
    if found and (trace := part_of(gray, missing[0], found[0])) is not None:
        return PhotoRefused(
            Cause.COVERED,
            f"the {CARD_NAMES[trace.card]} is partly covered",
            where=where,
            do="Take away what lies over it, and take the photo again.",
        )
    for one in found:
        if foreshortening(one) < np.cos(np.radians(MOST_OBLIQUE_DEG)):
            return too_slanted(one, where)
    if blur_px(gray) > _MOST_BLUR_PX:
        return PhotoRefused(Cause.BLURRED, "the whole picture is blurred", where=where, do=SHARPER)
    if not found:
        return PhotoRefused(
            Cause.MISSING,
            "neither card is seen: they are not on this side of the hand, or it is seen "
            "edge on, from above or from an end",
            where=where,
            do="Put card 10 on the palm and card 11 on the cuff, both on the side that faces you, and "
            "photograph the hand from that side, not from above.",
        )
    return PhotoRefused(
        Cause.MISSING,
        f"the {names} is not in the picture, or next to nothing of it is uncovered",
        where=where,
        do="Put it on the same side of the hand as the other card, in full view, and take it again.",
    )


def too_slanted(found: Found, where: str) -> PhotoRefused:
    """Seen too slantingly: from above, or along the hand.

    Parameters: found, a card; where, what the photo is called in messages.
    Returns: PhotoRefused, to be raised.
    Raises: nothing of its own.
    Valid for: as angle.measure_rest_angle.
    Source: own words.
    Checked by: unit/test_vision_angle.py
    """
    name = CARD_NAMES[found.card]
    slant = degrees(float(np.arccos(min(foreshortening(found), 1.0))))
    if leans_from_above(found):
        return PhotoRefused(
            Cause.FROM_ABOVE,
            f"the hand is seen from above: the {name} is seen {slant:.0f} degrees from square on",
            where=where,
            do=FROM_THE_SIDE,
        )
    return PhotoRefused(
        Cause.OBLIQUE,
        f"the {name} is seen {slant:.0f} degrees from square on",
        where=where,
        do="Step round until you look straight at the cards.",
    )
