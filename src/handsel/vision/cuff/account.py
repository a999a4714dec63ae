"""How well a cuff's asymmetry is known, source by source, and what of it may be a tip's own error."""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import DISTORTION_SD
from handsel.vision.cuff.mirror import Mirrored, mirrored
from handsel.vision.cuff.outline import CuffOutline
from handsel.vision.cuff.view import View

FloatArray = npt.NDArray[np.float64]

POINTS = 200  # of the outline, wherever it is held against its mirror image
_TIP_MM = 3.0  # how near its end a flank counts as tip


def account(
    outline: CuffOutline, path: FloatArray, fit: Mirrored, view: View, size: tuple[int, int]
) -> dict[str, float]:
    """Standard uncertainties of the asymmetry by source, as far as the picture tells them.

    Parameters: outline; path : (200, 2) float [px], its outside in even steps; fit, that against its mirror image,
        straight ahead; view; size, width and height of the picture [px].
    Returns: edges, ground, tips, view and lens, each in pixels straight ahead.
    Raises: nothing of its own.
    Valid for: as look_at_cuff.
    Source: each doubt is tried one way and the other; JCGM 100:2008 5.1.
    Checked by: unit/test_vision_cuff.py, docs/studies/cuff.md
    """
    now = fit.largest

    def changed(points: FloatArray) -> float:
        return abs(mirrored(points, near=fit).largest - now)

    def of_both(one: FloatArray, other: FloatArray) -> float:
        # Past the axis the largest gap falls and rises again: the larger of both changes is counted.
        return max(changed(one), changed(other))

    seen_from = [of_both(one.ahead(path), other.ahead(path)) for one, other in view.others]
    centre = (np.array(size, dtype=float) - 1.0) / 2.0
    flat = (path - centre) / view.f_px
    bulge = view.f_px * flat * DISTORTION_SD * (flat**2).sum(1, keepdims=True)
    worst = int(fit.gaps.argmax())
    walked = _walked(outline.outside_px)
    doubt = np.interp(np.linspace(0.0, walked[-1], POINTS), walked, outline.u_place_px)
    opposite = POINTS - 1 - worst
    around = float(np.sqrt((doubt**2).mean()))
    return {
        "edges": hypot(outline.u_edge_px, 0.3 * outline.blur_px),
        "ground": hypot(float(doubt[worst]), float(doubt[opposite]), around),
        "tips": _share_of_tips(worst) * hypot(*outline.u_tips_px),
        "view": hypot(*seen_from),
        "lens": of_both(view.ahead(path + bulge), view.ahead(path - bulge)),
    }


def _walked(points: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def _share_of_tips(worst: int) -> float:
    """How much of a tip's error shows where the gap is largest: all of it there, some of it all along the flank."""
    return 1.0 if min(worst, POINTS - 1 - worst) < 0.05 * POINTS else 0.3


def largest_gap(
    fit: Mirrored, points: FloatArray, outline: CuffOutline, px_per_mm: float
) -> tuple[float, float]:
    """The largest gap, and by how much a tip's is above all others.

    Where a flank ends is known less well than where it runs, and a gap is never negative: of a tip's gap, what its own
    error makes on average is taken off, in squares.

    Parameters: fit, of points : (200, 2) float [px]; outline; px_per_mm.
    Returns: both in pixels.
    Raises: nothing of its own.
    Valid for: as look_at_cuff.
    Source: own construction.
    Checked by: unit/test_vision_cuff.py
    """
    walked = _walked(points) / px_per_mm
    tip = (walked < _TIP_MM) | (walked > walked[-1] - _TIP_MM)
    body = float(fit.gaps[~tip].max())
    ends = float(fit.gaps[tip].max())
    ends = sqrt(max(ends**2 - hypot(*outline.u_tips_px) ** 2, 0.0))
    return max(body, ends), max(ends - body, 0.0)
