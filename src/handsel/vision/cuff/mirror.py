"""How far an outline is from its own mirror image: the axis that suits it best, and what is left over.

Any flat frame with equal units both ways; lengths come back in the unit they were given in.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, sin

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_ROUNDS, _NUDGE = 30, 1e-5
_SETTLED = 1e-5  # of the mean square: what a step must gain for another one
_SPAN, _LEAST_SPAN = 0.14, 6  # of the line, on either side of the piece that is counted to


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mirrored:
    """An outline against its mirror image."""

    normal: FloatArray  # (2,) unit, across the axis
    offset: float  # of the axis from the origin along the normal
    gaps: FloatArray  # (n,) from each point to the nearest of the mirror image
    nearest: FloatArray  # (n, 2) that nearest point
    image: FloatArray  # (n, 2) the mirror image

    @property
    def largest(self) -> float:
        """The largest gap: what is called the asymmetry."""
        return float(self.gaps.max())


def mirrored(points: FloatArray, *, near: Mirrored | None = None) -> Mirrored:
    """The mirror axis of an outline, and its distance from its mirror image all along.

    Parameters: points : (n, 2) float [any unit], an open line in even steps that the axis crosses once; near, the
        answer for a line that is nearly this one, from which it is found sooner.
    Returns: Mirrored, for the axis that makes the mean square of the gaps least.
    Raises: nothing of its own.
    Valid for: lines that are mirror images to within a quarter of their width.
    Source: own construction: Gauss-Newton over turn and shift of the axis, nearest points found anew each time; the
        start is the line between both ends.
    Checked by: unit/test_vision_mirror.py, properties/test_vision_mirror.py
    """
    middle = points.mean(0)
    centred = points - middle
    size = float(np.abs(centred).max())
    unit = centred / size
    starts: tuple[FloatArray, ...]
    if near is None:
        chord = unit[-1] - unit[0]
        start = np.array([atan2(chord[1], chord[0]), 0.0])
        start[1] = float((unit[0] + unit[-1]) @ _normal(start[0]) / 2.0)
        starts = (start, np.array([start[0], 0.0]))
    else:
        turn = atan2(near.normal[1], near.normal[0])
        starts = (np.array([turn, (near.offset - middle @ near.normal) / size]),)
    state = min((_settled(unit, s) for s in starts), key=lambda s: _cost(unit, s))
    normal = _normal(state[0])
    image = _image(unit, state)
    nearest = _nearest(unit, image)
    return Mirrored(
        normal=normal,
        offset=float(state[1] * size + middle @ normal),
        gaps=np.linalg.norm(unit - nearest, axis=1) * size,
        nearest=nearest * size + middle,
        image=image * size + middle,
    )


def _normal(angle: float) -> FloatArray:
    return np.array([cos(angle), sin(angle)])


def _image(points: FloatArray, state: FloatArray) -> FloatArray:
    normal = _normal(float(state[0]))
    return np.asarray(points - 2.0 * np.outer(points @ normal - state[1], normal))


def _nearest(points: FloatArray, image: FloatArray) -> FloatArray:
    """The nearest point of the mirror image, a line of straight pieces, to each point.

    The image runs the other way round, so the nearest piece is never far from the one counted from its other end.
    """
    n = len(points)
    span = max(_LEAST_SPAN, round(_SPAN * n))
    pieces = np.clip(n - 2 - np.arange(n)[:, None] + np.arange(-span, span + 1), 0, n - 2)
    start, along = image[:-1], np.diff(image, axis=0)
    length = np.maximum((along**2).sum(-1), 1e-18)
    # x and y by themselves: to sum over an axis of two numbers takes longer than all the rest
    x, y = (points[:, k, None] - start[pieces, k] for k in (0, 1))
    along_x, along_y = (along[pieces, k] for k in (0, 1))
    share = np.clip((x * along_x + y * along_y) / length[pieces], 0.0, 1.0)
    best = ((x - share * along_x) ** 2 + (y - share * along_y) ** 2).argmin(1)
    row = np.arange(n)
    piece = pieces[row, best]
    return np.asarray(start[piece] + share[row, best, None] * along[piece])


def _residual(points: FloatArray, state: FloatArray) -> FloatArray:
    return np.asarray((points - _nearest(points, _image(points, state))).ravel())


def _cost(points: FloatArray, state: FloatArray) -> float:
    return float((_residual(points, state) ** 2).mean())


def _settled(points: FloatArray, state: FloatArray) -> FloatArray:
    best = _cost(points, state)
    for _ in range(_ROUNDS):
        now = _residual(points, state)
        slopes = np.column_stack(
            [(_residual(points, state + step) - now) / _NUDGE for step in np.eye(2) * _NUDGE]
        )
        move = -np.linalg.solve(slopes.T @ slopes + 1e-9 * np.eye(2), slopes.T @ now)
        for share in (1.0, 0.5, 0.25, 0.1):
            new = _cost(points, state + share * move)
            if new < best:
                break
        else:
            return state
        state = state + share * move
        if best - new < _SETTLED * best + 1e-14:
            return state
        best = new
    return state
