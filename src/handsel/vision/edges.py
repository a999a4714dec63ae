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
_ROUNDS = 6
_STEADY_CELLS, _STEADY_BLUR = 0.05, 0.35  # placed so well, the card is read with all samples
_DONE_CELLS, _DONE_BLUR = 0.012, 0.04  # so well that what is left is small against the blur: nothing to redo
_ODD, _CROSSED = 2.0, 6.0  # times the usual scatter: not by chance; something lies across the edge
_BLUR_MIN, _BLUR_MAX = 0.03, 0.60  # of a cell
_USUAL_BLUR_PX = 1.2  # of a phone held by hand, to start from

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
    if (part := _part_round(gray, h)) is None:
        return None
    pieces = edge_pieces(card)
    blur = np.full(2, np.clip(_USUAL_BLUR_PX / part.cell_px, _BLUR_MIN, 0.25))
    fine = False
    for _ in range(_ROUNDS):
        fit = _fit(part, card, h, blur, _SAMPLES if fine else _FEW_SAMPLES)
        good = fit.likeness > 0.5
        if good.sum() < 12:
            return None
        change = _correction(card, np.clip(fit.shift, -0.5, 0.5), fit.u_shift, good)
        new_blur = _new_blur(blur, fit, pieces, good)
        moved, wider = np.abs(change - np.eye(3)).max(), np.abs(new_blur / blur - 1.0).max()
        if fine and moved < _DONE_CELLS and wider < _DONE_BLUR:
            return _readings(card, h, blur, fit)
        fine = fine or bool(moved < _STEADY_CELLS and wider < _STEADY_BLUR)
        h, blur = h @ change, new_blur
        h /= h[2, 2]
    return _readings(card, h, blur, _fit(part, card, h, blur, _SAMPLES))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """The part of a picture that holds one card, in linear light."""

    light: npt.NDArray[np.float32]
    low_px: npt.NDArray[np.intp]  # where its first pixel lies in the picture
    cell_px: float  # mean side of a cell of the card


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    shift: FloatArray  # (n,) [cells] from where the homography puts the piece, along +x or +y
    u_shift: FloatArray  # (n,) [cells]
    blur_change: FloatArray  # (n,) of the squared blur [cells^2]
    likeness: FloatArray  # (n,) 1 when the piece looks just like the pattern, 0 or less when not at all
    contrast: FloatArray  # (n,)
    crossed: npt.NDArray[np.bool_]  # (n,) something else lies across the piece: a shadow's edge, dirt, a rim


def _part_round(gray: Gray, h: FloatArray) -> _Part | None:
    """What lies round a card and a little more; None when the card leaves the picture or is not one."""
    import cv2

    half = GRID / 2.0
    corners = apply_homography(h, np.array([[-half, -half], [half, -half], [half, half], [-half, half]]))
    if not np.isfinite(corners).all():
        return None
    cell_px = float(np.linalg.norm(np.roll(corners, 1, 0) - corners, axis=1).mean()) / GRID
    low, high = corners.min(0), corners.max(0)
    if cell_px < 1.0 or (high - low).max() > 4 * max(gray.shape):
        return None
    more = 2.0 + 0.08 * (high - low)  # the corners are not where they will be found to be
    first = np.maximum(np.floor(low - more).astype(int), 0)
    last = np.minimum(np.ceil(high + more).astype(int) + 1, [gray.shape[1], gray.shape[0]])
    if (last - first).min() < 8:
        return None
    light = cv2.LUT(np.ascontiguousarray(gray[first[1] : last[1], first[0] : last[0]]), LINEAR)
    return _Part(light=np.asarray(light, np.float32), low_px=first, cell_px=cell_px)


def _patch(part: _Part, h: FloatArray, samples: int) -> FloatArray:
    """The card straightened: (8 samples, 8 samples) in linear light."""
    import cv2

    light = part.light
    shift = np.array([[1.0, 0.0, -part.low_px[0]], [0.0, 1.0, -part.low_px[1]], [0.0, 0.0, 1.0]])
    if (shrink := int(part.cell_px / samples)) > 1:  # many pixels per sample: average them first
        rows, columns = (n // shrink * shrink for n in light.shape)
        light = np.asarray(
            cv2.resize(
                light[:rows, :columns], None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA
            )
        )
        half_px = 0.5 / shrink - 0.5
        shift = np.array([[1 / shrink, 0, half_px], [0, 1 / shrink, half_px], [0, 0, 1]]) @ shift
    half = GRID / 2.0
    to_cells = np.array(
        [[1 / samples, 0, 0.5 / samples - half], [0, 1 / samples, 0.5 / samples - half], [0, 0, 1]]
    )
    size = GRID * samples
    patch = cv2.warpPerspective(
        light,
        shift @ h @ to_cells,
        (size, size),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(patch, dtype=float)


def _steps(samples: int, blur: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of each cell in each sample along x and along y, and its first and second derivative.

    Each (2, 8 samples, 8). The outer cells reach on outward: the card is white beyond them.
    """
    at = (np.arange(GRID * samples) + 0.5) / samples - GRID / 2.0
    lines = np.arange(GRID + 1) - GRID / 2.0
    wide = blur[:, None, None]
    z = (at[:, None] - lines) / wide
    z[:, :, 0], z[:, :, -1] = 9.0, -9.0
    cdf = np.interp(z, _ERF_AT, _NORMAL_CDF)
    pdf = np.exp(-0.5 * z * z) / (sqrt(2.0 * np.pi) * wide)
    curve = z * pdf / wide
    return cdf[:, :, :-1] - cdf[:, :, 1:], pdf[:, :, :-1] - pdf[:, :, 1:], np.diff(curve, axis=2)


@cache
def _windows(card: int, samples: int) -> npt.NDArray[np.intp]:
    """Places in the patch, counted row by row, of the samples of every piece: (n, samples of a piece)."""
    pieces = edge_pieces(card)
    trim = max(1, round(_TRIM * samples))
    reach = int(_REACH * samples)
    along = np.arange(trim, samples - trim)[None, :, None]
    across = np.arange(-reach, reach)[None, None, :]
    shape = np.broadcast_shapes(along.shape, across.shape)
    row0, col0 = pieces.row[:, None, None] * samples, pieces.col[:, None, None] * samples
    goes_right = (pieces.across == 0)[:, None, None]
    along, across = np.broadcast_to(along, shape), np.broadcast_to(across, shape)
    rows, columns = row0 + np.where(goes_right, along, across), col0 + np.where(goes_right, across, along)
    places: npt.NDArray[np.intp] = (rows * GRID * samples + columns).reshape(len(pieces.row), -1)
    return places


def _columns(card: int, samples: int, blur: FloatArray) -> FloatArray:
    """What the light of a piece is made of: evenly lit, the pattern, its shift, its blur. (n, 4, samples)."""
    pieces, cells, at = edge_pieces(card), pattern(card), _windows(card, samples)
    (x0, y0), (x1, y1), (x2, y2) = _steps(samples, blur)
    right = int((pieces.across == 0).sum())  # pieces that are crossed going right stand first
    columns = np.empty((len(at), 4, at.shape[1]))
    columns[:, 0] = 1.0
    columns[:, 1] = (y0 @ cells @ x0.T).ravel()[at]
    for k, x, y in ((2, x1, y1), (3, x2, y2)):
        columns[:right, k] = (y0 @ cells @ x.T).ravel()[at[:right]]
        columns[right:, k] = (y @ cells @ x0.T).ravel()[at[right:]]
    return columns


def _fit(part: _Part, card: int, h: FloatArray, blur: FloatArray, most_samples: int) -> _Fit:
    """Brightness, contrast, shift and change of blur of every piece, by linear least squares."""
    samples = 2 * min(max(ceil(part.cell_px / 1.6), 3), most_samples // 2)
    columns = _columns(card, samples, blur)
    light = _patch(part, h, samples).ravel()[_windows(card, samples)]
    count = light.shape[1]
    normal = columns @ columns.transpose(0, 2, 1) + 1e-9 * np.eye(4)
    right = (columns @ light[:, :, None])[:, :, 0]
    inverse = np.linalg.inv(normal)
    solved = (inverse @ right[:, :, None])[:, :, 0]
    squares = np.einsum("ij,ij->i", light, light)
    left = np.maximum(squares - (solved * right).sum(1), 0.0)  # what the best mixture leaves, squared
    spread = squares / count - (right[:, 0] / count) ** 2 + 1e-9
    variance = left / max(count - 4, 1)
    contrast = np.where(solved[:, 1] > 1e-4, solved[:, 1], 1e-4)
    # Samples closer than a pixel tell the same thing twice.
    repeats = max(1.0, (samples / part.cell_px) ** 2)
    usual = middle_of(variance)
    pooled = np.maximum(variance, 0.5 * usual)
    # What is left beyond chance is not grain but a shape, and as much of it may lie along a shift as beside it: it
    # does not grow less with the number of samples.
    chance = np.minimum(pooled, _ODD * usual) * repeats + np.maximum(variance - _ODD * usual, 0.0) * count
    return _Fit(
        shift=-solved[:, 2] / contrast,
        u_shift=np.sqrt(chance * inverse[:, 2, 2]) / contrast,
        blur_change=2.0 * solved[:, 3] / contrast,
        likeness=np.where(solved[:, 1] > 1e-4, 1.0 - left / count / spread, -1.0),
        contrast=contrast / np.maximum(solved[:, 0] + solved[:, 1], 1e-3),
        crossed=variance > _CROSSED * usual,
    )


def middle_of(values: FloatArray) -> float:
    """The median of a few numbers, without what numpy's own spends on asking what they are.

    Parameters: values : (n,) float [-], at least one.
    Returns: the median, in the unit of the values.
    Raises: nothing of its own.
    Valid for: finite numbers.
    Source: definition.
    Checked by: unit/test_vision_edges.py
    """
    ordered = np.sort(values)
    half = len(ordered) // 2
    return float(ordered[half]) if len(ordered) % 2 else 0.5 * float(ordered[half - 1] + ordered[half])


def _new_blur(blur: FloatArray, fit: _Fit, pieces: EdgePieces, good: npt.NDArray[np.bool_]) -> FloatArray:
    """The blur of each direction after the change that most of its pieces ask for."""
    new = blur.copy()
    for axis in (0, 1):
        mine = good & (pieces.across == axis)
        if mine.sum() >= 4:
            change = middle_of(fit.blur_change[mine])
            new[axis] = sqrt(max(blur[axis] ** 2 + np.clip(change, -0.6 * blur[axis] ** 2, 0.03), 0.0))
    return np.clip(new, _BLUR_MIN, _BLUR_MAX)


@cache
def _moves(card: int) -> FloatArray:
    """How each piece is shifted by each of the eight numbers of a homography near the identity: (n, 8)."""
    pieces = edge_pieces(card)
    x, y = pieces.middle.T
    one, zero = np.ones_like(x), np.zeros_like(x)
    right = np.column_stack([x, y, one, zero, zero, zero, -x * x, -x * y])
    down = np.column_stack([zero, zero, zero, x, y, one, -x * y, -y * y])
    rows: FloatArray = np.where((pieces.across == 0)[:, None], right, down)
    return rows


def _correction(card: int, shift: FloatArray, u_shift: FloatArray, good: npt.NDArray[np.bool_]) -> FloatArray:
    """The homography near the identity that moves each piece by its shift, robustly."""
    rows = _moves(card)
    base = good / (u_shift**2 + 0.01**2)
    weight = base
    solved = np.zeros(8)
    for _ in range(2):
        normal = rows.T @ (rows * weight[:, None]) + np.diag([1e-6] * 6 + [1e-3] * 2) * weight.sum()
        solved = np.linalg.solve(normal, rows.T @ (weight * shift))
        left = np.abs(shift - rows @ solved)
        scale = max(1.5 * middle_of(left[good]), 0.004)
        weight = base / (1.0 + (left / (2.0 * scale)) ** 2)
    result: FloatArray = np.eye(3) + np.append(solved, 0.0).reshape(3, 3)
    return result


def _readings(card: int, h: FloatArray, blur: FloatArray, fit: _Fit) -> EdgeReadings | None:
    pieces = edge_pieces(card)
    alike = fit.likeness > 0.5
    usual = middle_of(fit.contrast[alike]) if alike.any() else 1.0
    there = alike & (np.abs(fit.shift) < 0.35) & (fit.contrast > 0.4 * usual)
    good = there & ~fit.crossed  # what is crossed is there, and says nothing of where it runs
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
    blur_px = max(middle_of(per_cell[pieces.across == a]) * blur[a] for a in (0, 1))
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
        lost_ratio=1.0 - float(there.mean()),
        contrast=usual,
    )
