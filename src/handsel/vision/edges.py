"""Where exactly the edges of a found card run: each piece of edge fitted with the pattern blurred as the photo is.

The card is straightened by its homography into a small patch with a known number of samples per cell. There
the whole blurred pattern is known but for a brightness, a contrast and a small shift of each piece of edge, so
neighbouring edges that a blur has merged disturb nothing. Shifts correct the homography, the spread of the
residuals corrects the blur, and after a few rounds the shifts that are left are the measurement.

Brightness is taken back to linear light first: blur mixes light, not file values, and an edge read in
file values lies too far toward black.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import ceil, erf, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.cards import CARD_NAMES, CELL_MM, GRID, EdgePieces, edge_pieces, pattern

FloatArray = npt.NDArray[np.float64]
Gray = npt.NDArray[np.uint8]

_REACH = 0.75  # cells on either side of an edge that are looked at
_TRIM = 0.12  # of a cell left out at each end of a piece
_SAMPLES, _FEW_SAMPLES = 14, 6  # most samples per cell at the end, and while the card is still being placed
_GRID_PX_SD = 0.035  # what the pixel grid and its compression do to one piece of edge [px]
_ROUNDS = 5  # the last with all samples
_BLUR_MIN, _BLUR_MAX = 0.03, 0.60  # of a cell

_VALUES = np.arange(256) / 255.0
LINEAR = np.where(_VALUES <= 0.04045, _VALUES / 12.92, ((_VALUES + 0.055) / 1.055) ** 2.4).astype(np.float32)

_ERF_AT = np.linspace(-4.0, 4.0, 1601)
_NORMAL_CDF = np.array([0.5 * (1.0 + erf(x / sqrt(2.0))) for x in _ERF_AT])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeReadings:
    """The edges of one card as measured; n pieces that could be used."""

    card: int
    homography: FloatArray  # (3, 3) cells (x right, y down, from the middle) to picture [px]
    card_mm: FloatArray  # (n, 2) [mm] middle of each piece, card frame
    at_px: FloatArray  # (n, 2) [px] where the picture shows it
    normal: FloatArray  # (n, 2) unit, picture, toward the white side
    u_noise_px: FloatArray  # (n,) [px] from the scatter of the brightness
    u_grid_px: FloatArray  # (n,) [px] from the pixel grid
    across: npt.NDArray[np.intp]  # (n,) which way the edge is crossed, as in EdgePieces
    blur_px: float  # standard deviation of the blur, the worse direction
    blur_cells: float  # the same in cells
    side_px: float  # mean side of the marker in the picture
    lost_ratio: float  # share of the pieces that do not look like the pattern
    contrast: float  # black against white, 0 none to 1 full

    @property
    def name(self) -> str:
        """The card as the reader knows it."""
        return CARD_NAMES[self.card]


def homography_from_corners(corners_px: FloatArray) -> FloatArray:
    """The homography that takes the marker's square to four corners.

    Parameters: corners_px : (4, 2) float [px], from the top left clockwise as the card is read.
    Returns: (3, 3) float [-], from cells to picture.
    Raises: numpy's LinAlgError when three corners lie on a line.
    Valid for: corners of a convex quadrilateral.
    Source: direct linear transformation; four points, eight unknowns.
    Checked by: unit/test_vision_edges.py
    """
    square = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]])
    rows, right = [], []
    for (x, y), (u, v) in zip(square, corners_px, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)


def apply_homography(h: FloatArray, points: FloatArray) -> FloatArray:
    """Points through a homography.

    Parameters: h : (3, 3) float [-]; points : (n, 2) float [-].
    Returns: (n, 2) float [-], in the units that h maps to.
    Raises: nothing of its own.
    Valid for: points off the vanishing line.
    Source: definition.
    Checked by: unit/test_vision_edges.py
    """
    lifted = points @ h[:, :2].T + h[:, 2]
    result: FloatArray = lifted[:, :2] / lifted[:, 2:]
    return result


def read_edges(gray: Gray, card: int, corners_px: FloatArray) -> EdgeReadings | None:
    """Measure every edge of a found card.

    Parameters: gray : (h, w) uint8 [-], the picture in file values; card, PALM or CUFF;
        corners_px : (4, 2) float [px], good to about a third of a cell.
    Returns: EdgeReadings, or None when the pattern is not there after all.
    Raises: nothing of its own.
    Valid for: markers from about 12 px side, blur up to half a cell.
    Source: own construction: least squares of brightness, contrast, shift and blur per piece of edge.
    Checked by: unit/test_vision_edges.py
    """
    try:
        h = homography_from_corners(corners_px)
    except np.linalg.LinAlgError:
        return None
    pieces = edge_pieces(card)
    blur = np.array([0.15, 0.15])
    settled = False
    for step in range(_ROUNDS):
        if (fit := _fit(gray, card, h, blur, _SAMPLES if settled else _FEW_SAMPLES)) is None:
            return None
        good = fit.likeness > 0.5
        if good.sum() < 12:
            return None
        change = _correction(pieces, np.clip(fit.shift, -0.5, 0.5), fit.u_shift, good)
        h = h @ change
        h /= h[2, 2]
        old_blur, blur = blur, _new_blur(blur, fit, pieces, good)
        if settled:
            break
        steady = np.abs(change - np.eye(3)).max() < 0.05 and np.abs(blur / old_blur - 1.0).max() < 0.35
        settled = step >= _ROUNDS - 2 or bool(steady)
    fit = _fit(gray, card, h, blur, _SAMPLES)
    return None if fit is None else _readings(card, h, blur, fit)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    shift: FloatArray  # (n,) [cells] from where the homography puts the piece, along +x or +y
    u_shift: FloatArray  # (n,) [cells]
    blur_change: FloatArray  # (n,) of the squared blur [cells^2]
    blur_weight: FloatArray
    likeness: FloatArray  # (n,) 1 when the piece looks just like the pattern, 0 or less when not at all
    contrast: FloatArray  # (n,)


def _patch(gray: Gray, h: FloatArray, samples: int) -> FloatArray | None:
    """The card straightened: (8 samples, 8 samples) in linear light; None when it leaves the picture."""
    import cv2

    half = GRID / 2.0
    corners = apply_homography(h, np.array([[-half, -half], [half, -half], [half, half], [-half, half]]))
    if not np.isfinite(corners).all():
        return None
    low, high = np.floor(corners.min(0)).astype(int) - 2, np.ceil(corners.max(0)).astype(int) + 3
    if (high - low).max() > 4 * max(gray.shape):
        return None
    low, high = np.maximum(low, 0), np.minimum(high, [gray.shape[1], gray.shape[0]])
    if (high - low).min() < 8:
        return None
    part = LINEAR[gray[low[1] : high[1], low[0] : high[0]]]
    shift = np.array([[1.0, 0.0, -low[0]], [0.0, 1.0, -low[1]], [0.0, 0.0, 1.0]])
    cell_px = float(np.linalg.norm(np.diff(corners, axis=0), axis=1).mean()) / GRID
    if (shrink := int(cell_px / samples)) > 1:  # many pixels per sample: average them first
        part = np.asarray(
            cv2.resize(
                part[: part.shape[0] // shrink * shrink, : part.shape[1] // shrink * shrink],
                None,
                fx=1 / shrink,
                fy=1 / shrink,
                interpolation=cv2.INTER_AREA,
            )
        )
        half_px = 0.5 / shrink - 0.5
        shift = np.array([[1 / shrink, 0, half_px], [0, 1 / shrink, half_px], [0, 0, 1]]) @ shift
    to_cells = np.array(
        [[1 / samples, 0, 0.5 / samples - half], [0, 1 / samples, 0.5 / samples - half], [0, 0, 1]]
    )
    size = GRID * samples
    patch = cv2.warpPerspective(
        part,
        shift @ h @ to_cells,
        (size, size),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(patch, dtype=float)


def _steps(samples: int, blur: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of each cell in each sample along one direction, and its first and second derivative.

    Each (8 samples, 8). The outer cells reach on outward: the card is white beyond them.
    """
    at = (np.arange(GRID * samples) + 0.5) / samples - GRID / 2.0
    lines = np.arange(GRID + 1) - GRID / 2.0
    z = (at[:, None] - lines) / blur
    z[:, 0], z[:, -1] = 9.0, -9.0
    cdf = np.interp(z, _ERF_AT, _NORMAL_CDF)
    pdf = np.exp(-0.5 * z**2) / sqrt(2.0 * np.pi) / blur
    return cdf[:, :-1] - cdf[:, 1:], pdf[:, :-1] - pdf[:, 1:], -np.diff(-z * pdf / blur, axis=1)


@cache
def _windows(card: int, samples: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Patch rows and columns of the samples of every piece: each (n, along, across)."""
    pieces = edge_pieces(card)
    trim = max(1, round(_TRIM * samples))
    reach = int(_REACH * samples)
    along = np.arange(trim, samples - trim)[None, :, None]
    across = np.arange(-reach, reach)[None, None, :]
    shape = np.broadcast_shapes(along.shape, across.shape)
    row0, col0 = pieces.row[:, None, None] * samples, pieces.col[:, None, None] * samples
    goes_right = (pieces.across == 0)[:, None, None]
    along, across = np.broadcast_to(along, shape), np.broadcast_to(across, shape)
    return row0 + np.where(goes_right, along, across), col0 + np.where(goes_right, across, along)


def _fit(gray: Gray, card: int, h: FloatArray, blur: FloatArray, most_samples: int) -> _Fit | None:
    """Brightness, contrast, shift and change of blur of every piece, by linear least squares."""
    pieces, cells = edge_pieces(card), pattern(card)
    corners = apply_homography(h, np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]))
    cell_px = float(np.linalg.norm(np.roll(corners, 1, 0) - corners, axis=1).mean()) / 6.0
    if not np.isfinite(cell_px) or cell_px < 1.0:
        return None
    samples = 2 * int(np.clip(ceil(cell_px / 1.6), 3, most_samples // 2))
    patch = _patch(gray, h, samples)
    if patch is None:
        return None
    (x0, x1, x2), (y0, y1, y2) = _steps(samples, blur[0]), _steps(samples, blur[1])
    rows, cols = _windows(card, samples)
    goes_right = (pieces.across == 0)[:, None, None]
    light, model = patch[rows, cols], (y0 @ cells @ x0.T)[rows, cols]
    first = np.where(goes_right, (y0 @ cells @ x1.T)[rows, cols], (y1 @ cells @ x0.T)[rows, cols])
    second = np.where(goes_right, (y0 @ cells @ x2.T)[rows, cols], (y2 @ cells @ x0.T)[rows, cols])
    n = light.shape[0]
    columns = np.stack([np.ones_like(light), model, first, second], -1).reshape(n, -1, 4)
    light = light.reshape(n, -1)
    normal = columns.transpose(0, 2, 1) @ columns + 1e-9 * np.eye(4)
    inverse = np.linalg.inv(normal)
    solved = (inverse @ (columns.transpose(0, 2, 1) @ light[:, :, None]))[:, :, 0]
    left = light - (columns @ solved[:, :, None])[:, :, 0]
    spread = light.var(axis=1) + 1e-9
    variance = (left**2).sum(1) / max(light.shape[1] - 4, 1)
    contrast = np.where(solved[:, 1] > 1e-4, solved[:, 1], 1e-4)
    # Samples closer than a pixel tell the same thing twice.
    repeats = max(1.0, (samples / cell_px) ** 2)
    pooled = np.maximum(variance, 0.5 * np.median(variance))
    u_shift = np.sqrt(pooled * inverse[:, 2, 2] * repeats) / contrast
    likeness = np.where(solved[:, 1] > 1e-4, 1.0 - (left**2).mean(1) / spread, -1.0)
    white = solved[:, 0] + solved[:, 1]
    return _Fit(
        shift=-solved[:, 2] / contrast,
        u_shift=u_shift,
        blur_change=2.0 * solved[:, 3] / contrast,
        blur_weight=contrast**2 / np.maximum(pooled * inverse[:, 3, 3], 1e-12),
        likeness=likeness,
        contrast=contrast / np.maximum(white, 1e-3),
    )


def _new_blur(blur: FloatArray, fit: _Fit, pieces: EdgePieces, good: npt.NDArray[np.bool_]) -> FloatArray:
    """The blur of each direction after the change that most of its pieces ask for."""
    new = blur.copy()
    for axis in (0, 1):
        mine = good & (pieces.across == axis)
        if mine.sum() >= 4:
            change = float(np.median(fit.blur_change[mine]))
            new[axis] = sqrt(max(blur[axis] ** 2 + np.clip(change, -0.6 * blur[axis] ** 2, 0.03), 0.0))
    return np.clip(new, _BLUR_MIN, _BLUR_MAX)


def _correction(
    pieces: EdgePieces, shift: FloatArray, u_shift: FloatArray, good: npt.NDArray[np.bool_]
) -> FloatArray:
    """The homography near the identity that moves each piece by its shift, robustly."""
    at = pieces.middle
    goes_right = pieces.across == 0
    n = at.shape[0]
    x, y, one, zero = at[:, 0], at[:, 1], np.ones(n), np.zeros(n)
    right = np.column_stack([x, y, one, zero, zero, zero, -x * x, -x * y])
    down = np.column_stack([zero, zero, zero, x, y, one, -x * y, -y * y])
    rows = np.where(goes_right[:, None], right, down)
    base = good / np.hypot(u_shift, 0.01) ** 2
    weight = base
    solved = np.zeros(8)
    for _ in range(2):
        normal = rows.T @ (rows * weight[:, None]) + np.diag([1e-6] * 6 + [1e-3] * 2) * weight.sum()
        solved = np.linalg.solve(normal, rows.T @ (weight * shift))
        left = np.abs(shift - rows @ solved)
        scale = max(1.5 * float(np.median(left[good])), 0.004)
        weight = base / (1.0 + (left / (2.0 * scale)) ** 2)
    result: FloatArray = np.eye(3) + np.append(solved, 0.0).reshape(3, 3)
    return result


def _readings(card: int, h: FloatArray, blur: FloatArray, fit: _Fit) -> EdgeReadings | None:
    pieces = edge_pieces(card)
    usual = float(np.median(fit.contrast[fit.likeness > 0.5])) if (fit.likeness > 0.5).any() else 1.0
    good = (fit.likeness > 0.5) & (np.abs(fit.shift) < 0.35) & (fit.contrast > 0.4 * usual)
    if good.sum() < 12:
        return None
    step = np.eye(2)[pieces.across]
    middle = pieces.middle + step * fit.shift[:, None]
    at_px = apply_homography(h, middle)
    tiny = 1e-3
    along = apply_homography(h, middle + tiny * step[:, ::-1]) - at_px
    crossing = (apply_homography(h, middle + tiny * step) - at_px) / tiny  # px per cell
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    per_cell = (crossing * normal).sum(1)
    normal *= (np.sign(per_cell) * pieces.white_side)[:, None]
    per_cell = np.abs(per_cell)
    side = float(np.sqrt(abs(np.linalg.det(np.column_stack([crossing[0], crossing[-1]]))))) * 6.0
    blur_px = max(float(np.median(per_cell[pieces.across == a])) * blur[a] for a in (0, 1))
    card_mm = pieces.middle * CELL_MM * [1.0, -1.0]
    return EdgeReadings(
        card=card,
        homography=h,
        card_mm=card_mm[good],
        at_px=at_px[good],
        normal=normal[good],
        u_noise_px=(fit.u_shift * per_cell)[good],
        u_grid_px=np.full(int(good.sum()), _GRID_PX_SD),
        across=pieces.across[good],
        blur_px=blur_px,
        blur_cells=float(blur.max()),
        side_px=side,
        lost_ratio=1.0 - float(good.mean()),
        contrast=usual,
    )
