"""Which hand explains the edges: every explanation that fits, with its weight, and the angle's distribution.

For each focal length that is possible and for each way the hand may lean (a small card seen nearly square on
may lean to or from the camera), a damped Gauss-Newton search finds the best state. Near it the posterior is
taken as normal (Laplace); the explanations are mixed by the probability mass of each.
"""

from __future__ import annotations

from dataclasses import replace
from math import log, sqrt

import numpy as np
import numpy.typing as npt

from handsel.errors import Unsolved
from handsel.vision.camera import FocalGuess
from handsel.vision.edges import EdgeReadings
from handsel.vision.rest_angle.hand_view import (
    COUNT,
    CUFF_AT,
    CUFF_DEPTH,
    FACING,
    FOCAL,
    KNOWN_GROUP,
    PALM_AT,
    PALM_DEPTH,
    STRETCH,
    Scene,
    misses_px,
    place,
)
from handsel.vision.rest_angle.leaning import start_poses
from handsel.vision.rest_angle.posterior import Mode, Posterior
from handsel.vision.rest_angle.searching import ROUGHLY, inverse, search
from handsel.vision.rest_angle.slopes import hinge_slope

FloatArray = npt.NDArray[np.float64]

_OUTLIER = 3.0  # standard deviations at which an edge begins to lose its say
_FITTED = 7.0  # unknowns that the edges of one card settle, about
_BLOCK_PX = 8.0  # a JPEG file rounds blocks of so many pixels: what lies in one errs together
_UNLIKELY = 0.1  # a guess of less weight than this is tried only
# Where the edges would gain more by another focal length, or by a stretched picture, the guess is doubted: by chance
# in one photo of twenty each.
_MOST_GAIN = 4.0
_DROPPED = 12.0  # explanations less likely than exp(-12) of the best say nothing


def solve(
    palm: EdgeReadings, cuff: EdgeReadings, size_px: tuple[int, int], guesses: tuple[FocalGuess, ...]
) -> Posterior:
    """The rest angle's distribution from the edges of both cards.

    Parameters: palm and cuff, the edges as measured; size_px, width and height of the picture [px];
        guesses, the lenses that are possible; an unlikely one is tried only where the edges ask for another lens.
    Returns: Posterior; several explanations when the photo leaves them open.
    Raises: Unsolved when no state of a hand puts both cards in front of the camera.
    Valid for: one hand with both cards on the same side.
    Source: Gauss-Newton with Levenberg's damping; mixture of Laplace approximations weighed by their
        probability mass (MacKay 2003, ch. 27); scale of the residuals after Birge 1932.
    Checked by: unit/test_vision_solving.py, properties/test_vision.py
    """
    likely = tuple(g for g in guesses if g.weight >= _UNLIKELY)
    found = _solved(palm, cuff, size_px, likely)
    if len(likely) < len(guesses) and _gain_elsewhere(found.modes[0]) > _MOST_GAIN:
        return _solved(palm, cuff, size_px, guesses)
    return found


def _gain_elsewhere(mode: Mode) -> float:
    """By how much the sum of squares would fall were the focal length, or the stretch, left to the edges alone.

    With what is guessed, of variance p, the best is s standard deviations off the guess and has the variance v. For
    two normals multiplied the gain is s^2 p / (p - v).
    """
    off = (
        (mode.state[FOCAL] + log(26.0) - mode.guess.log_f35, mode.guess.sd**2, mode.covariance[FOCAL, FOCAL]),
        (mode.state[STRETCH], mode.guess.stretch_sd**2, mode.covariance[STRETCH, STRETCH]),
    )
    return max(float(surprise**2 / p / max(1.0 - v / p, 1e-6)) for surprise, p, v in off)


def _solved(
    palm: EdgeReadings, cuff: EdgeReadings, size_px: tuple[int, int], guesses: tuple[FocalGuess, ...]
) -> Posterior:
    """As solve, with all guesses taken alike."""
    u_edge = np.hypot(np.r_[palm.u_noise_px, cuff.u_noise_px], np.r_[palm.u_grid_px, cuff.u_grid_px])
    weights = np.ones(u_edge.size)
    broad = _broadest(guesses)
    first = []
    give_up = np.inf  # the wrong lean of a clear view is left before it has settled
    for scene, start in _starts(palm, cuff, size_px, broad):
        if (
            found := search(scene, start, broad, u_edge, weights, give_up=give_up, enough=ROUGHLY)
        ) is not None:
            first.append((found[1], scene, found[0]))
            give_up = min(give_up, 20.0 * found[1])
    if not first:
        raise Unsolved(
            "the two cards fit no hand in front of the camera",
            where="photo",
            do="Photograph the hand from the side, both cards in full view.",
        )
    cost, scene, state = min(first, key=lambda f: f[0])
    # Edges disturbed by shadow, glare or dirt lose their say; then the misfit of a card widens all its others.
    of_palm = np.arange(u_edge.size) < len(palm.at_px)
    u_wide, misfit = u_edge, 1.0
    cells_px = np.where(of_palm, palm.side_px, cuff.side_px) / 6.0
    shared = np.maximum(_BLOCK_PX / cells_px, 1.0)
    for _ in range(2):
        miss = misses_px(scene, state[None])[0]
        weights = _say(miss / u_wide)
        squares = weights * (miss / u_edge) ** 2
        misfit = float(squares.sum() / max(weights.sum() - 2.0 * _FITTED, 4.0))
        own = [float(squares[m].sum() / max(weights[m].sum() - _FITTED, 4.0)) for m in (of_palm, ~of_palm)]
        before, u_wide = u_wide, u_edge * np.sqrt(np.maximum(np.where(of_palm, *own), 1.0) * shared)
        # All weighed alike more or less moves nothing.
        if weights.min() > 0.98 and np.ptp(u_wide / before) < 0.1:
            break
        again = search(scene, state, broad, u_wide, weights, enough=ROUGHLY)
        state = state if again is None else again[0]
    likely = [f for f in first if f[0] < cost + 3.0 * _DROPPED * max(misfit, 1.0)]
    modes = _explanations(
        [(scene, state), *((f[1], f[2]) for f in likely if f[1] is not scene)], guesses, u_wide, weights
    )
    placed = place(modes[0].scene, modes[0].state[None])
    return Posterior(
        modes=modes,
        misfit=misfit,
        weights=weights,
        u_edge_px=u_wide,
        fingers_right=float(placed.apart[0, 0]) < 0.0,
        placed=placed,
    )


def _broadest(guesses: tuple[FocalGuess, ...]) -> FocalGuess:
    """One guess that covers them all, to start from."""
    total = sum(g.weight for g in guesses)
    mean = sum(g.weight * g.log_f35 for g in guesses) / total
    variance = sum(g.weight * (g.sd**2 + (g.log_f35 - mean) ** 2) for g in guesses) / total
    centre, stretch = max(g.centre_ratio_sd for g in guesses), max(g.stretch_sd for g in guesses)
    return FocalGuess(log_f35=mean, sd=sqrt(variance), weight=1.0, centre_ratio_sd=centre, stretch_sd=stretch)


def _say(miss: FloatArray) -> FloatArray:
    scale = max(1.0, float(np.median(np.abs(miss))) / 0.6745)
    far = np.maximum(np.abs(miss) / (_OUTLIER * scale), 1.0)
    return far**-2.0


def _starts(
    palm: EdgeReadings, cuff: EdgeReadings, size_px: tuple[int, int], guess: FocalGuess
) -> list[tuple[Scene, FloatArray]]:
    """Two starts: the palm card leaning either way, the cuff card leaning as nearly like it as it can."""
    blank = Scene(palm=palm, cuff=cuff, size_px=size_px, palm_reference=FACING, cuff_reference=FACING)
    ratio = np.exp(guess.log_f35 - log(26.0))
    start = np.zeros(COUNT)
    start[FOCAL] = log(ratio)
    palm_turns, palm_at, depth = start_poses(palm, blank.nominal_f_px * ratio, size_px)
    start[PALM_AT], start[PALM_DEPTH] = palm_at * ratio, log(depth / ratio)
    cuff_turns, cuff_at, depth = start_poses(cuff, blank.nominal_f_px * ratio, size_px)
    start[CUFF_AT], start[CUFF_DEPTH] = cuff_at * ratio, log(depth / ratio)
    return [
        (
            replace(
                blank,
                palm_reference=turn,
                cuff_reference=max(cuff_turns, key=lambda c: float(c[:, 2] @ turn[:, 2])),
            ),
            start,
        )
        for turn in palm_turns
    ]


def _explanations(
    starts: list[tuple[Scene, FloatArray]],
    guesses: tuple[FocalGuess, ...],
    u_edge: FloatArray,
    weights: FloatArray,
) -> tuple[Mode, ...]:
    """Every lean with every focal length, alike ones once, weighed."""
    masses: list[tuple[float, Mode]] = []
    for scene, state in starts:
        for guess in guesses:
            found = search(scene, state, guess, u_edge, weights)
            if found is None:
                continue
            best, cost, jacobian = found
            normal = jacobian.T @ jacobian
            covariance = inverse(normal)
            _, log_det = np.linalg.slogdet(normal)
            mass = log(guess.weight) - guess.log_width - 0.5 * (cost + log_det)
            slope = hinge_slope(scene, best, guess)
            mode = Mode(
                state=best,
                covariance=covariance,
                weight=0.0,
                guess=guess,
                scene=scene,
                hinge_rad=float(place(scene, best[None]).hinge[0]),
                u_hinge_rad=sqrt(float(slope @ covariance @ slope)),
                by_source=_account(scene, jacobian @ covariance @ slope),
            )
            if not any(_alike(mode, other, mass, m) for m, other in masses):
                masses.append((mass, mode))
    if not masses:
        raise Unsolved(
            "no explanation of the two cards settles",
            where="photo",
            do="Photograph the hand from the side, both cards in full view.",
        )
    masses.sort(key=lambda m: -m[0])
    kept = [(np.exp(mass - masses[0][0]), mode) for mass, mode in masses if mass > masses[0][0] - _DROPPED]
    total = sum(w for w, _ in kept)
    return tuple(replace(mode, weight=float(w / total)) for w, mode in kept)


def _alike(mode: Mode, other: Mode, mass: float, other_mass: float) -> bool:
    """Two searches that ended in the same place: same focal guess, same lean."""
    if mode.guess != other.guess or abs(mass - other_mass) > 0.5:
        return False
    a, b = (place(m.scene, m.state[None]).palm[0] for m in (mode, other))
    apart = float(np.arccos(np.clip((np.trace(a.T @ b) - 1.0) / 2.0, -1.0, 1.0)))
    return bool(apart < np.radians(0.5) and abs(mode.hinge_rad - other.hinge_rad) < 0.3 * other.u_hinge_rad)


def _account(scene: Scene, pull: FloatArray) -> dict[str, float]:
    """Variance of the hinge angle from each source; together they make the whole [rad^2].

    The estimate is linear in the edges and in what was known beforehand: pull is by how much one standard deviation
    of each moves it, so its squares are what each brings.
    """
    n = len(scene.at_px)
    edges, known = pull[:n] ** 2, pull[n:] ** 2
    grid = np.r_[scene.palm.u_grid_px, scene.cuff.u_grid_px] ** 2
    noise = np.r_[scene.palm.u_noise_px, scene.cuff.u_noise_px] ** 2
    share = grid / (grid + noise)
    return {
        "edges": float((edges * (1.0 - share)).sum() + known[KNOWN_GROUP == 3].sum()),
        "size in pixels": float((edges * share).sum()),
        "obliquity": float(known[KNOWN_GROUP == 2].sum()),
        "focal length": float(known[KNOWN_GROUP == 0].sum()),
        "distortion": float(known[KNOWN_GROUP == 1].sum()),
    }
