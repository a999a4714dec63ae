"""Whether the line that was found is the edge of one cuff: three things that hold for a cuff and not for a cuff with
something beside it.

A cuff is of one plastic, its outside bends one way only, and its far end follows its near one. A box that touches a
flank, a shadow taken for plastic or a flank taken for ground breaks one of these. A large asymmetry breaks none: a cuff
may be that lopsided.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.colour import lab_from_srgb
from handsel.vision.cuff.curves import even, smoothed
from handsel.vision.cuff.edge import outward
from handsel.vision.cuff.refused import CuffCause, CuffRefused

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

_POINTS = 200
_BAND = (0.25, 0.7)  # of the thickness: how far inside the edge its colour is read
# Of 94 cuffs that were read (docs/studies/cuff.md, developed on and seen) 93 keep below half of the first two, and one
# with a box at its flank is at twice; the third is passed by that one and by a twisted cuff on a ground of its colour.
_OTHER_COLOUR = 40.0  # difference in a* and b* that is another plastic
_MOST_OTHER = 0.05  # of the way
_MOST_HOLLOW_DEG = 60.0  # that the way turns back: a cuff's line trembles, its corners are round
_MOST_ALONE = 0.05  # of the way
_APART = "Clear away what lies beside the cuff, lay it on a plain sheet of another colour, and take it again."


def check_one_plastic(pixels: Pixels, outside: FloatArray, thick_px: float, where: str) -> None:
    """The rim has one colour all along.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB; outside : (n, 2) float [px], from tip to tip; thick_px, the cuff's
        thickness; where, what the photo is called in messages.
    Returns: nothing.
    Raises: CuffRefused where a stretch of the rim has another colour.
    Valid for: cuffs of one plastic, lit by lamps of nearly one colour.
    Source: own construction.
    Checked by: unit/test_vision_cuff_doubt.py
    """
    path = even(outside, _POINTS)
    depth = np.linspace(*_BAND, 5) * thick_px
    spots = path[:, None] - depth[None, :, None] * outward(path)[:, None]
    at = np.clip(np.round(spots).astype(int), 0, np.array(pixels.shape[1::-1]) - 1)
    colour = lab_from_srgb(np.median(pixels[at[..., 1], at[..., 0]], axis=1).round().astype(np.uint8))[:, 1:]
    other = np.linalg.norm(colour - np.median(colour, axis=0), axis=1) > _OTHER_COLOUR
    if other.mean() > _MOST_OTHER:
        raise CuffRefused(
            CuffCause.TOUCHED,
            f"over {100 * other.mean():.0f} % of its edge what was taken for the cuff has another colour",
            where=where,
            do=_APART,
        )


def check_bends_one_way(outside: FloatArray, where: str) -> None:
    """The outside bends one way only.

    Parameters: outside : (n, 2) float [px], from tip to tip; where, what the photo is called in messages.
    Returns: nothing.
    Raises: CuffRefused where it turns back sharply.
    Valid for: cuffs whose flanks are not rolled outward.
    Source: own construction: the most that the direction falls back from the furthest it had come.
    Checked by: unit/test_vision_cuff_doubt.py
    """
    path = smoothed(even(outside, _POINTS), 5)
    way = path[4:] - path[:-4]
    turned = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    turned *= np.sign(turned[-1] - turned[0]) or 1.0
    back = float(np.degrees((np.maximum.accumulate(turned) - turned).max()))
    if back > _MOST_HOLLOW_DEG:
        raise CuffRefused(
            CuffCause.TOUCHED,
            "the line round the cuff turns outward, as it does where something else begins",
            where=where,
            do=_APART,
        )


def check_far_end(alone_ratio: float, where: str) -> None:
    """The far end goes with the near one nearly everywhere.

    Parameters: alone_ratio [-], the longest stretch of the near edge that nothing at the far end goes with; where, what
        the photo is called in messages.
    Returns: nothing.
    Raises: CuffRefused where it is long.
    Valid for: as cuff_view.find_foot.
    Source: own construction.
    Checked by: unit/test_vision_cuff_doubt.py
    """
    if alone_ratio > _MOST_ALONE:
        raise CuffRefused(
            CuffCause.DOUBTFUL,
            f"over {100 * alone_ratio:.0f} % of its way the near edge has no far edge that goes with it: the line may "
            "have left the cuff, or the cuff is twisted",
            where=where,
            do=_APART,
        )
