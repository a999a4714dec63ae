"""From a start to the best state of the hand near it: damped least squares."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from handsel.vision.camera import FocalGuess
from handsel.vision.rest_angle.hand_view import Scene
from handsel.vision.rest_angle.slopes import slopes

FloatArray = npt.NDArray[np.float64]

_ROUNDS = 25
ENOUGH = 3e-3  # a round that gains less ends the search
ROUGHLY = 0.3  # the same where it will be taken up again


def search(
    scene: Scene,
    start: FloatArray,
    guess: FocalGuess,
    u_edge: FloatArray,
    weights: FloatArray,
    *,
    give_up: float = np.inf,
    enough: float = ENOUGH,
) -> tuple[FloatArray, float, FloatArray] | None:
    """The best state near a start, by damped steps.

    Parameters: scene; start : (23,) float [-]; guess of the lens; u_edge : (n,) float, uncertainty of the edges in
        pixels; weights : (n,) float [-], the say of each edge; give_up, a sum of squares [-] above which a search
        that has had its first rounds is left; enough, the gain [-] of a round at which it ends.
    Returns: the state, its sum of squares and the Jacobian of the residuals there; None where it does not settle.
    Raises: nothing of its own.
    Valid for: starts with both cards in front of the camera.
    Source: Gauss-Newton with Levenberg's damping.
    Checked by: unit/test_vision_solving.py
    """
    state, damping = start, 1e-5
    residual, jacobian = slopes(scene, state, guess, u_edge, weights)
    cost = float(residual @ residual)
    if not np.isfinite(cost):
        return None
    for turn in range(_ROUNDS):
        normal, slope = jacobian.T @ jacobian, jacobian.T @ residual
        step = np.linalg.solve(normal + np.diag(damping * normal.diagonal()), -slope)
        trial = state + step
        with np.errstate(all="ignore"):  # a step too far is seen by its cost
            new, new_jacobian = slopes(scene, trial, guess, u_edge, weights)
            new_cost = float(new @ new)
        if not np.isfinite(new_cost) or new_cost > cost:
            damping *= 10.0
            if damping > 1e8:
                break
            continue
        gain, state, cost, damping = cost - new_cost, trial, new_cost, damping * 0.01
        residual, jacobian = new, new_jacobian
        if gain < enough or (turn >= 4 and cost > give_up):
            break
    return (state, cost, jacobian) if np.isfinite(jacobian).all() else None


def inverse(normal: FloatArray) -> FloatArray:
    """The inverse of a normal matrix whose unknowns are in units of their own: radians, logarithms, pixels.

    Parameters: normal : (k, k) float [-], symmetric, positive.
    Returns: (k, k) float [-], symmetric.
    Raises: nothing of its own.
    Valid for: matrices whose diagonal has no zero.
    Source: scaled to a unit diagonal before it is inverted.
    Checked by: unit/test_vision_solving.py
    """
    unit = 1.0 / np.sqrt(normal.diagonal())
    inverse = np.linalg.inv(normal * np.outer(unit, unit)) * np.outer(unit, unit)
    result: FloatArray = 0.5 * (inverse + inverse.T)
    return result
