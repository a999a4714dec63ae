"""The rest angle's posterior by drawing from it: slow and exact, to hold the quick normal approximation against."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, log, sqrt

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FocalGuess
from handsel.vision.rest_angle.hand_view import COUNT, Scene, misses_px, place, surprises
from handsel.vision.rest_angle.posterior import Mode, Posterior

FloatArray = npt.NDArray[np.float64]

_DOF = 40.0  # of the Student draws: heavier tails than what they stand for


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """Mean and standard deviation of the rest angle from weighted draws."""

    rest_angle_deg: float
    u_rest_angle_deg: float
    low_deg: float
    high_deg: float
    effective_count: float  # of independent draws that the weighted ones are worth


def sample(posterior: Posterior, *, count: int = 20_000, seed: int = 0) -> Sampled:
    """Mean, spread and 95 % interval of the rest angle, the cards' turn left out as in the posterior.

    Importance sampling with a mixture of Student distributions round each explanation (MacKay 2003, ch. 29.2); the
    effective count after Kong 1992. It says something from effective counts of some dozens on.
    """
    rng = np.random.default_rng(seed)
    angles, logs = [], []
    for mode in posterior.modes:
        n = max(int(count * mode.weight), 200)
        states, log_density = _draws(mode, n, rng)
        scene = mode.scene
        residual = np.vstack(
            [
                stacked(scene, part, mode.guess, posterior.u_edge_px, posterior.weights)
                for part in np.array_split(states, max(1, n // 2000))
            ]
        )
        log_target = -0.5 * (residual**2).sum(1) + log(mode.guess.weight) - mode.guess.log_width
        # Each explanation is drawn for itself: its weighted draws stand for its own mass.
        logs.append(log_target - log_density - np.log(n))
        angles.append(posterior.sign * place(scene, states).hinge)
    angle, log_weight = np.concatenate(angles), np.concatenate(logs)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ angle)
    order = np.argsort(angle)
    below = np.cumsum(weight[order])
    low, high = (
        float(angle[order][min(int(np.searchsorted(below, p)), angle.size - 1)]) for p in (0.025, 0.975)
    )
    return Sampled(
        rest_angle_deg=degrees(mean),
        u_rest_angle_deg=degrees(sqrt(float(weight @ (angle - mean) ** 2))),
        low_deg=degrees(low),
        high_deg=degrees(high),
        effective_count=float(1.0 / (weight**2).sum()),
    )


def stacked(
    scene: Scene, states: FloatArray, guess: FocalGuess, u_edge: FloatArray, weights: FloatArray
) -> FloatArray:
    """Misses and surprises in standard deviations, many states at once: what the search makes least."""
    known, _ = surprises(scene, states, guess)
    return np.hstack([misses_px(scene, states) * (np.sqrt(weights) / u_edge), known])


def _draws(mode: Mode, n: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Student draws round an explanation, and the logarithm of their density up to a common constant."""
    factor = np.linalg.cholesky(mode.covariance)
    chi = rng.chisquare(_DOF, n) / _DOF
    unit = rng.standard_normal((n, COUNT)) / np.sqrt(chi)[:, None]
    log_det = float(np.log(np.diag(factor)).sum())
    density = -0.5 * (_DOF + COUNT) * np.log1p((unit**2).sum(1) / _DOF) - log_det
    return mode.state + unit @ factor.T, density
