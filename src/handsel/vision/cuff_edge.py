"""The edge of a cuff between the pixels: where the colour is half way between cuff and ground."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.colour import lab_from_srgb
from handsel.vision.curves import even, smoothed

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]

_STEPS = 240  # points of the outside
COLOURED = 18.0  # distance in a* and b* from which colour alone parts cuff and ground


def refined_edge(
    pixels: Pixels, outside: FloatArray, reach_px: float
) -> tuple[FloatArray, float, float, float]:
    """The outside where the colour is half way between both sides.

    Parameters: pixels : (h, w, 3) uint8, sRGB; outside : (n, 2) float [px], roughly; reach_px, how far the edge may
        lie from it.
    Returns: the outside, (240, 2) float [px]; its noise [px]; the width of the edge as a deviation [px]; the share of
        it that was not seen [-].
    Source: linear interpolation of the colour across the edge, own construction.
    Checked by: unit/test_vision_cuff.py
    """
    import cv2

    points = even(outside, _STEPS)
    way = np.gradient(smoothed(points, 4), axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([way[:, 1], -way[:, 0]])
    middle = points.mean(0)
    if ((points - middle) * normal).sum() < 0:
        normal = -normal
    half = max(4.0, 2.2 * reach_px)
    across = np.linspace(-half, half, 2 * round(half / 0.5) + 1)
    spots = points[:, None] + across[None, :, None] * normal[:, None]
    seen = cv2.remap(
        pixels,
        spots[..., 0].astype(np.float32),
        spots[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = lab_from_srgb(np.asarray(seen, np.uint8))
    coloured = np.linalg.norm(np.median(light[:, :3, 1:] - light[:, -3:, 1:], axis=(0, 1)))
    # Beside a coloured cuff a shadow on the ground is ground: its colour says so, its lightness does not.
    light = light * [0.3 if coloured > COLOURED else 1.0, 1.0, 1.0]
    # Neighbours along the edge share their colours.
    light = np.stack([cv2.GaussianBlur(light[..., k], (1, 5), 1.2) for k in range(3)], -1)
    quarter = max(2, len(across) // 5)
    inside, beyond = light[:, :quarter].mean(1), light[:, -quarter:].mean(1)
    step = beyond - inside
    size = np.linalg.norm(step, axis=1)
    share = ((light - inside[:, None]) * step[:, None]).sum(-1) / np.maximum(size, 1e-6)[:, None] ** 2
    shift, width = _crossings(share, across)
    clear = (size > 6.0) & np.isfinite(shift) & (np.abs(shift) < 0.85 * half)
    if clear.sum() < 20:
        return points, 1.0, 0.0, 1.0
    at = np.arange(len(points))
    filled = np.interp(at, at[clear], shift[clear])
    calm = _running_median(filled, 4)
    spread = 1.4826 * float(np.median(np.abs(filled - calm)[clear])) + 1e-9
    stray = np.abs(filled - calm) > max(4.0 * spread, 1.0)
    shift = np.where(stray, calm, filled)
    fine = points + shift[:, None] * normal
    lost = float(1.0 - (clear & ~stray).mean())
    return fine, float(np.hypot(spread, 0.15)), float(np.median(width[clear])), lost


def _crossings(share: FloatArray, across: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where each profile crosses one half, nearest its middle, and how wide its crossing is (as a deviation)."""
    above = share >= 0.5
    rises = ~above[:, :-1] & above[:, 1:]
    middle = (across[:-1] + across[1:]) / 2
    cost = np.where(rises, np.abs(middle)[None], np.inf)
    k = cost.argmin(1)
    row = np.arange(len(share))
    low, high = share[row, k], share[row, k + 1]
    step = across[1] - across[0]
    at = across[k] + step * (0.5 - low) / np.maximum(high - low, 1e-6)
    slope = np.maximum((high - low) / step, 1e-6)
    at = np.where(np.isfinite(cost[row, k]), at, np.nan)
    return at, 1.0 / (slope * np.sqrt(2.0 * np.pi))


def _running_median(values: FloatArray, half: int) -> FloatArray:
    padded = np.concatenate([np.full(half, values[0]), values, np.full(half, values[-1])])
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))
