"""Where the two cards are: from a quick look at a small copy up to a patient one in hard light.

Each look is a size of the picture, a treatment against one kind of trouble, and how the detector is set. Looks
are taken in order until both cards are there, so an easy photo costs one look. What a later look finds is
rougher: whether it is a card is decided by its edges (`edges`), not here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CUFF, PALM
from handsel.vision.edges import apply_homography, homography_from_corners, read_edges

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_QUICK_PX, _FULL_PX = 900, 2200  # longest side of the copy that is looked at
_AROUND = 11.0  # the other card is within so many marker sides of a found one
_MOST_LOST = 0.35  # share of its edges that a card may lack and still be one
_GOOD_SIDE_PX = 64.0  # side that a marker is brought to for the closest looks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """A card found in the picture."""

    card: int
    corners_px: FloatArray  # (4, 2) from the card's top left, clockwise as the card is read; whole picture

    @property
    def side_px(self) -> float:
        """Mean side of the marker."""
        return float(np.linalg.norm(np.roll(self.corners_px, 1, 0) - self.corners_px, axis=1).mean())

    @property
    def middle_px(self) -> FloatArray:
        """Where the diagonals cross, nearly."""
        middle: FloatArray = self.corners_px.mean(0)
        return middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How one look is taken."""

    longest_px: int
    treat: Callable[[Gray], Gray]
    windows: tuple[int, int, int]  # of the local threshold [px]: smallest, largest, step
    wrong_cells: int = 0  # of 16 that may be misread
    loose: bool = False  # also outlines that are less straight and borders less clean


def get_ready() -> None:
    """Read the image library, which takes a while, before there is a photo to look at."""
    import cv2  # noqa: F401


def _as_is(gray: Gray) -> Gray:
    return gray


def _smooth(gray: Gray) -> Gray:
    """Against grain."""
    import cv2

    return np.asarray(cv2.GaussianBlur(gray, (0, 0), 1.3), np.uint8)


def _even_light(gray: Gray) -> Gray:
    """Against shadow edges and glare: contrast made alike everywhere."""
    import cv2

    plain = cv2.GaussianBlur(gray, (0, 0), 1.0).astype(np.float32)
    low = cv2.boxFilter(plain, -1, (41, 41))
    spread = np.sqrt(np.maximum(cv2.boxFilter((plain - low) ** 2, -1, (41, 41)), 9.0))
    return np.asarray(np.clip(128.0 + 55.0 * (plain - low) / spread, 0, 255), np.uint8)


def _stretched_tones(gray: Gray) -> Gray:
    """Against dim light."""
    import cv2

    return np.asarray(cv2.createCLAHE(4.0, (12, 12)).apply(cv2.medianBlur(gray, 3)), np.uint8)


def _sharpened(gray: Gray) -> Gray:
    """Against blur."""
    import cv2

    soft = cv2.GaussianBlur(gray, (0, 0), 3.0)
    return np.asarray(cv2.addWeighted(gray, 3.0, soft, -2.0, 0.0), np.uint8)


_LOOKS = (
    Look(longest_px=_QUICK_PX, treat=_as_is, windows=(13, 13, 1)),
    Look(longest_px=_FULL_PX, treat=_as_is, windows=(7, 37, 15)),
    Look(longest_px=_FULL_PX, treat=_smooth, windows=(13, 43, 15), wrong_cells=1),
    Look(longest_px=_QUICK_PX, treat=_as_is, windows=(7, 37, 10), wrong_cells=1, loose=True),
    Look(longest_px=_FULL_PX, treat=_even_light, windows=(23, 53, 30), wrong_cells=1, loose=True),
    Look(longest_px=_FULL_PX, treat=_stretched_tones, windows=(13, 53, 20), wrong_cells=1, loose=True),
    Look(longest_px=700, treat=_smooth, windows=(7, 27, 10), wrong_cells=1, loose=True),
)
_CLOSE_LOOKS = tuple(
    Look(longest_px=0, treat=t, windows=(13, 53, 20), wrong_cells=2, loose=True)
    for t in (_as_is, _smooth, _even_light, _sharpened)
)


@cache
def _detector(windows: tuple[int, int, int], wrong_cells: int, loose: bool) -> Any:
    """A detector that knows only the two cards."""
    from cv2 import aruco

    whole = aruco.getPredefinedDictionary(aruco.DICT_4X4_50)
    settings = aruco.DetectorParameters()
    (
        settings.adaptiveThreshWinSizeMin,
        settings.adaptiveThreshWinSizeMax,
        settings.adaptiveThreshWinSizeStep,
    ) = windows
    settings.errorCorrectionRate = 1.0
    if loose:
        settings.polygonalApproxAccuracyRate = 0.06
        settings.maxErroneousBitsInBorderRate = 0.5
        settings.minOtsuStdDev = 3.0
        settings.minMarkerPerimeterRate = 0.02
        settings.adaptiveThreshConstant = 4.0
    return aruco.ArucoDetector(aruco.Dictionary(whole.bytesList[[PALM, CUFF]], 4, wrong_cells), settings)


def detect(gray: Gray, look: Look) -> list[Found]:
    """The cards that one look finds in a picture as it is given.

    Parameters: gray : (h, w) uint8 [-]; look, whose size is left out here.
    Returns: what was found, corners in the pixels of gray.
    Raises: nothing of its own.
    Valid for: any picture of at least 20 px.
    Source: OpenCV's marker detector.
    Checked by: unit/test_vision_finding.py
    """
    corners, numbers, _ = _detector(look.windows, look.wrong_cells, look.loose).detectMarkers(
        look.treat(gray)
    )
    if numbers is None:
        return []
    return [
        Found(card=(PALM, CUFF)[int(n)], corners_px=np.asarray(c, float).reshape(4, 2))
        for n, c in zip(np.ravel(numbers), corners, strict=True)
    ]


def scaled(gray: Gray, ratio: float) -> Gray:
    """A copy of the picture at another size.

    Parameters: gray : (h, w) uint8 [-]; ratio [-].
    Returns: (h', w') uint8 [-].
    Raises: nothing of its own.
    Valid for: ratio above 0.
    Source: OpenCV's area and cubic resampling.
    Checked by: unit/test_vision_finding.py
    """
    import cv2

    if ratio == 1.0:
        return gray
    how = cv2.INTER_AREA if ratio < 1.0 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(gray, None, fx=ratio, fy=ratio, interpolation=how), np.uint8)


def find_cards(gray: Gray) -> list[Found]:
    """Both cards, wherever they are.

    Parameters: gray : (h, w) uint8 [-].
    Returns: what was found, each place once; two entries of one card when it is there twice.
    Raises: nothing of its own.
    Valid for: markers from about 16 px side.
    Source: own order of looks.
    Checked by: unit/test_vision_finding.py
    """
    found: list[Found] = []
    longest = max(gray.shape)
    for look in _LOOKS:
        # A whole share of the pixels is averaged fastest.
        ratio = 1.0 / max(1, round(longest / look.longest_px))
        small = scaled(gray, ratio)
        if min(small.shape) < 20:
            break
        exact = np.array(small.shape[::-1]) / np.array(gray.shape[::-1])
        new = (_moved(f, exact, np.zeros(2)) for f in detect(small, look))
        found = _joined(found, (f for f in new if not look.loose or _is_card(gray, f)))
        if _both(found):
            return found
    for known in tuple(found):
        found = _joined(found, _close_by(gray, known))
        if _both(found):
            break
    return found


def _is_card(gray: Gray, found: Found) -> bool:
    """What a rough look took for a card has edges where a card has them."""
    edges = read_edges(gray, found.card, found.corners_px)
    return edges is not None and edges.lost_ratio < _MOST_LOST


def _both(found: list[Found]) -> bool:
    return {f.card for f in found} == {PALM, CUFF}


def _moved(found: Found, ratio: FloatArray, origin: FloatArray) -> Found:
    """From the pixels of a scaled part to those of the whole picture; pixel centres are whole numbers."""
    return replace(found, corners_px=(found.corners_px + 0.5) / ratio - 0.5 + origin)


def _joined(known: list[Found], more: Iterable[Found]) -> list[Found]:
    """Each place once; what was found first is the better one."""
    result = list(known)
    for one in more:
        if all(
            np.linalg.norm(one.middle_px - o.middle_px) > 0.7 * max(one.side_px, o.side_px) for o in result
        ):
            result.append(one)
    return result


def _close_by(gray: Gray, known: Found) -> list[Found]:
    """The card that is missing, looked for round the one that is there."""
    reach = _AROUND * known.side_px
    low = np.maximum(np.floor(known.middle_px - reach), 0).astype(int)
    high = np.minimum(np.ceil(known.middle_px + reach), [gray.shape[1], gray.shape[0]]).astype(int)
    if (high - low).min() < 20:
        return []
    part = gray[low[1] : high[1], low[0] : high[0]]
    found: list[Found] = []
    for side_px in (_GOOD_SIDE_PX, 0.5 * _GOOD_SIDE_PX):
        ratio = min(side_px / known.side_px, 3.0, 1800 / max(part.shape))
        small = scaled(part, ratio)
        exact = np.array(small.shape[::-1]) / np.array(part.shape[::-1])
        for look in _CLOSE_LOOKS:
            new = [_moved(f, exact, low.astype(float)) for f in detect(small, look)]
            found = _joined(found, (f for f in new if f.card != known.card and _is_card(gray, f)))
            if found:
                return found
    return found


def foreshortening(found: Found) -> float:
    """How flat a card is seen: its shorter way across over its longer one, at its middle.

    Parameters: found.
    Returns: ratio [-], 1 square on, towards 0 edge on.
    Raises: numpy's LinAlgError for corners on a line.
    Valid for: any card.
    Source: singular values of the homography's derivative.
    Checked by: unit/test_vision_finding.py
    """
    h = homography_from_corners(found.corners_px)
    at = apply_homography(h, np.array([[0.0, 0.0], [1e-3, 0.0], [0.0, 1e-3]]))
    values = np.linalg.svd((at[1:] - at[0]).T, compute_uv=False)
    return float(values[1] / values[0])
