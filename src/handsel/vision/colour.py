"""Colours as the eye parts them: from a picture's file values to CIE L*a*b*, and how far apart two colours are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Linear sRGB to CIE XYZ, white D65 (IEC 61966-2-1), rows X Y Z.
_TO_XYZ = np.array(
    [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
)
_WHITE = np.array([0.95047, 1.0, 1.08883])  # D65, 2 degree observer
_EPSILON, _KAPPA = 216.0 / 24389.0, 24389.0 / 27.0


def linear_from_srgb(srgb: npt.NDArray[np.uint8] | FloatArray) -> FloatArray:
    """Light from file values.

    Parameters: srgb : (..., 3) uint8 [0 to 255] or float [0 to 1].
    Returns: (..., 3) float [-], 1 is full white.
    Raises: nothing of its own.
    Valid for: pictures in sRGB; a phone's own rendering of a scene is only near it.
    Source: IEC 61966-2-1.
    Checked by: unit/test_vision_colour.py
    """
    values = np.asarray(srgb)
    if values.dtype == np.uint8:
        table = _curve(np.arange(256) / 255.0)
        return np.asarray(table[values], dtype=np.float64)
    return _curve(np.asarray(values, dtype=np.float64))


def _curve(values: FloatArray) -> FloatArray:
    low = values / 12.92
    high = ((np.maximum(values, 0.0) + 0.055) / 1.055) ** 2.4
    return np.where(values <= 0.04045, low, high)


def lab_from_linear(light: FloatArray) -> FloatArray:
    """CIE L*a*b* of light in the primaries of sRGB.

    Parameters: light : (..., 3) float [-], 1 is full white.
    Returns: (..., 3) float [-]: L* from 0 to 100, a* toward red, b* toward yellow.
    Raises: nothing of its own.
    Valid for: D65 white.
    Source: IEC 61966-2-1 for the matrix; CIE 15:2004 8.2.1 for L*a*b*.
    Checked by: unit/test_vision_colour.py
    """
    ratio = np.asarray(light, dtype=np.float64) @ _TO_XYZ.T / _WHITE
    f = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, 0.0)), (_KAPPA * ratio + 16.0) / 116.0)
    return np.stack(
        [
            116.0 * f[..., 1] - 16.0,
            500.0 * (f[..., 0] - f[..., 1]),
            200.0 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def lab_from_srgb(srgb: npt.NDArray[np.uint8] | FloatArray) -> FloatArray:
    """CIE L*a*b* of file values.

    Parameters: srgb : (..., 3) uint8 [0 to 255] or float [0 to 1].
    Returns: (..., 3) float [-], as lab_from_linear.
    Raises: nothing of its own.
    Valid for: pictures in sRGB.
    Source: as linear_from_srgb and lab_from_linear.
    Checked by: unit/test_vision_colour.py
    >>> [round(float(v), 1) for v in lab_from_srgb(np.array([255, 0, 0], np.uint8))]
    [53.2, 80.1, 67.2]
    """
    return lab_from_linear(linear_from_srgb(srgb))


def ciede2000(first: FloatArray, second: FloatArray) -> FloatArray:
    """How different two colours look.

    Parameters: first and second : (..., 3) float [-], CIE L*a*b*; shapes that go together.
    Returns: (...) float [-], the CIEDE2000 difference with all three weights 1; about 1 is just seen.
    Raises: nothing of its own.
    Valid for: small and middling differences of surfaces under daylight; above about 5 it only ranks.
    Source: Sharma, Wu and Dalal 2005, Color Research and Application 30:21, equations 2 to 22; there the hue
        of a colour without chroma is 0, and means of hues take the shorter way round.
    Checked by: published/test_vision_colour.py, properties/test_vision_colour.py
    >>> round(float(ciede2000(np.array([50.0, 2.5, 0.0]), np.array([73.0, 25.0, -18.0]))), 4)
    27.1492
    """
    first, second = np.broadcast_arrays(
        np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    )
    l1, a1, b1 = np.moveaxis(first, -1, 0)
    l2, a2, b2 = np.moveaxis(second, -1, 0)
    mean_chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0
    stretch = 1.5 - 0.5 * np.sqrt(_share(mean_chroma))  # 1 + G: a* counts for more near grey
    c1, h1 = _chroma_hue(stretch * a1, b1)
    c2, h2 = _chroma_hue(stretch * a2, b2)
    both = c1 * c2 > 0.0

    turn = h2 - h1
    turn = np.where(turn > 180.0, turn - 360.0, np.where(turn < -180.0, turn + 360.0, turn))
    turn = np.where(both, turn, 0.0)
    d_light, d_chroma = l2 - l1, c2 - c1
    d_hue = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2.0))

    light, chroma = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    far = np.abs(h1 - h2) > 180.0
    hue = np.where(far, np.where(h1 + h2 < 360.0, h1 + h2 + 360.0, h1 + h2 - 360.0), h1 + h2) / 2.0
    hue = np.where(both, hue, h1 + h2)  # the hue of a grey is 0 and has no say

    bend = (
        1.0
        - 0.17 * np.cos(np.radians(hue - 30.0))
        + 0.24 * np.cos(np.radians(2.0 * hue))
        + 0.32 * np.cos(np.radians(3.0 * hue + 6.0))
        - 0.20 * np.cos(np.radians(4.0 * hue - 63.0))
    )
    s_light = 1.0 + 0.015 * (light - 50.0) ** 2 / np.sqrt(20.0 + (light - 50.0) ** 2)
    s_chroma = 1.0 + 0.045 * chroma
    s_hue = 1.0 + 0.015 * chroma * bend
    around = 30.0 * np.exp(-(((hue - 275.0) / 25.0) ** 2))
    cross = -2.0 * np.sqrt(_share(chroma)) * np.sin(np.radians(2.0 * around))
    by_light, by_chroma, by_hue = d_light / s_light, d_chroma / s_chroma, d_hue / s_hue
    total = by_light**2 + by_chroma**2 + by_hue**2 + cross * by_chroma * by_hue
    return np.asarray(np.sqrt(np.maximum(total, 0.0)), dtype=np.float64)


def _share(chroma: FloatArray) -> FloatArray:
    """C^7 / (C^7 + 25^7), without overflow."""
    return np.asarray(1.0 / (1.0 + (25.0 / np.maximum(chroma, 1e-9)) ** 7), dtype=np.float64)


def _chroma_hue(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chroma, and hue in degrees from 0 to 360; grey has hue 0."""
    hue = np.degrees(np.arctan2(b, a)) % 360.0
    return np.hypot(a, b), np.where((a == 0.0) & (b == 0.0), 0.0, hue)
