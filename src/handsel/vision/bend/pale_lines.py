"""Pale lines on a plastic's surface: ridges of added white, linked where they lie in line, and what is told of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.bend.pale_surface import Mask, Surface

FloatArray = npt.NDArray[np.float64]

# Chosen on the renders called developed on in docs/studies/bends.md.
_WIDTHS_PX = (1.5, 2.5, 4.0, 6.5)  # scales of the line filter, standard deviations
_BOTH_SIDES = 0.5  # share of the cuts across a line that end on the part, on either side


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A pale line, in pixels of the smaller copy."""

    middle: FloatArray  # (n, 2) along it
    width: float  # where it is half as pale
    length: float
    angle_deg: float  # of its direction, 0 to 180, x toward y
    contrast: float  # CIEDE2000 of its middle, less that of the paler side
    covers: float  # share by which the own colour is less than on both sides; a reflection leaves it
    white_ratio: float  # white that is added, over the strongest channel of the own colour


def find_lines(surface: Surface, *, least_length: float, least_contrast: float) -> list[Line]:
    """All pale lines of a surface.

    Parameters: surface; least_length [px of the copy]; least_contrast [-], CIEDE2000 over both sides.
    Returns: lines, the palest and longest first.
    Raises: nothing of its own.
    Valid for: lines from about 3 to 25 px wide in the copy.
    Source: ridges by the second derivative at several widths (Lindeberg 1998), linked where they lie in line.
    Checked by: unit/test_vision_whitening.py
    """
    ridge, scale = _ridges(np.where(surface.part, surface.pale, 0.0))
    inner = surface.part
    noise = 1.4826 * float(np.median(np.abs(ridge[inner]))) if inner.any() else 0.0
    low, high = max(2.0 * noise, 0.22 * least_contrast), max(4.0 * noise, 0.45 * least_contrast)
    pieces = _pieces(ridge, low, high)
    strongest = np.maximum(surface.own.max(-1), 1e-3)
    maps = _Maps(
        pale=surface.pale.astype(np.float32),
        shade=surface.shade.astype(np.float32),
        white=(surface.white / strongest).astype(np.float32),
    )
    lines = []
    for points, weights in _linked(pieces, least_length):
        line = _measured(surface.part, maps, points, weights, scale)
        if line is not None and line.length >= least_length and line.contrast >= least_contrast:
            lines.append(line)
    return sorted(lines, key=lambda line: -line.contrast * line.length)


def _ridges(image: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Strength of the strongest bright ridge through each pixel, in the image's unit, and its scale [px]."""
    import cv2

    best = np.zeros(image.shape)
    scale = np.full(image.shape, _WIDTHS_PX[0])
    for sigma in _WIDTHS_PX:
        calm = cv2.GaussianBlur(image, (0, 0), sigma)
        xx = cv2.Sobel(calm, cv2.CV_64F, 2, 0, ksize=3) / 4.0
        yy = cv2.Sobel(calm, cv2.CV_64F, 0, 2, ksize=3) / 4.0
        xy = cv2.Sobel(calm, cv2.CV_64F, 1, 1, ksize=3) / 4.0
        root = np.hypot((xx - yy) / 2.0, xy)
        across, along = (xx + yy) / 2.0 - root, (xx + yy) / 2.0 + root
        # A line bends down across and not along; a spot bends down both ways.
        strength = sigma**2 * np.maximum(-across - np.abs(along), 0.0) * 1.7
        better = strength > best
        best, scale = np.where(better, strength, best), np.where(better, sigma, scale)
    return best, scale


def _pieces(ridge: FloatArray, low: float, high: float) -> list[tuple[FloatArray, FloatArray]]:
    """Connected stretches of ridge with something strong in them: points and weights."""
    import cv2

    count, labels = cv2.connectedComponents((ridge > low).astype(np.uint8), connectivity=8)
    strong = np.unique(labels[ridge > high])
    pieces = []
    order = np.argsort(labels, axis=None, kind="stable")
    bounds = np.searchsorted(labels.ravel()[order], np.arange(count + 1))
    for k in strong:
        if k == 0 or bounds[k + 1] - bounds[k] < 12:
            continue
        flat = order[bounds[k] : bounds[k + 1]]
        y, x = np.divmod(flat, ridge.shape[1])
        pieces.append((np.column_stack([x, y]).astype(np.float64), ridge.ravel()[flat]))
    return pieces


_Axis = tuple[FloatArray, FloatArray, float, float]


def _axis(points: FloatArray, weights: FloatArray) -> _Axis:
    """Middle, direction, length and half breadth of a cloud of points."""
    middle = (points * weights[:, None]).sum(0) / weights.sum()
    off = points - middle
    spread = (off * weights[:, None]).T @ off / weights.sum()
    values, vectors = np.linalg.eigh(spread)
    along = off @ vectors[:, 1]
    return middle, vectors[:, 1], float(np.ptp(along)), float(np.sqrt(max(values[0], 0.0)))


def _linked(
    pieces: list[tuple[FloatArray, FloatArray]], least_length: float
) -> list[tuple[FloatArray, FloatArray]]:
    """Pieces that lie in line with each other, put together: whitening comes in patches."""
    with_axes = [(points, weights, _axis(points, weights)) for points, weights in pieces]
    long = [p for p in with_axes if p[2][2] > 0.18 * least_length]
    long.sort(key=lambda p: -float(p[1].sum()))
    groups: list[tuple[FloatArray, FloatArray, _Axis]] = []
    for points, weights, axis in long[:120]:
        middle, way, length, _ = axis
        for k, (others, their, (centre, direction, reach, breadth)) in enumerate(groups):
            if reach < 0.5 * least_length:
                continue
            off = middle - centre
            beside = abs(float(direction[0] * off[1] - direction[1] * off[0]))
            gap = abs(float(direction @ off)) - (reach + length) / 2.0
            in_line = abs(float(direction @ way)) > 0.94 or length < 0.3 * least_length
            if beside < max(2.5 * breadth, 5.0) and gap < 0.35 * reach and in_line:
                both = np.vstack([others, points]), np.concatenate([their, weights])
                groups[k] = (*both, _axis(*both))
                break
        else:
            groups.append((points, weights, axis))
    return [(points, weights) for points, weights, _ in groups]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Maps:
    """What cuts across lines are read from; single precision, made once for all lines."""

    pale: npt.NDArray[np.float32]
    shade: npt.NDArray[np.float32]
    white: npt.NDArray[np.float32]  # that is added, over the strongest channel of the own colour


def _measured(
    part: Mask, maps: _Maps, points: FloatArray, weights: FloatArray, scale: FloatArray
) -> Line | None:
    """A line's course, width and colours, told from cuts across it."""
    import cv2

    middle, way, length, breadth = _axis(points, weights)
    if length < 4.0 * breadth or length < 10.0:
        return None
    side = np.array([-way[1], way[0]])
    along = (points - middle) @ way
    across = (points - middle) @ side
    count = max(6, round(length / 8.0))
    edges = np.linspace(along.min(), along.max() + 1e-6, count + 1)
    which = np.clip(np.searchsorted(edges, along, side="right") - 1, 0, count - 1)
    sums = np.bincount(which, weights, count)
    filled = sums > 0
    if filled.mean() < 0.45:
        return None
    stations = (edges[:-1] + edges[1:]) / 2.0
    course = np.interp(
        stations, stations[filled], (np.bincount(which, weights * across, count)[filled] / sums[filled])
    )
    spots = middle + stations[:, None] * way + course[:, None] * side
    sigma = float(np.average(scale[points[:, 1].astype(int), points[:, 0].astype(int)], weights=weights))
    reach = np.arange(-8.0 * sigma, 8.0 * sigma + 0.5, 0.5)
    cut = spots[:, None] + reach[None, :, None] * side

    def along_cut(image: npt.NDArray[np.float32]) -> FloatArray:
        seen = cv2.remap(
            image,
            cut[..., 0].astype(np.float32),
            cut[..., 1].astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(seen, dtype=np.float64)

    pale = along_cut(maps.pale)
    profile = np.median(pale[filled], axis=0) if filled.sum() > 3 else pale.mean(0)
    core = np.abs(reach) <= 1.0 * sigma
    beside = (np.abs(reach) > 3.0 * sigma) & (np.abs(reach) < 6.0 * sigma)
    # A line is pale over both its sides, and both are the part: an edge of a shadow, a slot or the picture has one.
    belongs = _belongs_there(part, cut[filled])
    sides = [beside & (reach < 0.0), beside & (reach > 0.0)]
    if min(float(belongs[:, side].mean()) for side in sides) < _BOTH_SIDES:
        return None
    low = max(float(np.median(profile[side])) for side in sides)
    top = float(profile[core].max())
    width = 0.5 * float((profile[np.abs(reach) < 5.0 * sigma] > (low + top) / 2.0).sum())
    shade = along_cut(maps.shade)
    flank = np.median(shade[:, beside], axis=1)
    covers = float(np.median(1.0 - np.median(shade[:, core], axis=1) / np.maximum(flank, 1e-3)))
    white = along_cut(maps.white)
    white_ratio = float(np.median(np.median(white[:, core], axis=1) - np.median(white[:, beside], axis=1)))
    return Line(
        middle=spots,
        width=max(width, 1.0),
        length=length,
        angle_deg=float(np.degrees(np.arctan2(way[1], way[0])) % 180.0),
        contrast=top - low,
        covers=covers,
        white_ratio=white_ratio,
    )


def _belongs_there(part: Mask, spots: FloatArray) -> Mask:
    """Which places lie on the part; outside the picture none does."""
    height, width = part.shape
    at = np.round(spots).astype(int)
    inside = (at >= 0).all(-1) & (at[..., 0] < width) & (at[..., 1] < height)
    x, y = np.clip(at[..., 0], 0, width - 1), np.clip(at[..., 1], 0, height - 1)
    return np.asarray(inside & part[y, x], bool)
