"""A coloured surface taken apart: the plastic's own colour, how it is lit, and where white has been added to it.

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

# Chosen on the renders called developed on in docs/studies/bends.md.
_WORK_PX = 800  # longest side of the copy in which lines are looked for
_AROUND = 0.11  # of that side: the neighbourhood that tells a pixel's own colour
_GREY = 0.05  # how near its colour is to grey, in shares of the light
_WIDEST_PX = 33  # a pale line is narrower
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

    ratio = min(1.0, _WORK_PX / max(pixels.shape[:2]))
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
