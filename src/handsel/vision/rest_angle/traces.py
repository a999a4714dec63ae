"""Signs in a photo that shows no two cards: mirrored, blurred, or seen from above.

Nothing here measures, nor in the files beside it for cards that are seen flat or are partly covered. They tell a person
why a photo gives no reading, so each test looks for positive signs of one cause; without any, the card is missing.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import PALM
from handsel.vision.finding import Found, Look, detect, scaled

Gray = npt.NDArray[np.uint8]

_ACROSS_PX = 61  # how far an edge may be spread
_STRONG = 60.0  # difference of brightness that is an edge [of 255]
_LEAST_EDGE_PX = 40  # so much of it, or it is chance
_MIRRORED_PX = 1300
_MIRRORED_LOOK = Look(longest_px=_MIRRORED_PX, treat=np.asarray, windows=(7, 37, 15))


def mirrored_cards(gray: Gray) -> tuple[int, ...]:
    """The cards that are there once the picture is mirrored, as selfies are.

    Parameters: gray : (h, w) uint8 [-].
    Returns: their numbers, PALM first.
    Raises: nothing of its own.
    Valid for: pictures in which no card was found as they are.
    Source: own construction; neither card's pattern is a mirror image of itself or of the other.
    Checked by: unit/test_vision_handed_in.py
    """
    small = scaled(gray, 1.0 / max(1, round(max(gray.shape) / _MIRRORED_PX)))
    return tuple(sorted({f.card for f in detect(np.ascontiguousarray(small[:, ::-1]), _MIRRORED_LOOK)}))


def blur_px(gray: Gray) -> float:
    """How wide the sharpest strong edges of a picture are, the way in which they are wider.

    Parameters: gray : (h, w) uint8 [-].
    Returns: standard deviation of the blur [px], of a copy 1600 px long; 0 when nothing in it has contrast.
    Raises: nothing of its own.
    Valid for: telling a sharp picture from a blurred one, no more.
    Source: a step of height a blurred by s has slope a / (s sqrt(2 pi)).
    Checked by: unit/test_vision_traces.py
    """
    import cv2

    small = cv2.GaussianBlur(scaled(gray, min(1.0, 1600 / max(gray.shape))), (0, 0), 0.8).astype(np.float32)
    slopes = [np.abs(cv2.Sobel(small, cv2.CV_32F, *of, scale=0.125)) for of in ((1, 0), (0, 1))]
    worst = 0.0
    # Shake spreads the edges that it crosses and leaves those along it: both ways count by themselves.
    for slope, other, around in zip(
        slopes,
        slopes[::-1],
        (np.ones((1, _ACROSS_PX), np.uint8), np.ones((_ACROSS_PX, 1), np.uint8)),
        strict=True,
    ):
        height = cv2.dilate(small, around) - cv2.erode(small, around)
        crest = (height > _STRONG) & (slope > 2.0 * other) & (slope >= cv2.dilate(slope, around))
        if crest.sum() >= _LEAST_EDGE_PX:
            widths = height[crest] / np.maximum(slope[crest], 1e-3) / np.sqrt(2.0 * np.pi)
            worst = max(worst, float(np.percentile(widths, 10)))
    return worst


def leans_from_above(found: Found) -> bool:
    """Whether a card seen slantingly is seen from its top edge or from a side edge.

    Parameters: found.
    Returns: True when the sight comes over the card's top, within what a raised cuff turns it.
    Raises: nothing of its own.
    Valid for: cards seen clearly from aside; from above and from below look alike, and below is the table.
    Source: the direction in the card that is foreshortened most is the one the sight comes along.
    Checked by: unit/test_vision_traces.py
    """
    from handsel.vision.edges import apply_homography, homography_from_corners

    h = homography_from_corners(found.corners_px)
    at = apply_homography(h, np.array([[0.0, 0.0], [1e-3, 0.0], [0.0, 1e-3]]))
    _, _, ways = np.linalg.svd((at[1:] - at[0]).T)
    along = np.abs(ways[1])  # right and up
    return bool(np.degrees(np.arctan2(along[1], along[0])) > (45.0 if found.card == PALM else 28.0))
