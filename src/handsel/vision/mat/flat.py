"""The mat's picture laid flat, with the light on the paper taken out.

Every pixel becomes the logarithm of its light against the paper's own at that place, in three colours. Where the
sheet is printed, or ends, is kept beside it: what is read there says nothing about parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.edges import LINEAR
from handsel.vision.mat.view import MatView

FloatArray = npt.NDArray[np.float64]
Rgb = npt.NDArray[np.uint8]

_LEAST_PX_PER_MM, _MOST_PX_PER_MM = 3.0, 9.0
LIGHT_FLOOR = 0.004  # light below this is noise
_LOG_LINEAR = np.log(np.maximum(LINEAR, LIGHT_FLOOR)).astype(np.float32)  # of each file value
_PLACES_PX = 8  # between these a straight sheet's picture is straight to a hundredth of a pixel
_QUIET = 0.02  # noise below which nothing is smoothed, logarithm of light
_PRINTING_MM = 1.0  # round markers and bars, and within the paper's edge, where nothing is read
_PRINTING_HALF_MM = 0.1  # between pixels a distance is never quite 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """The sheet seen straight on; pixel centres of row i, column j at ((j + 0.5) / px_per_mm, ...) of the sheet."""

    light: npt.NDArray[np.float32]  # (h, w, 3) logarithm of light against the paper's, red, green, blue
    ratio: npt.NDArray[np.float32]  # (h, w, 3) the light itself against the paper's; edges are read in it
    px_per_mm: float
    unlit: float  # typical noise of one pixel of `light` on paper
    printing_mm: npt.NDArray[
        np.float32
    ]  # (h, w) how far it is to markers, bars or the paper's edge [mm], 0 on them

    def ratio_at(self, table_mm: FloatArray) -> FloatArray:
        """`ratio` at places of the table frame: (h, w, 2) [mm] to (h, w, 3)."""
        return self._read(self.ratio, table_mm)

    def at(self, table_mm: FloatArray) -> FloatArray:
        """`light` at places of the table frame: (h, w, 2) [mm] to (h, w, 3)."""
        return self._read(self.light, table_mm)

    def to_printing_mm(self, table_mm: FloatArray) -> FloatArray:
        """How far it is from places of the table frame, (n, 2) [mm], to printing or the paper's edge: (n,) [mm]."""
        return self._read(self.printing_mm, table_mm[:, None])[:, 0] - _PRINTING_HALF_MM

    def _read(self, picture: npt.NDArray[np.float32], table_mm: FloatArray) -> FloatArray:
        """Values between the pixels, to a thirty-second of one."""
        import cv2

        px = (table_mm * [self.px_per_mm, -self.px_per_mm] - 0.5).astype(np.float32)
        values = cv2.remap(picture, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(values, float)


def flattened(rgb: Rgb, view: MatView) -> Flat:
    """The sheet straightened, with the light on the paper taken out.

    Parameters: rgb : (h, w, 3) uint8 [-], the photo; view, of the same photo.
    Returns: Flat.
    Raises: nothing of its own.
    Valid for: light that varies smoothly over the sheet.
    Source: a surface of third degree through the logarithm of what is paper, found from the sheet's border inward.
    Checked by: unit/test_vision_parts.py
    """
    import cv2

    scale = float(np.clip(view.px_per_mm, _LEAST_PX_PER_MM, _MOST_PX_PER_MM))
    shrink = max(1, int(view.px_per_mm / scale))
    if shrink > 1:
        rgb = np.asarray(cv2.resize(rgb, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA))
    wide, high = round(view.mat.width_mm * scale), round(view.mat.height_mm * scale)
    maps = _places(view, wide, high, scale, shrink)
    straight = cv2.remap(rgb, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = _LOG_LINEAR[straight]
    paper, noise = _paper(light, view, scale)
    against = light - paper
    if noise > _QUIET:  # grain is smoothed as far as it asks; an edge stays where it is
        soft = min(0.7 * noise / _QUIET, 1.2)
        against = np.log(np.maximum(cv2.GaussianBlur(np.exp(against), (0, 0), soft), LIGHT_FLOOR))
        noise *= min(1.0, 0.45 / soft)
    ratio = np.minimum(np.exp(against), 2.0)  # a glint is a glint
    return Flat(
        light=against,
        ratio=ratio,
        px_per_mm=scale,
        unlit=noise,
        printing_mm=_to_printing(view, wide, high, scale),
    )


def _to_printing(view: MatView, wide: int, high: int, scale: float) -> npt.NDArray[np.float32]:
    """How far each pixel of the straightened sheet is from what is printed black on it, and from the paper's edge."""
    import cv2

    mat = view.mat
    free = np.zeros((high, wide), np.uint8)
    rim = max(1, round(_PRINTING_MM * scale))
    free[rim:-rim, rim:-rim] = 1
    half = mat.marker_mm / 2
    boxes = [(m.x_mm - half, m.y_mm - half, m.x_mm + half, m.y_mm + half) for m in mat.markers]
    boxes += [(b.x_mm, b.y_mm, b.right_mm, b.lower_mm) for b in (mat.bar_across, mat.bar_along)]
    for left, upper, right, lower in boxes:
        rows = slice(int((upper - _PRINTING_MM) * scale), round((lower + _PRINTING_MM) * scale))
        free[rows, int((left - _PRINTING_MM) * scale) : round((right + _PRINTING_MM) * scale)] = 0
    return np.asarray(cv2.distanceTransform(free, cv2.DIST_L2, 5) / scale, np.float32)


def _paper(light: FloatArray, view: MatView, scale: float) -> tuple[FloatArray, float]:
    """What the paper alone would show, (h, w, 3), and the noise on it."""
    mat, cell = view.mat, 4.0
    step = max(1, round(cell * scale))
    rows, cols = light.shape[0] // step, light.shape[1] // step
    blocks = light[: rows * step, : cols * step].reshape(rows, step, cols, step, 3).swapaxes(1, 2)
    blocks = blocks.reshape(rows, cols, -1, 3)
    grey = (blocks[..., 0] + blocks[..., 1] + blocks[..., 2]) / np.float32(3)
    bright = np.percentile(grey, 60, axis=2)
    near = (np.abs(grey - bright[..., None]) < 0.12).astype(np.float32)
    value = np.einsum("rcpk,rcp->rck", blocks, near) / np.maximum(near.sum(2), 1)[..., None]
    even = grey.std(2) if grey.size else bright
    x = (np.arange(cols) + 0.5) * step / scale / mat.width_mm * 2 - 1
    y = (np.arange(rows) + 0.5) * step / scale / mat.height_mm * 2 - 1
    u, v = np.meshgrid(x, y)
    free = mat.free
    at_x, at_y = (u + 1) / 2 * mat.width_mm, (v + 1) / 2 * mat.height_mm
    border = (at_x < free.x_mm) | (at_x > free.right_mm) | (at_y < free.y_mm) | (at_y > free.lower_mm)
    border &= (np.minimum(at_x, mat.width_mm - at_x) > cell) & (np.minimum(at_y, mat.height_mm - at_y) > cell)
    for m in mat.markers:
        border &= (np.abs(at_x - m.x_mm) > mat.marker_mm / 2 + cell) | (
            np.abs(at_y - m.y_mm) > mat.marker_mm / 2 + cell
        )
    level = value.mean(2)
    usable = border & (even < 0.15)
    if usable.sum() < 20:
        usable = border
    # First what most of the border shows; then everything that continues it.
    usable &= np.abs(level - np.median(level[usable])) < 0.9
    for degree in (1, 2, 2, 3, 3, 3):
        powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
        terms = np.stack([u**i * v**j for i, j in powers], -1)
        weight = usable.astype(float)
        for _ in range(4):
            a = terms[usable] * np.sqrt(weight[usable])[:, None]
            fitted = np.linalg.lstsq(
                a.T @ a + 1e-3 * np.eye(len(powers)),
                a.T @ (value[usable] * np.sqrt(weight[usable])[:, None]),
                rcond=None,
            )[0]
            left = (value - terms @ fitted).mean(2)
            # Shadow is only ever darker: what is below the surface counts less than what is above it.
            weight = 1.0 / (1.0 + (np.where(left < 0, left, 0.5 * left) / 0.03) ** 2)
        colour_off = np.abs(value - terms @ fitted - left[..., None]).max(2)
        inside = (np.minimum(at_x, mat.width_mm - at_x) > cell) & (
            np.minimum(at_y, mat.height_mm - at_y) > cell
        )
        usable = inside & (np.abs(left) < 0.10) & (colour_off < 0.05) & (even < 0.2)
        if usable.sum() < 30:
            usable = border & (np.abs(left) < 0.3)
    fine_u = (np.arange(light.shape[1]) + 0.5) / scale / mat.width_mm * 2 - 1
    fine_v = (np.arange(light.shape[0]) + 0.5) / scale / mat.height_mm * 2 - 1
    of_v = np.zeros((degree + 1, len(fine_v), 3))  # what multiplies each power of u, row by row
    for (i, j), factor in zip(powers, fitted, strict=True):
        of_v[i] += fine_v[:, None] ** j * factor
    paper = np.vander(fine_u, degree + 1, increasing=True).astype(np.float32) @ np.moveaxis(
        of_v, 0, 1
    ).astype(np.float32)
    noise = float(np.median(even[usable])) if usable.any() else 0.05
    return np.asarray(paper), max(noise, 0.003)


def _places(view: MatView, wide: int, high: int, scale: float, shrink: int) -> npt.NDArray[np.float32]:
    """Where each pixel of the straightened sheet is in the photo, (high, wide, 2): lines between places near by."""
    import cv2

    coarse = tuple(-(-n // _PLACES_PX) + 2 for n in (wide, high))
    x, y = (((np.arange(n) - 0.5) * _PLACES_PX) / scale for n in coarse)
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    px = ((view.sheet_to_px(grid) + 0.5) / shrink - 0.5).astype(np.float32).reshape(coarse[1], coarse[0], 2)
    fine = cv2.resize(px, (coarse[0] * _PLACES_PX, coarse[1] * _PLACES_PX), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(fine[_PLACES_PX : _PLACES_PX + high, _PLACES_PX : _PLACES_PX + wide])
