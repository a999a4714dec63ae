"""What sharp edges run round on the straightened sheet, as masks of its pixels.

Soft shadow has no edge; hairlines, gaps and holes in what is steep are tidied up here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat

Mask = npt.NDArray[np.bool_]

_SHARP_PER_MM = 0.085  # slope of an edge [1/mm]
CLOSED = 0.72  # of its hull that a thing fills whose edges were followed all round
LEAST_MM2 = 12.0  # smaller specks are dust, or printing
_LINE_MM = 0.8  # thinner things are printed lines
_THIN_MM = 0.4  # what is steep over less is a hairline on the sheet, and may join what lies beside it


def steepness(soft: npt.NDArray[np.float32], flat: Flat) -> npt.NDArray[np.float32]:
    """How steeply light changes, against what an edge must show: soft shadow stays below 1.

    Parameters: soft : (h, w, 3) float32 [-], smoothed logarithm of light against the paper's; flat, of the same photo.
    Returns: (h, w) float32 [-], of the three colours the one that changes most.
    Raises: nothing of its own.
    Valid for: the straightened sheet.
    Source: length of the gradient by Sobel's differences; the least slope chosen on rendered kits.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    scale = flat.px_per_mm
    across, along = cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)
    square = across * across + along * along
    slope = np.sqrt(np.maximum(np.maximum(square[..., 0], square[..., 1]), square[..., 2])) / 8 * scale
    return np.asarray(slope / max(_SHARP_PER_MM, 3.0 * flat.unlit * scale / 4), np.float32)


def edged(mask: Mask, scale: float, gap_mm: float) -> Mask:
    """What sharp edges run round: parts of any colour, and the shadows of small lamps; soft shadow has no edge."""
    import cv2

    k = max(1, round(gap_mm * scale / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    thin = max(2, round(_THIN_MM * scale))
    work = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((thin, thin), np.uint8))
    work = cv2.morphologyEx(work, cv2.MORPH_CLOSE, disc)
    return cleaned(work > 0, scale)


def cleaned(mask: Mask, scale: float) -> Mask:
    """Thin lines taken out, small gaps closed, holes filled.

    Parameters: mask : (h, w) bool [-]; scale [px/mm].
    Returns: (h, w) bool [-], without pieces of less than 12 mm2.
    Raises: nothing of its own.
    Valid for: masks on the straightened sheet.
    Source: morphological closing and opening; OpenCV's border following.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    k = max(1, round(_LINE_MM * scale / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k + 1, 2 * k + 1))
    small = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    work = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, small)
    work = cv2.morphologyEx(work, cv2.MORPH_OPEN, disc)
    rings, _ = cv2.findContours(work, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(work)
    for ring in rings:
        if cv2.contourArea(ring) / scale**2 >= LEAST_MM2:
            cv2.drawContours(filled, [ring], -1, 1, cv2.FILLED)
    return np.asarray(filled, bool)


def hulls(mask: Mask) -> list[Mask]:
    """The hulls of a mask's pieces, those that overlap as one."""
    import cv2

    joined = mask.astype(np.uint8)
    while True:
        rings, _ = cv2.findContours(joined, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        hulled = np.zeros_like(joined)
        for ring in rings:
            cv2.drawContours(hulled, [cv2.convexHull(ring)], -1, 1, cv2.FILLED)
        if (hulled == joined).all():
            break
        joined = hulled
    count, labels = cv2.connectedComponents(joined)
    return [labels == k for k in range(1, count)]


def fills_hull(mask: Mask) -> bool:
    """Whether the largest piece of a mask is most of what its hull covers: its edges were followed all round."""
    import cv2

    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(rings, key=cv2.contourArea)
    return cv2.contourArea(ring) > CLOSED * cv2.contourArea(cv2.convexHull(ring))
