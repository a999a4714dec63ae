"""What the square codes in a picture say: the codes on labels, photographed by hand in whatever light.

Looks are taken from plain to patient. The plain ones are all taken, so that a second code beside the first
is noticed; the patient ones only while nothing has been read.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Gray = npt.NDArray[np.uint8]

_PLAIN_PX = (1000, 1800)  # longest side of the copy that is looked at; 3 to 8 pixels a module read best
_LEAST_PX = 700  # a smaller picture is enlarged to this: the finder wants more than one pixel a module


def square_texts(gray: Gray) -> tuple[str, ...]:
    """The texts of the QR codes in a picture, each once, in the order in which they were read.

    Parameters: gray (height, width) [0 black, 255 white], lying or standing any way.
    Returns: the texts; none where nothing could be read, which says nothing about what is there.
    Raises: nothing of its own.
    Valid for: codes whose modules are at least about 2 pixels wide, on a face seen up to about 40 degrees
        from square on. A mirrored picture and light modules on a dark ground are not read.
    Source: ISO/IEC 18004 for the code and the correction of its errors; found and read by OpenCV.
    Checked by: unit/test_vision_squares.py
    """
    found: dict[str, None] = {}
    for longest_px in _PLAIN_PX:
        found |= dict.fromkeys(_read(_sized(gray, longest_px)))
    for longest_px, treat in _PATIENT:
        if found:
            break
        found |= dict.fromkeys(_read(treat(_sized(gray, longest_px))))
    return tuple(found)


def _read(gray: Gray) -> list[str]:
    """By two finders: one is better with small and slanted codes, the other with soft ones."""
    import cv2

    texts: list[str] = []
    for reader in (cv2.QRCodeDetectorAruco(), cv2.QRCodeDetector()):
        try:
            _, said, _, _ = reader.detectAndDecodeMulti(gray)
        except (cv2.error, UnicodeDecodeError):
            continue  # it stumbles over some outlines, and over texts in no known alphabet
        texts += [text for text in said if text]
    return texts


def _sized(gray: Gray, longest_px: int) -> Gray:
    """A copy with its longest side at most this long, and no smaller than the finder needs."""
    import cv2

    longest = max(gray.shape)
    wanted = min(longest_px, max(longest, _LEAST_PX))
    if wanted == longest:
        return gray
    height, width = (max(1, round(n * wanted / longest)) for n in gray.shape)
    how = cv2.INTER_AREA if wanted < longest else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(gray, (width, height), interpolation=how), np.uint8)


def _as_is(gray: Gray) -> Gray:
    return gray


def _evened(gray: Gray) -> Gray:
    """Against the dark, and light from one side."""
    import cv2

    return np.asarray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(gray), np.uint8)


def _sharpened(gray: Gray) -> Gray:
    """Against a hand that moved, or a lens that looked elsewhere."""
    import cv2

    soft = cv2.GaussianBlur(gray, (0, 0), 3.0)
    return np.asarray(cv2.addWeighted(gray, 2.5, soft, -1.5, 0), np.uint8)


def _smoothed(gray: Gray) -> Gray:
    """Against grain."""
    import cv2

    return np.asarray(cv2.GaussianBlur(gray, (0, 0), 1.5), np.uint8)


# Only while nothing has been read: longest side, and what against.
_PATIENT: tuple[tuple[int, Callable[[Gray], Gray]], ...] = (
    (700, _as_is), (1400, _evened), (1400, _sharpened), (1400, _smoothed), (3000, _as_is), (3000, _sharpened),
)  # fmt: skip
