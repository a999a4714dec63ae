"""Pale lines on a coloured surface: where white has been added to a plastic's own colour, and along what lines.

A pixel of a lit surface is taken for s times the plastic's own colour plus w times the light's own white:

    shading, folds, shadow edges     s changes, w does not
    a lamp's reflection, glare       w is added, s stays
    white in the plastic             w is added and s falls: the colour is covered

Light is linear; the own colour is local, so that a lamp to one side or a second plastic does not matter. A plastic
without colour of its own leaves s and w as one; then only lighter is left to see.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from handsel.vision.colour import ciede2000, lab_from_linear, linear_from_srgb

FloatArray = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

WORK_PX = 800  # longest side of the copy in which lines are looked for
_AROUND = 0.11  # of that side: the neighbourhood that tells a pixel's own colour
_WIDTHS_PX = (1.5, 2.5, 4.0, 6.5)  # scales of the line filter, standard deviations
_GREY = 0.05  # how near its colour is to grey, in shares of the light
_WIDEST_PX = 33  # a pale line is narrower
_BOTH_SIDES = 0.5  # share of the cuts across a line that end on the part, on either side
_COLOURFUL = 0.22  # spread of the own colour's channels over their mean, from which s and w part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A surface taken apart, in the smaller copy."""

    light: FloatArray  # (h, w, 3) linear, a little smoothed
    own: FloatArray  # (h, w, 3) linear, each place's own colour
    shade: FloatArray  # (h, w) s: how much of the own colour there is, 1 is as round about
    white: FloatArray  # (h, w) w: white that is added, in units of full white
    pale: FloatArray  # (h, w) CIEDE2000 between the pixel and the same without its white; 0 where nothing is added
    parted: bool  # False: without colour; shade is 1 and white is whatever is lighter
    part: Mask  # (h, w) what belongs to the part
    ratio: float  # the copy's size over the picture's


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


def part_and_colour(pixels: Pixels) -> tuple[FloatArray, Mask, FloatArray, float]:
    """The smaller copy in linear light, what of it is the part, and the part's colour.

    Parameters: pixels : (h, w, 3) uint8 [-], RGB.
    Returns: (h', w', 3) float [-] linear light; (h', w') bool, the part; (3,) float [-] its median; the copy's ratio.
    Raises: nothing of its own.
    Valid for: close photos: the part lies in the middle and fills most of the picture.
    Source: own construction: the colour that the middle of the picture has most of, whatever its brightness.
    Checked by: unit/test_vision_whitening.py
    """
    import cv2

    ratio = min(1.0, WORK_PX / max(pixels.shape[:2]))
    small = (
        cv2.resize(pixels, None, fx=ratio, fy=ratio, interpolation=cv2.INTER_AREA) if ratio < 1 else pixels
    )
    light = linear_from_srgb(np.asarray(small, np.uint8))
    light = np.stack([cv2.GaussianBlur(light[..., k], (0, 0), 1.0) for k in range(3)], -1)
    height, width = light.shape[:2]
    total = light.sum(-1)
    share = light / np.maximum(total, 1e-4)[..., None]
    middle = np.zeros((height, width), bool)
    middle[round(0.2 * height) : round(0.8 * height), round(0.2 * width) : round(0.8 * width)] = True
    usable = middle & (total > 0.012) & (light.max(-1) < 0.98)
    if usable.sum() < 500:
        usable = middle
    hue = np.median(share[usable], axis=0)
    colour = np.median(light[usable], axis=0)
    return light, _belongs(light, share, hue, colour), colour, ratio


def _belongs(light: FloatArray, share: FloatArray, hue: FloatArray, colour: FloatArray) -> Mask:
    """The part: wide areas of its colour, and what lies inside them, its edge left off."""
    import cv2

    total = light.sum(-1)
    brighter = total / max(float(colour.sum()), 1e-4)
    # White moves a colour toward grey; what lies a little on the way there is the part still.
    off, toward = share - hue, 1.0 / 3.0 - hue
    length = float(np.linalg.norm(toward))
    along = (off @ toward) / max(length, 1e-6)
    left = np.linalg.norm(off - np.multiply.outer(along / max(length, 1e-6), toward), axis=-1)
    if length > _GREY:
        part = (left < 0.09) & (along < 0.55 * length) & (brighter > 0.12)
    else:
        part = (np.linalg.norm(off, axis=-1) < 0.09) & (brighter > 0.3) & (brighter < 3.0)
    flat = part.astype(np.uint8)
    for how, size in ((cv2.MORPH_OPEN, 5), (cv2.MORPH_CLOSE, _WIDEST_PX), (cv2.MORPH_OPEN, 21)):
        flat = np.asarray(
            cv2.morphologyEx(flat, how, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))), np.uint8
        )
    # Beyond the picture the part goes on: only its own edge is left off.
    framed = cv2.copyMakeBorder(flat, 9, 9, 9, 9, cv2.BORDER_REPLICATE)
    inner = cv2.erode(framed, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (13, 13)))
    return np.asarray(inner[9:-9, 9:-9] > 0, bool)


def take_apart(light: FloatArray, part: Mask, colour: FloatArray, ratio: float) -> Surface:
    """Own colour, shading and added white of each pixel.

    Parameters: light : (h, w, 3) float [-], linear; part : (h, w) bool; colour : (3,) float [-], the part's median;
        ratio, the copy's size over the picture's.
    Returns: Surface.
    Raises: nothing of its own.
    Valid for: white light, nearly: a phone's white balance sees to that.
    Source: the two-term reflection model (Shafer 1985), solved by least squares per pixel.
    Checked by: unit/test_vision_whitening.py
    """
    mean = max(float(colour.mean()), 1e-4)
    parted = float(colour.std() / mean) > _COLOURFUL
    around = _local(light, part, colour)
    if parted:
        hue = around / np.maximum(around.mean(-1, keepdims=True), 1e-5)
        shade, white = _two_terms(light, hue)
        base, _ = _two_terms(around, hue)
        base = np.maximum(base, 1e-4)
        own = hue * base[..., None]
        # Less white than the neighbourhood has counts as none; s is told against the neighbourhood.
        plain = shade[..., None] * hue
        pale = np.where(
            white > 0.0,
            ciede2000(lab_from_linear(plain + np.maximum(white, 0.0)[..., None]), lab_from_linear(plain)),
            0.0,
        )
        return Surface(
            light=light,
            own=own,
            shade=shade / base,
            white=white,
            pale=pale,
            parted=True,
            part=part,
            ratio=ratio,
        )
    white = (light - around).mean(-1)
    pale = np.where(white > 0.0, ciede2000(lab_from_linear(light), lab_from_linear(around)), 0.0)
    return Surface(
        light=light,
        own=around,
        shade=np.ones(light.shape[:2]),
        white=white,
        pale=pale,
        parted=False,
        part=part,
        ratio=ratio,
    )


def _two_terms(light: FloatArray, hue: FloatArray) -> tuple[FloatArray, FloatArray]:
    """light = s * hue + w * (1, 1, 1), least squares; s never below 0."""
    hh, h1 = (hue * hue).sum(-1), hue.sum(-1)
    hl, l1 = (hue * light).sum(-1), light.sum(-1)
    det = np.maximum(3.0 * hh - h1 * h1, 1e-6)
    shade = np.maximum((3.0 * hl - h1 * l1) / det, 0.0)
    return shade, (l1 - shade * h1) / 3.0


def _local(light: FloatArray, part: Mask, colour: FloatArray) -> FloatArray:
    """The colour round about each pixel: a median over the part, found on a coarse copy."""
    import cv2

    height, width = light.shape[:2]
    coarse = 6
    rows, cols = max(4, height // coarse), max(4, width // coarse)
    filled = np.where(part[..., None], light, colour)
    small = cv2.resize(filled, (cols, rows), interpolation=cv2.INTER_AREA)
    window = max(3, round(_AROUND * max(rows, cols)) | 1)
    # A median of 8 bits over a wide window is quick; a square root keeps the dark end.
    root = np.clip(np.sqrt(np.clip(small, 0.0, 1.0)) * 255.0, 0, 255).astype(np.uint8)
    calm = (cv2.medianBlur(root, window).astype(np.float64) / 255.0) ** 2
    calm = np.stack([cv2.GaussianBlur(calm[..., k], (0, 0), 2.0) for k in range(3)], -1)
    return np.asarray(cv2.resize(calm, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.float64)


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
    lines = []
    for points, weights in _linked(pieces, least_length):
        line = _measured(surface, points, weights, scale)
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


def _axis(points: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray, float, float]:
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
    long = [p for p in pieces if _axis(*p)[2] > 0.18 * least_length]
    long.sort(key=lambda p: -float(p[1].sum()))
    groups: list[tuple[FloatArray, FloatArray]] = []
    for points, weights in long[:120]:
        middle, way, length, _ = _axis(points, weights)
        for k, (others, their) in enumerate(groups):
            centre, direction, reach, breadth = _axis(others, their)
            if reach < 0.5 * least_length:
                continue
            off = middle - centre
            beside = abs(float(direction[0] * off[1] - direction[1] * off[0]))
            gap = abs(float(direction @ (middle - centre))) - (reach + length) / 2.0
            in_line = abs(float(direction @ way)) > 0.94 or length < 0.3 * least_length
            if beside < max(2.5 * breadth, 5.0) and gap < 0.35 * reach and in_line:
                groups[k] = (np.vstack([others, points]), np.concatenate([their, weights]))
                break
        else:
            groups.append((points, weights))
    return groups


def _measured(surface: Surface, points: FloatArray, weights: FloatArray, scale: FloatArray) -> Line | None:
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

    def along_cut(image: FloatArray) -> FloatArray:
        seen = cv2.remap(
            image.astype(np.float32),
            cut[..., 0].astype(np.float32),
            cut[..., 1].astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(seen, dtype=np.float64)

    pale = along_cut(surface.pale)
    profile = np.median(pale[filled], axis=0) if filled.sum() > 3 else pale.mean(0)
    core = np.abs(reach) <= 1.0 * sigma
    beside = (np.abs(reach) > 3.0 * sigma) & (np.abs(reach) < 6.0 * sigma)
    # A line is pale over both its sides, and both are the part: an edge of a shadow, a slot or the picture has one.
    belongs = _belongs_there(surface.part, cut[filled])
    sides = [beside & (reach < 0.0), beside & (reach > 0.0)]
    if min(float(belongs[:, side].mean()) for side in sides) < _BOTH_SIDES:
        return None
    low = max(float(np.median(profile[side])) for side in sides)
    top = float(profile[core].max())
    width = 0.5 * float((profile[np.abs(reach) < 5.0 * sigma] > (low + top) / 2.0).sum())
    shade = along_cut(surface.shade)
    flank = np.median(shade[:, beside], axis=1)
    covers = float(np.median(1.0 - np.median(shade[:, core], axis=1) / np.maximum(flank, 1e-3)))
    white, own = along_cut(surface.white), along_cut(surface.own.max(-1))
    added = np.median(white[:, core], axis=1) - np.median(white[:, beside], axis=1)
    white_ratio = float(np.median(added / np.maximum(np.median(own[:, core], axis=1), 1e-3)))
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
