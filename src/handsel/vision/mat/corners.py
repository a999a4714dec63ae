"""Where exactly a marker's corners are: its four outer edges measured, a line laid through each, lines crossed.

Light is taken back to linear first, for the reason given in `edges`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.edges import LINEAR, apply_homography, homography_from_corners

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_ALONG = np.linspace(-2.6, 2.6, 27)  # places along a side, cells from its middle
_ACROSS = np.linspace(-0.7, 0.7, 29)  # places across it
_SIDES = ((0, -3.0), (1, 3.0), (0, 3.0), (1, -3.0))  # top, right, bottom, left: 0 runs along x


def sampled(picture: npt.NDArray[np.floating], at_px: FloatArray) -> FloatArray:
    """Values between the pixels.

    Parameters: picture : (h, w) or (h, w, c) float [-]; at_px : (..., 2) float [px], x then y.
    Returns: (...) or (..., c) float [-]; beyond the picture the nearest pixel's.
    Raises: nothing of its own.
    Valid for: pictures of at least 2 by 2 pixels.
    Source: bilinear interpolation.
    Checked by: unit/test_vision_mat_view.py
    """
    height, width = picture.shape[:2]
    x, y = np.clip(at_px[..., 0], 0, width - 1.001), np.clip(at_px[..., 1], 0, height - 1.001)
    col, row = x.astype(np.intp), y.astype(np.intp)
    dx, dy = x - col, y - row
    if picture.ndim == 3:
        dx, dy = dx[..., None], dy[..., None]
    upper = picture[row, col] * (1 - dx) + picture[row, col + 1] * dx
    lower = picture[row + 1, col] * (1 - dx) + picture[row + 1, col + 1] * dx
    result: FloatArray = upper * (1 - dy) + lower * dy
    return result


def light_at(gray: Gray, at_px: FloatArray) -> FloatArray:
    """Light between the pixels of a picture, for which only what lies round the places is taken back to light.

    Parameters: gray : (h, w) uint8 [-], file values; at_px : (..., 2) float [px], x then y.
    Returns: (...) float [-], 1 for white.
    Raises: nothing of its own.
    Valid for: as `sampled`.
    Source: as `sampled`.
    Checked by: unit/test_vision_mat_view.py
    """
    size = np.array(gray.shape[::-1])
    places = at_px.reshape(-1, 2)
    low = np.clip(np.floor(places.min(0)), 0, size - 2).astype(int)
    high = np.clip(np.ceil(places.max(0)) + 2, low + 2, size).astype(int)
    return sampled(LINEAR[gray[low[1] : high[1], low[0] : high[0]]], at_px - low)


def refined_corners(gray: Gray, corners_px: FloatArray) -> FloatArray | None:
    """A marker's corners from its outer edges.

    Parameters: gray : (h, w) uint8 [-]; corners_px : (4, 2) float [px], good to half a cell.
    Returns: (4, 2) float [px], or None where an edge cannot be followed.
    Raises: nothing of its own.
    Valid for: markers of 6 cells whose border is black on white, from about 3 px a cell.
    Source: own construction: the middle of the step in brightness across each side, lines by least squares.
    Checked by: unit/test_vision_mat_view.py
    """
    for _ in range(2):
        try:
            h = homography_from_corners(corners_px)
        except np.linalg.LinAlgError:
            return None
        lines = [_side_line(gray, h, axis, at) for axis, at in _SIDES]
        if any(line is None for line in lines):
            return None
        crossed = [np.cross(lines[k - 1], lines[k]) for k in range(4)]  # type: ignore[arg-type]
        if any(abs(c[2]) < 1e-9 for c in crossed):
            return None
        new = np.array([c[:2] / c[2] for c in crossed])
        side = float(np.linalg.norm(np.roll(corners_px, 1, 0) - corners_px, axis=1).mean())
        if np.abs(new - corners_px).max() > 0.8 * side / 6.0:
            return None
        corners_px = new
    return corners_px


def _side_line(gray: Gray, h: FloatArray, axis: int, at: float) -> FloatArray | None:
    """(3,) line a x + b y + c = 0 [px] along one outer side."""
    out = np.sign(at)
    along, across = np.meshgrid(_ALONG, at + out * _ACROSS, indexing="ij")
    cells = np.stack([along, across] if axis == 0 else [across, along], -1)
    places = apply_homography(h, cells.reshape(-1, 2)).reshape(*cells.shape)
    light = light_at(gray, places)  # (along, across), from black to white
    low, high = light[:, :6].mean(1), light[:, -6:].mean(1)
    clear = high - low > 0.5 * float(np.median(high - low))
    if float(np.median(high - low)) < 0.02 or clear.sum() < 12:
        return None
    share = (light - low[:, None]) / np.maximum(high - low, 1e-6)[:, None]
    # Where a blurred step has its middle: its area tells, whatever the blur.
    step = (_ACROSS[-1] - _ACROSS[0]) / (len(_ACROSS) - 1)
    edge = _ACROSS[-1] + step / 2 - share.sum(1) * step
    middle = at + out * edge
    cell = np.column_stack([_ALONG, middle] if axis == 0 else [middle, _ALONG])[clear]
    return _line(apply_homography(h, cell))


def _line(points: FloatArray) -> FloatArray | None:
    weight = np.ones(len(points))
    for _ in range(4):
        centre = (points * weight[:, None]).sum(0) / weight.sum()
        away = (points - centre) * np.sqrt(weight)[:, None]
        normal = np.linalg.svd(away, full_matrices=False)[2][-1]
        off = np.abs((points - centre) @ normal)
        weight = 1.0 / (1.0 + (off / max(1.5 * float(np.median(off)), 0.02)) ** 2)
    line: FloatArray = np.r_[normal, -normal @ centre]
    return line
