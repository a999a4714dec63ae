"""Whether any known cause fits at all, and what the likeliest ones lead one to expect."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import column_of
from handsel.diagnosis.likelihood import Item, Rows, chances, log_density, log_likelihood
from handsel.diagnosis.result import Expected

Floats = NDArray[np.float64]

NONE_FITS_P = 0.004
MOST_HANDS = 300


def normal_beyond(z: Floats) -> Floats:
    """Chance of a standard normal above z, to 1e-4: logistic in z (1 + 0.044715 z^2).

    Source: the approximation of Page 1977, constants from memory; held to erf in unit/test_fitting.py.
    """
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(1.5957691 * z * (1.0 + 0.044715 * z * z), -60.0, 60.0))))


def fit_probability(catalogue: Catalogue, rows: Rows, weight: Floats, items: Sequence[Item]) -> float:
    """Chance that a hand like the best explanations would have fitted them worse than this one does.

    Parameters: catalogue; rows, n hands; weight : (n,) float, their posterior; items, what was seen.
    Returns: [-]; small when nothing in the catalogue explains what was seen.
    Raises: nothing of its own.
    Valid for: many looks; with few, hardly anything can be said not to fit.
    Source: posterior predictive check (Gelman et al. 1996, from memory) with minus the log chance of each
        look as discrepancy, its mean and variance known for each hand, the sum taken as normal.
    Checked by: unit/test_fitting.py
    """
    if not items:
        return 1.0
    best = np.argsort(-weight)[:MOST_HANDS]
    w = weight[best] / weight[best].sum()
    part = rows.take(best)
    wrong, mean, variance = (np.zeros(len(best)) for _ in range(3))
    for item in items:
        wrong -= log_likelihood(catalogue, part, item)
        m, v = _surprise(catalogue, part, item)
        mean += m
        variance += v
    return float(w @ normal_beyond((wrong - mean) / np.sqrt(np.maximum(variance, 1e-9))))


def _surprise(catalogue: Catalogue, rows: Rows, item: Item) -> tuple[Floats, Floats]:
    """Mean and variance of minus the log chance of a look, over its own answers; (n,) each."""
    if item.value is not None:
        _, sd = rows.quantity(column_of(item.look, item.place))
        noise = np.sqrt(item.u**2 + item.look.resolution**2 / 12.0 + sd * sd)
        grid = np.linspace(-40.0, 40.0, 1601)
        shape = np.exp(log_density(grid, 1.0, catalogue.reading_tails).astype(np.float64))
        p = shape / shape.sum()
        one = -np.log(shape)
        mean = float(p @ one)
        return mean + np.log(noise), np.full(len(noise), float(p @ (one - mean) ** 2))
    p = np.maximum(chances(catalogue, rows, item.look, item.place, in_group=item.in_group), 1e-6)
    told = -np.log(p)
    mean = (p * told).sum(0)
    return mean, (p * (told - mean) ** 2).sum(0)


def expected_of(
    catalogue: Catalogue, rows: Rows, weight: Floats, items: Sequence[Item], sets: Sequence[int]
) -> tuple[Expected, ...]:
    """What was seen beside what each explanation leads one to expect.

    Parameters: catalogue; rows; weight : (n,) posterior; items; sets, strata by index.
    Returns: Expected, the most telling first: where the explanations differ or none fits.
    """
    parts = []
    for s in sets:
        mine = np.flatnonzero(rows.stratum == s)
        w = weight[mine]
        if len(mine) and w.sum() > 0.0:
            keep = np.argsort(-w)[:MOST_HANDS]
            parts.append((rows.take(mine[keep]), w[keep] / w[keep].sum()))
    out = []
    for item in items:
        told = [_expect(catalogue, part, w, item) for part, w in parts]
        out.append(
            Expected(
                of=item.look.id,
                place=item.place,
                title=item.look.title,
                seen=item.answer if item.answer is not None else f"{item.value:.1f}",
                unit=item.look.unit,
                expected=tuple(t[0] for t in told),
                chance=tuple(t[1] for t in told),
            )
        )
    out.sort(key=lambda e: (min(e.chance, default=1.0), e.of, e.place))
    return tuple(out)


def _expect(catalogue: Catalogue, rows: Rows, w: Floats, item: Item) -> tuple[str, float]:
    if item.value is not None:
        x, sd = rows.quantity(column_of(item.look, item.place))
        mean = float(w @ x)
        wide = float(np.sqrt(w @ ((x - mean) ** 2 + sd * sd) + item.u**2))
        z = abs(item.value - mean) / max(wide, 1e-9)
        return f"{mean - 2 * wide:.1f} to {mean + 2 * wide:.1f}", float(2.0 * normal_beyond(np.array(z)))
    answers = item.look.answers_of(item.place)
    p = chances(catalogue, rows, item.look, item.place, in_group=item.in_group) @ w
    k = int(np.argmax(p))
    return f"{answers[k]} ({100 * p[k]:.0f} %)", float(p[answers.index(item.answer or "")])
