"""What the edges say of the hinge angle: one explanation or several, each with its weight, as one distribution."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, sqrt

import numpy as np
import numpy.typing as npt

from handsel.metrology.distributions import normal_cdf, normal_quantile
from handsel.vision.camera import FocalGuess
from handsel.vision.rest_angle.hand_view import Placed, Scene

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mode:
    """One explanation: the best state and the spread round it."""

    state: FloatArray  # (23,)
    covariance: FloatArray  # (23, 23)
    hinge_rad: float  # turn about the hinge
    u_hinge_rad: float
    weight: float
    guess: FocalGuess
    scene: Scene
    by_source: dict[str, float]  # variance of the hinge angle by where it comes from [rad^2]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """What the edges say of the hinge angle, all explanations together."""

    modes: tuple[Mode, ...]  # the best first
    misfit: float  # mean squared miss of the edges against their uncertainty; 1 is as expected
    weights: FloatArray  # (n,) say of each edge, 1 full
    u_edge_px: FloatArray  # (n,) [px] widened by the misfit
    fingers_right: bool
    placed: Placed  # the hand as the best explanation has it; one state

    def __post_init__(self) -> None:
        self.weights.flags.writeable = False
        self.u_edge_px.flags.writeable = False

    @property
    def scene(self) -> Scene:
        """What the best explanation starts from."""
        return self.modes[0].scene

    @property
    def sign(self) -> float:
        """Takes the turn about z to the rest angle."""
        return -1.0 if self.fingers_right else 1.0

    @property
    def rest_angle_deg(self) -> float:
        """Mean rest angle of all explanations [deg]."""
        return degrees(self.sign * sum(m.weight * m.hinge_rad for m in self.modes))

    @property
    def u_by_source_deg(self) -> dict[str, float]:
        """Standard uncertainty by where it comes from [deg]; their squares add up."""
        names = self.modes[0].by_source
        variance = {k: sum(m.weight * m.by_source[k] for m in self.modes) for k in names}
        mean = sum(m.weight * m.hinge_rad for m in self.modes)
        # Explanations that differ in focal length are put down to it, those that differ in lean to obliquity.
        total = sum(m.weight * (m.hinge_rad - mean) ** 2 for m in self.modes)
        within = 0.0
        for guess in {m.guess for m in self.modes}:
            mine = [m for m in self.modes if m.guess == guess]
            share = sum(m.weight for m in mine)
            centre = sum(m.weight * m.hinge_rad for m in mine) / share
            within += sum(m.weight * (m.hinge_rad - centre) ** 2 for m in mine)
        variance["obliquity"] += within
        variance["focal length"] += max(total - within, 0.0)
        return {k: degrees(sqrt(v)) for k, v in variance.items()}


def mixture_interval(
    means: FloatArray, sds: FloatArray, weights: FloatArray, coverage: float
) -> tuple[float, float]:
    """The central interval of a mixture of normals.

    Parameters: means, sds : (m,) float [-]; weights : (m,) float [-], together 1; coverage [-].
    Returns: both ends, in the unit of the means.
    Raises: nothing of its own.
    Valid for: sds above 0.
    Source: the normal distribution for one part; bisection of the distribution function for several.
    Checked by: unit/test_vision_solving.py
    """
    tails = 0.5 - coverage / 2.0, 0.5 + coverage / 2.0
    if len(means) == 1:
        low, high = (float(means[0] + sds[0] * normal_quantile(p)) for p in tails)
        return low, high
    ends = []
    for p in tails:
        low, high = float((means - 9.0 * sds).min()), float((means + 9.0 * sds).max())
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = sum(w * normal_cdf((middle - m) / s) for m, s, w in zip(means, sds, weights, strict=True))
            low, high = (middle, high) if below < p else (low, middle)
        ends.append(0.5 * (low + high))
    return ends[0], ends[1]
