"""Which hand explains the edges: every explanation that fits, with its weight, and the angle's distribution.

For each focal length that is possible and for each way the hand may lean (a small card seen nearly square on
may lean to or from the camera), a damped Gauss-Newton search finds the best state. Near it the posterior is
taken as normal (Laplace); the explanations are mixed by the probability mass of each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees, log, sqrt

import numpy as np
import numpy.typing as npt

from handsel.errors import Unsolved
from handsel.metrology.distributions import normal_cdf, normal_quantile
from handsel.vision.camera import FocalGuess
from handsel.vision.cards import CELL_MM
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
    Placed,
    Scene,
    misses_px,
    place,
    surprises,
)
from handsel.vision.rest_angle.slopes import hinge_slope, slopes

FloatArray = npt.NDArray[np.float64]

_ROUNDS = 25
_ENOUGH = 3e-3  # a round that gains less ends the search
_ROUGHLY = 0.3  # the same where it will be taken up again
_OUTLIER = 3.0  # standard deviations at which an edge begins to lose its say
_FITTED = 7.0  # unknowns that the edges of one card settle, about
_BLOCK_PX = 8.0  # a JPEG file rounds blocks of so many pixels: what lies in one errs together
_UNLIKELY = 0.1  # a guess of less weight than this is tried only
# Where the edges would gain more by another focal length, the guess is doubted: by chance in one photo of twenty.
_MOST_GAIN = 4.0
_DROPPED = 12.0  # explanations less likely than exp(-12) of the best say nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mode:
    """One explanation: the best state and the spread round it."""

    state: FloatArray  # (22,)
    covariance: FloatArray  # (22, 22)
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


def start_poses(
    card: EdgeReadings, f_px: float, size_px: tuple[int, int]
) -> tuple[FloatArray, FloatArray, float]:
    """The two ways a card may lean that look alike up to perspective, and where it is.

    Parameters: card; f_px [px]; size_px, width and height of the picture [px].
    Returns: as leans.
    Raises: nothing of its own.
    Valid for: as leans.
    Source: as leans.
    Checked by: unit/test_vision_solving.py
    """
    to_mm = np.diag([1.0 / CELL_MM, -1.0 / CELL_MM, 1.0])
    return leans(card.homography @ to_mm, f_px, (np.array(size_px) - 1.0) / 2.0)


def leans(h: FloatArray, f_px: float, centre: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """The two ways a flat thing may lean that look alike at its middle.

    Parameters: h : (3, 3) float [-], from the thing (mm, x right, y up) to the picture (px); f_px [px];
        centre : (2,) float [px], the optical centre.
    Returns: (2, 3, 3) float [-], turns in the camera frame; (2,) float [-], the direction of its origin as
        tangents; the distance of its origin along the view [mm].
    Raises: nothing of its own.
    Valid for: no distortion. Only the scale at the origin is used, so noise across a large thing is not evened out.
    Source: own construction: the singular values of the scale at the origin, seen from straight ahead, give the
        lean up to sign.
    Checked by: published/test_vision_calibration.py, unit/test_vision_solving.py
    """
    at = (h[:2, 2] / h[2, 2] - centre) / f_px
    local = (h[:2, :2] - np.outer(h[:2, 2] / h[2, 2], h[2, :2])) / h[2, 2] / f_px
    # Turn the camera so that the card is on its axis: what is seen there is a turned square, foreshortened.
    ray = np.array([at[0], at[1], 1.0])
    ray /= np.linalg.norm(ray)
    axis = np.cross([0.0, 0.0, 1.0], ray)
    sine = float(np.linalg.norm(axis))
    toward = _turn_to(axis, sine, float(ray[2]))
    jacobian = np.array([[1.0, 0.0, -at[0]], [0.0, 1.0, -at[1]]]) @ toward[:, :2] * ray[2]
    seen = np.linalg.solve(jacobian, local)
    largest = float(np.linalg.svd(seen, compute_uv=False)[0])
    flat = seen / largest
    third = np.sqrt(np.maximum(1.0 - (flat**2).sum(0), 0.0))
    if flat[:, 0] @ flat[:, 1] > 0.0:
        third[1] = -third[1]
    poses = []
    for sign in (1.0, -1.0):
        columns = np.vstack([flat, sign * third])
        u, _, vt = np.linalg.svd(columns, full_matrices=False)
        columns = u @ vt
        poses.append(toward @ np.column_stack([columns, np.cross(columns[:, 0], columns[:, 1])]))
    return np.array(poses), at, float(ray[2] / largest)


def _turn_to(axis: FloatArray, sine: float, cosine: float) -> FloatArray:
    if sine < 1e-12:
        return np.eye(3)
    x, y, z = axis / sine
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    result: FloatArray = np.eye(3) + sine * k + (1 - cosine) * (k @ k)
    return result


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
    """By how much the sum of squares would fall were the focal length left to the edges alone.

    With what is guessed, of variance p, the best is s standard deviations off the guess and has the variance v. For
    two normals multiplied the gain is s^2 p / (p - v).
    """
    p, v = mode.guess.sd**2, mode.covariance[FOCAL, FOCAL]
    surprise = mode.state[FOCAL] + log(26.0) - mode.guess.log_f35
    return float(surprise**2 / p / max(1.0 - v / p, 1e-6))


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
            found := _search(scene, start, broad, u_edge, weights, give_up=give_up, enough=_ROUGHLY)
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
        again = _search(scene, state, broad, u_wide, weights, enough=_ROUGHLY)
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
    centre = max(g.centre_ratio_sd for g in guesses)
    return FocalGuess(log_f35=mean, sd=sqrt(variance), weight=1.0, centre_ratio_sd=centre)


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


def stacked(
    scene: Scene, states: FloatArray, guess: FocalGuess, u_edge: FloatArray, weights: FloatArray
) -> FloatArray:
    """Misses and surprises in standard deviations, many states at once.

    Parameters: scene; states : (b, 22) float [-]; guess of the focal length; u_edge : (n,) float, uncertainty of
        the edges in pixels; weights : (n,) float [-], the say of each edge.
    Returns: (b, n + m) float [-].
    Raises: nothing of its own.
    Valid for: any states.
    Source: definition.
    Checked by: unit/test_vision_sampling.py
    """
    known, _ = surprises(scene, states, guess)
    return np.hstack([misses_px(scene, states) * (np.sqrt(weights) / u_edge), known])


def _search(
    scene: Scene,
    start: FloatArray,
    guess: FocalGuess,
    u_edge: FloatArray,
    weights: FloatArray,
    *,
    give_up: float = np.inf,
    enough: float = _ENOUGH,
) -> tuple[FloatArray, float, FloatArray] | None:
    """The best state from a start, its sum of squares, and the Jacobian there."""
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
            found = _search(scene, state, guess, u_edge, weights)
            if found is None:
                continue
            best, cost, jacobian = found
            normal = jacobian.T @ jacobian
            covariance = _inverse(normal)
            _, log_det = np.linalg.slogdet(normal)
            # A wide guess is a thin one: its densities of focal length and of both ways of the centre.
            mass = log(guess.weight) - log(guess.sd * guess.centre_ratio_sd**2) - 0.5 * (cost + log_det)
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


def _inverse(normal: FloatArray) -> FloatArray:
    """The inverse of a normal matrix whose unknowns are in units of their own: radians, logarithms, pixels."""
    unit = 1.0 / np.sqrt(normal.diagonal())
    inverse = np.linalg.inv(normal * np.outer(unit, unit)) * np.outer(unit, unit)
    result: FloatArray = 0.5 * (inverse + inverse.T)
    return result


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
