"""Scores of a diagnosis against the truth, each with its uncertainty. Numbers in, numbers out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.result import nothing_wrong_first

Floats = NDArray[np.float64]

FAULTLESS = "faultless"
LEAST_P = 1e-4  # what is given less than this counts as given this, in logarithms and logits
DRAWS = 2000
CALIBRATED_ANEW = 200
ENOUGH_LOGIT = 1e-6  # the last step of a fit: far below what is printed


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One hand: what is true, and what was said. Faults are written kind@place."""

    true: tuple[str, ...]  # none, one or two
    said: dict[str, float]  # probability that each is present; and of no fault at all
    kind_of_case: str = ""  # the single fault's kind

    def rank(self, fault: str) -> int:
        """Place of a cause in the list, 1 is first; ties count against it. `faultless` stands in the list."""
        p = self.said.get(fault, 0.0)
        return 1 + sum(q >= p for f, q in self.said.items() if f != fault) if p > 0.0 else len(self.said) + 1

    @property
    def causes(self) -> dict[str, float]:
        """The list of causes as it is shown: "nothing is wrong" stands apart from it."""
        return {f: p for f, p in self.said.items() if f != FAULTLESS}

    @property
    def faultless_p(self) -> float:
        return self.said.get(FAULTLESS, 0.0)

    @property
    def first_said(self) -> str:
        """What the sentence begins with: that nothing is wrong, or the likeliest cause."""
        causes = self.causes
        best = max(causes, key=lambda f: causes[f], default=FAULTLESS)
        nothing = nothing_wrong_first(self.faultless_p, causes.get(best, 0.0))
        return FAULTLESS if nothing else best


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share with its lower one-sided 95 % bound."""

    value: float
    lower: float
    count: int

    def __str__(self) -> str:
        return f"{self.value:.1%} (lower 95 % bound {self.lower:.1%}, {self.count} hands)"


def share(hits: Sequence[bool]) -> Share:
    """Of one kind of hand: Wilson's one-sided bound."""
    n = len(hits)
    if n == 0:
        return Share(value=float("nan"), lower=float("nan"), count=0)
    p, z = float(np.mean(hits)), 1.645
    middle, half = p + z * z / (2 * n), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return Share(value=p, lower=float((middle - half) / (1 + z * z / n)), count=n)


def macro(cases: Sequence[Case], hit: Callable[[Case], bool], seed: int = 0) -> Share:
    """Mean over kinds of the share within each kind.

    The bound draws each kind's share from its Beta(hits + 1/2, misses + 1/2) and takes the means' 5 % quantile.
    """
    rng = np.random.default_rng(seed)
    kinds = sorted({c.kind_of_case for c in cases})
    values, draws = [], []
    for kind in kinds:
        hits = [hit(c) for c in cases if c.kind_of_case == kind]
        values.append(np.mean(hits))
        draws.append(rng.beta(sum(hits) + 0.5, len(hits) - sum(hits) + 0.5, DRAWS))
    low = float(np.quantile(np.mean(draws, axis=0), 0.05))
    return Share(value=float(np.mean(values)), lower=low, count=len(cases))


def called_faultless(c: Case) -> bool:
    return c.first_said == FAULTLESS


def named_first(c: Case) -> bool:
    """Whether the sentence begins with the one true cause; of several that are as likely, with none."""
    return c.first_said == c.true[0] and listed(1)(c)


def listed(n: int) -> Callable[[Case], bool]:
    """Whether all true faults are among the first n of the list of causes."""

    def hit(c: Case) -> bool:
        alone = Case(true=c.true, said=c.causes)
        return all(alone.rank(f) <= n for f in c.true)

    return hit


def first_where_so_many_are_sound(cases: Sequence[Case], sound_share: float) -> Share:
    """True cause first, mean over kinds, with the bar at which so many faultless hands are called faultless.

    The bar is how many times as likely as "nothing is wrong" a cause has to be before it is named; it is set on these
    same hands.
    """

    def times(c: Case) -> float:
        return max(c.causes.values(), default=0.0) / max(c.faultless_p, LEAST_P)

    met = np.sort([times(c) for c in cases if not c.true])
    bar = met[min(int(np.ceil(sound_share * len(met) - 1e-9)), len(met)) - 1]
    return macro([c for c in cases if len(c.true) == 1], lambda c: times(c) > bar and listed(1)(c))


def in_top(n: int) -> Callable[[Case], bool]:
    return lambda c: all(c.rank(f) <= n for f in c.true)


def right_kind(c: Case) -> bool:
    """Whether the first cause is of the true kind, wherever it is said to be."""
    return c.first_said.split("@")[0] == c.kind_of_case


def log_score(cases: Sequence[Case], said: Callable[[Case], dict[str, float]] | None = None) -> float:
    """Mean of -ln p of the one true cause; smaller is better."""
    some = [(said(c) if said else c.said).get(c.true[0], 0.0) for c in cases]
    return float(np.mean(-np.log(np.maximum(some, LEAST_P))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Logistic recalibration of stated probabilities: value with 95 % interval."""

    slope: tuple[float, float, float]
    in_the_large: tuple[float, float, float]  # intercept at slope 1, in logits: 0 is even
    expected: float  # sum of what was stated
    seen: float
    count: int  # stated probabilities
    hands: int


def calibration(
    groups: Sequence[tuple[Floats, Floats]],
    weights: Sequence[float] | None = None,
    seed: int = 0,
    draws: int = CALIBRATED_ANEW,
) -> Calibration:
    """Of groups of (stated p, whether it was so), one group a hand; intervals by drawing hands so many times."""
    rng = np.random.default_rng(seed)
    w = np.ones(len(groups)) if weights is None else np.asarray(weights, dtype=float)
    sizes = [len(p) for p, _ in groups]
    p = np.clip(np.concatenate([g[0] for g in groups]), LEAST_P, 1 - LEAST_P)
    y = np.concatenate([g[1] for g in groups])
    hand = np.repeat(np.arange(len(groups)), sizes)
    x = np.log(p / (1 - p))

    line, large = _logistic(x, y, w[hand]), _intercept(x, y, w[hand])
    point = line[1], large

    def fit(of_hand: Floats) -> tuple[float, float]:
        k = of_hand[hand]
        return _logistic(x, y, k, line)[1], _intercept(x, y, k, large)

    drawn = np.array(
        [fit(w * np.bincount(rng.integers(0, len(w), len(w)), minlength=len(w))) for _ in range(draws)]
    )
    low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
    return Calibration(
        slope=(point[0], float(low[0]), float(high[0])),
        in_the_large=(point[1], float(low[1]), float(high[1])),
        expected=float((w[hand] * p).sum()),
        seen=float((w[hand] * y).sum()),
        count=len(p),
        hands=len(groups),
    )


def _logistic(
    x: Floats, y: Floats, weight: Floats, start: tuple[float, float] = (0.0, 1.0)
) -> tuple[float, float]:
    """Intercept and slope by Newton's method."""
    b = np.array(start)
    design = np.stack([np.ones_like(x), x], 1)
    for _ in range(50):
        mu = 1 / (1 + np.exp(-np.clip(design @ b, -30, 30)))
        gradient = design.T @ (weight * (y - mu))
        hessian = (design * (weight * mu * (1 - mu))[:, None]).T @ design + 1e-9 * np.eye(2)
        step = np.linalg.solve(hessian, gradient)
        b = b + np.clip(step, -2.0, 2.0)
        if np.abs(step).max() < ENOUGH_LOGIT:
            break
    return float(b[0]), float(b[1])


def _intercept(x: Floats, y: Floats, weight: Floats, start: float = 0.0) -> float:
    a = start
    for _ in range(50):
        mu = 1 / (1 + np.exp(-np.clip(a + x, -30, 30)))
        step = (weight * (y - mu)).sum() / max((weight * mu * (1 - mu)).sum(), 1e-9)
        a += float(np.clip(step, -2.0, 2.0))
        if abs(step) < ENOUGH_LOGIT:
            break
    return a


def stated(c: Case, least: float = 0.01) -> tuple[Floats, Floats]:
    """Every probability of at least so much that was stated of one hand, and whether it was so."""
    true = set(c.true) or {FAULTLESS}
    some = [(p, float(f in true)) for f, p in c.said.items() if p >= least]
    return np.array([p for p, _ in some]), np.array([y for _, y in some])


def first_stated(c: Case) -> tuple[Floats, Floats]:
    first = c.first_said
    return np.array([c.said[first]]), np.array([float(first in (set(c.true) or {FAULTLESS}))])
