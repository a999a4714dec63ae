"""Teaching the tool a design from one good hand: caliper measures, a few readings, least squares.

The engine is run on trial designs until its readings are the hand's. What was known beforehand
(drawings are mostly right, hands are tied within some millimetres) enters as weak readings, so a fit
always has an answer; what the hand itself did not tell is then said, with the reading that would.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.errors import OutOfRange, Unsolved
from handsel.mechanics.arms import ARMS, THUMB, TIP, Arm, arms_of, group_of, with_arms
from handsel.mechanics.teaching import (
    ARM,
    CORD_LENGTH,
    DIGIT_ANGLE,
    LOWERED,
    TILT,
    TeachingReading,
    check_readings,
    predict,
)
from handsel.metrology.quantity import Quantity

Floats = NDArray[np.float64]

ARM_SD_RATIO = 0.15  # own estimate: a drawing scaled from a photograph is mostly nearer than that
EXCESS_SD_MM = 4.0  # as for the lengths of a hand tied by volunteers
OPEN_RATIO = 0.7  # a width that shrank less than this was hardly learnt
STEPS = np.array([0.02, 0.2])  # for derivatives: arm ratio, excess [mm]
MOST_ROUNDS, MOST_HALVINGS, SETTLED = 12, 5, 4.0e-3
SAME_SLOPE = 0.2
JUMP = 5.0  # [deg or mm] more than a step does: another joint of a digit has begun to lead
DRAWN, MOST_STARTS, GOOD_ENOUGH, SEED = 40, 3, 3.0, 20  # starts, where joints may switch
WIDEST_STEP_SD, LEAST_RATIO = 2.0, 0.2
LARGE_SHARE = 0.3  # of a direction's unit length: a parameter that takes part in it
READ_U = {LOWERED: 0.5, TILT: 1.0, DIGIT_ANGLE: 2.0, CORD_LENGTH: 1.0, ARM: 0.3}  # of readings proposed


@dataclass(frozen=True, slots=True, kw_only=True)
class Undetermined:
    """Something that the readings did not tell, and the reading that would."""

    text: str  # to show
    parameters: tuple[str, ...]  # one, or several known only together
    width_ratio: float  # width now against before, along what stays open
    settle: TeachingReading | None  # its value is empty: what to read; None if nothing known would help


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """What a hand taught.

    names : p parameters, ratios of arms [-] first, then excess of each cord [mm]; values, u : (p,);
    prior_u : (p,) before; covariance : (p, p); residuals : (r,) reading minus engine, in units of the
    readings; scaled_residuals : (r,) the same over their u; chi2 counts readings and prior, dof is
    the number of readings.
    """

    design: Design  # with the arms as found
    names: tuple[str, ...]
    values: Floats
    u: Floats
    prior_u: Floats
    covariance: Floats
    residuals: Floats
    scaled_residuals: Floats
    chi2: float
    dof: int
    undetermined: tuple[Undetermined, ...]
    settled: bool  # False: stopped at a kink (a cord about to go slack): u may be too small

    @property
    def chi2_per_dof(self) -> float:
        """Near 1 when the hand is of this kind and the readings are as good as said."""
        return self.chi2 / self.dof

    def estimate(self, name: str) -> Quantity:
        """One parameter with its uncertainty.

        Raises: OutOfRange for a name that is not among `names`.
        """
        if name not in self.names:
            raise OutOfRange(
                f'"{name}" is not known',
                where=self.design.name,
                do=f"Ask for one of: {', '.join(self.names)}.",
            )
        i = self.names.index(name)
        unit = "ratio" if i < len(self.names) - len(self.design.cords) else "mm"
        return Quantity(value=float(self.values[i]), u=float(self.u[i]), unit=unit, origin=f"taught: {name}")


def calibrate(design: Design, readings: Sequence[TeachingReading]) -> Calibration:
    """Effective arms and cord excesses of one good hand, by least squares.

    Parameters: design, placed, as good as it is known; readings of one hand of that design.
    Returns: Calibration. Its covariance is that of the linear fit at the solution, prior included.
    Raises: OutOfRange for readings that cannot be; Unsolved when no design near this one shows them.
    Valid for: a hand whose hinges are free, with friction as the design says; arms within about a
        third of the drawing. One ratio stands for a joint of all fingers.
    Source: Gauss-Newton with step halving on ((y - f(x)) / u, (x - x0) / u0); covariance
        (J' J + P)^-1; chi2 of readings and prior together has as many degrees of freedom as there are
        readings (linear model, from memory).
    Checked by: unit/test_calibration.py
    """
    check_readings(design, readings)
    arms = arms_of(design)
    k, p = len(arms), len(arms) + len(design.cords)
    centre = np.concatenate([np.ones(k), np.zeros(p - k)])
    width = np.concatenate([np.full(k, ARM_SD_RATIO), np.full(p - k, EXCESS_SD_MM)])
    step = np.concatenate([np.full(k, STEPS[0]), np.full(p - k, STEPS[1])])
    y = np.array([r.value.value for r in readings])
    u = np.array([r.value.u for r in readings])

    bends = any(r.of == DIGIT_ANGLE for r in readings)

    def look(x: Floats) -> tuple[Floats, Floats]:
        """Engine's readings at x and their derivatives, both over u; one batch of hands."""
        sides = [np.diag(step), -np.diag(step)] if bends else [np.diag(step)]
        trial = np.vstack([x, *(x + side for side in sides)])
        f = predict(design, readings, trial[:, :k], trial[:, k:]) / u
        slopes = np.stack([_slopes(f[0], part, step, u) for part in f[1:].reshape(len(sides), p, -1)])
        if not bends:
            return f[0], np.nan_to_num(slopes[0]).T
        # Which joint of a digit bends first can switch: the side that stays on this branch counts.
        ahead, behind = slopes[0], -slopes[1]
        ahead, behind = np.where(np.isnan(ahead), behind, ahead), np.where(np.isnan(behind), ahead, behind)
        near = np.abs(ahead - behind) <= SAME_SLOPE * (np.abs(ahead) + np.abs(behind))
        less = np.where(np.abs(ahead) < np.abs(behind), ahead, behind)
        return f[0], np.nan_to_num(np.where(near, 0.5 * (ahead + behind), less)).T

    def cost(f: Floats, x: Floats) -> float:
        return float(((y / u - f) ** 2).sum() + (((x - centre) / width) ** 2).sum())

    best = _descend(centre, look, cost, y / u, centre, width, k)
    if bends and not best.cost < GOOD_ENOUGH * len(readings):
        drawn = np.random.default_rng(SEED).standard_normal((DRAWN, p))
        tried = centre + 0.7 * width * drawn
        shown = predict(design, readings, tried[:, :k], tried[:, k:]) / u
        ranked = np.argsort([cost(f, x) for f, x in zip(shown, tried, strict=True)])
        for start in tried[ranked[:MOST_STARTS]]:
            fit = _descend(start, look, cost, y / u, centre, width, k)
            best = fit if fit.cost < best.cost else best
            if best.cost < GOOD_ENOUGH * len(readings):
                break
    if not np.isfinite(best.cost) or best.x[:k].min() <= LEAST_RATIO:
        raise Unsolved(
            f"no design near {design.name} shows these readings",
            where="teaching",
            do="Check slides, signs and units of the readings, then the design's measures.",
        )
    x, f, j = best.x, best.f, best.j
    covariance = np.asarray(np.linalg.inv(j.T @ j + np.diag(width**-2.0)), dtype=np.float64)
    names = tuple([f"{a.name}" for a in arms] + [f"excess of {c.name}" for c in design.cords])
    taught = with_arms(design, dict(zip(arms, map(float, x[:k]), strict=True)))
    found = _undetermined(design, names, x, covariance, width, step, k)
    arrays = [x, np.sqrt(np.diag(covariance)), width, covariance, y - f * u, y / u - f]
    for array in arrays:
        array.flags.writeable = False
    return Calibration(
        design=taught,
        names=names,
        values=arrays[0],
        u=arrays[1],
        prior_u=arrays[2],
        covariance=arrays[3],
        residuals=arrays[4],
        scaled_residuals=arrays[5],
        chi2=best.cost,
        dof=len(readings),
        undetermined=found,
        settled=best.settled,
    )


def _slopes(at: Floats, beside: Floats, step: Floats, u: Floats) -> Floats:
    """Derivatives (p, r) of readings over u; nan where a reading jumps, as no slope stands for that."""
    change = beside - at
    return np.where(np.abs(change) * u > JUMP, np.nan, change / step[:, None])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    x: Floats
    f: Floats
    j: Floats
    cost: float
    settled: bool


def _descend(
    x: Floats,
    look: Callable[[Floats], tuple[Floats, Floats]],
    cost: Callable[[Floats, Floats], float],
    y: Floats,
    centre: Floats,
    width: Floats,
    k: int,
) -> _Fit:
    """Gauss-Newton steps from x, each halved until the cost falls; y and what `look` gives are over u."""
    f, j = look(x)
    at_cost = cost(f, x)
    settled = False
    for _round in range(MOST_ROUNDS):
        normal = j.T @ j + np.diag(width**-2.0)
        downhill = j.T @ (y - f) - (x - centre) / width**2
        move = np.linalg.solve(normal, downhill)
        if float(downhill @ move) < SETTLED:
            settled = True
            break
        move *= min(1.0, WIDEST_STEP_SD / float(np.abs(move / width).max()))
        for _halving in range(MOST_HALVINGS):
            trial = np.concatenate([np.maximum(x[:k] + move[:k], LEAST_RATIO), x[k:] + move[k:]])
            f_trial, j_trial = look(trial)
            if cost(f_trial, trial) < at_cost:
                break
            move *= 0.5
        else:
            break  # nothing lower on the way: a kink of the engine, said in `settled`
        x, f, j, at_cost = trial, f_trial, j_trial, cost(f_trial, trial)
    return _Fit(x=x, f=f, j=j, cost=at_cost, settled=settled)


def _undetermined(
    design: Design, names: tuple[str, ...], x: Floats, covariance: Floats, width: Floats, step: Floats, k: int
) -> tuple[Undetermined, ...]:
    """Directions in which the fit is hardly narrower than what was known before."""
    shrunk = covariance / np.outer(width, width)
    values, vectors = np.linalg.eigh(shrunk)
    ratios = np.sqrt(np.maximum(values, 0.0))
    open_ones = np.flatnonzero(ratios > OPEN_RATIO)
    if not len(open_ones):
        return ()
    candidates = proposals(design)
    trial = np.vstack([x, x + np.diag(step)])
    f = predict(design, candidates, trial[:, :k], trial[:, k:])
    u = np.array([r.value.u for r in candidates])
    rows = (
        np.nan_to_num(_slopes(f[0] / u, f[1:] / u, step, u)).T * width
    )  # by parameters in units of their width
    caliper = np.array([r.of == ARM for r in candidates])
    found = []
    for v, ratio in _aligned(vectors[:, open_ones], shrunk):
        gain = (rows @ shrunk @ v) ** 2 / (1.0 + np.einsum("ri,ij,rj->r", rows, shrunk, rows))
        left = np.sqrt(np.maximum(ratio**2 - gain, 0.0))
        # A reading on the hand rather than a caliper between its guides, when it is good enough.
        best = int(np.argmin(np.where(caliper, np.inf, left)))
        if left[best] > OPEN_RATIO:
            best = int(np.argmin(left))
        settle = candidates[best] if left[best] < 0.95 * ratio else None
        part = [i for i in np.argsort(-np.abs(v)) if abs(v[i]) > LARGE_SHARE]
        found.append(
            Undetermined(
                text=_said(names, x, covariance, width, part, settle, k),
                parameters=tuple(names[i] for i in part),
                width_ratio=float(ratio),
                settle=settle,
            )
        )
    return tuple(found)


def _aligned(open_space: Floats, shrunk: Floats) -> list[tuple[Floats, float]]:
    """Directions that span an open space, single parameters first.

    Equal eigenvalues leave eigenvectors free to turn; a parameter that lies in the space is taken out.
    """
    space, result = open_space, []
    while space.shape[1]:
        inside = (space**2).sum(1)
        i = int(np.argmax(inside))
        v = space @ space[i] / np.sqrt(inside[i])
        v[np.abs(v) < 1e-9] = 0.0
        result.append((v, float(np.sqrt(v @ shrunk @ v))))
        rest = space - np.outer(v, v @ space)
        left, size, _ = np.linalg.svd(rest, full_matrices=False)
        space = left[:, size > 0.5]
    return result


def _said(
    names: tuple[str, ...],
    x: Floats,
    covariance: Floats,
    width: Floats,
    part: list[int],
    settle: TeachingReading | None,
    k: int,
) -> str:
    def number(i: int) -> str:
        unit, places = ("", 2) if i < k else (" mm", 1)
        now = float(np.sqrt(covariance[i, i]))
        return f"{x[i]:.{places}f} ± {now:.{places}f}{unit}, before ± {width[i]:.{places}f}{unit}"

    if len(part) == 1:
        text = f"The {names[part[0]]} is not told by these readings: {number(part[0])}."
    else:
        listed = "; ".join(f"{names[i]} {number(i)}" for i in part)
        text = f"These can trade against each other and only their sum effect is known: {listed}."
    if settle is None:
        return text + " No single reading that is known here would tell; take several more."
    return f"{text} This would tell most: {settle.describe()}."


def proposals(design: Design) -> tuple[TeachingReading, ...]:
    """Readings that a maker could still take, their values empty.

    Parameters: design, placed.
    Returns: TeachingReadings of the usual uncertainty, over both slides' travel.
    Source: own choice.
    Checked by: unit/test_calibration.py
    """
    tension = next(s for s in design.slides if s.body == "whippletree")
    pin = next(s for s in design.slides if s.body == "thumb_pin")

    def empty(of: str, unit: str) -> Quantity:
        return Quantity(value=0.0, u=READ_U[of], unit=unit, origin="to be read")

    found = []
    for d, t in (
        (0.0, 0.0),
        (tension.max_mm, 0.0),
        (tension.max_mm, pin.min_mm),
        (0.0, pin.min_mm),
        (0.0, pin.max_mm),
        (0.0, 0.5 * pin.max_mm),
    ):
        for of in (LOWERED, TILT):
            found.append(TeachingReading(of=of, value=empty(of, "deg"), tension_slide_mm=d, thumb_pin_mm=t))
    firsts = {group_of(leg): leg.digit for c in design.cords for leg in reversed(c.legs)}
    wrist_deg = max(design.hinge("wrist").min_deg, design.target_rest_angle_deg - 26.0)
    for group in sorted(firsts, key=lambda g: g == THUMB):
        for joint in sorted({a.joint for a in ARMS} - {"wrist"}, key=lambda j: j == TIP):
            found.append(
                TeachingReading(
                    of=DIGIT_ANGLE,
                    value=empty(DIGIT_ANGLE, "deg"),
                    digit=firsts[group],
                    joint=joint,
                    wrist_deg=wrist_deg,
                )
            )
    found += [
        TeachingReading(of=CORD_LENGTH, value=empty(CORD_LENGTH, "mm"), cord=c.name) for c in design.cords
    ]
    found += [TeachingReading(of=ARM, value=empty(ARM, "mm"), arm=a) for a in arms_of(design)]
    return tuple(found)


__all__ = ["Arm", "Calibration", "TeachingReading", "Undetermined", "calibrate", "proposals"]
