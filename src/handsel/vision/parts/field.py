"""Distances and edges round a patch on a grid, so that a search may ask for many places at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.mat.flat import Flat

FloatArray = npt.NDArray[np.float64]
Grid = npt.NDArray[np.float32]
Places = npt.NDArray[np.intp]

SEARCH_MM = 1.0  # steps of a search
_PER_MM = 2.0
_RIM_MM = 14.0  # round the patch, so far as an outline may slide
_CLEAR_PER_MM = 0.10  # slope of a clear edge, blurred as a search needs it [1/mm]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Distances around a patch: signed to its outline, and how steep the nearest edge of any sort is."""

    low: FloatArray  # (2,) [mm] of the first pixel's centre
    per_mm: float
    signed: Grid  # (h, w) [mm], positive outside
    slopes: Grid  # (h, w, 3) the same with its slope along x and y [-]
    steep_x: Grid  # (h, w) how steeply light changes along x, 1 at a clear edge [-]
    steep_y: Grid

    def at(self, values: Grid, points: FloatArray) -> FloatArray:
        """Values at points [mm]; beyond the grid the nearest."""
        index = self.index(points)
        x = np.minimum(np.maximum(index[..., 0], 0), values.shape[1] - 1)
        y = np.minimum(np.maximum(index[..., 1], 0), values.shape[0] - 1)
        result: FloatArray = values[y, x].astype(float)
        return result

    def index(self, points: FloatArray) -> Places:
        """Column and row of points [mm]."""
        return ((points - self.low) * self.per_mm + 0.5).astype(np.intp)

    def shifted(self, values: Grid, at: Places, moves: Places) -> Grid:
        """Values under n places that are moved m ways, in whole columns and rows: (m, n)."""
        width = values.shape[1]
        flat = (at[:, 1] * width + at[:, 0])[None] + (moves[:, 1] * width + moves[:, 0])[:, None]
        found: Grid = values.ravel().take(flat, mode="clip")
        return found


def field_of(flat: Flat, outline_mm: FloatArray) -> Field:
    """The field round an outline.

    Parameters: flat; outline_mm : (n, 2) float [mm], table frame, closed.
    Returns: Field.
    Raises: nothing of its own.
    Valid for: outlines on the sheet.
    Source: distance transforms of the area inside and outside.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    low = outline_mm.min(0) - _RIM_MM
    wide, high = np.ceil((np.ptp(outline_mm, axis=0) + 2 * _RIM_MM) * _PER_MM).astype(int)
    mask = np.zeros((high, wide), np.uint8)
    cv2.fillPoly(mask, [np.rint((outline_mm - low) * _PER_MM).astype(np.int32)], 1)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    within = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    x, y = np.meshgrid(low[0] + np.arange(wide) / _PER_MM, low[1] + np.arange(high) / _PER_MM)
    light = cv2.GaussianBlur(
        flat.at(np.stack([x, y], -1)).astype(np.float32), (0, 0), SEARCH_MM * _PER_MM / 2
    )
    # Of the three colours the one that changes most.
    steep = [cv2.Sobel(light, cv2.CV_32F, *way) / 8 * _PER_MM / _CLEAR_PER_MM for way in ((1, 0), (0, 1))]
    most = np.hypot(*steep).argmax(2)[..., None]
    steep_x, steep_y = (np.take_along_axis(one, most, 2)[..., 0].astype(np.float32) for one in steep)
    signed = (outside - within) / _PER_MM
    smooth = cv2.GaussianBlur(signed, (0, 0), 1.0)
    ways = (cv2.Sobel(smooth, cv2.CV_32F, *way) / 8 * _PER_MM for way in ((1, 0), (0, 1)))
    return Field(
        low=low,
        per_mm=_PER_MM,
        signed=signed,
        slopes=np.stack([signed, *ways], -1),
        steep_x=steep_x,
        steep_y=steep_y,
    )
