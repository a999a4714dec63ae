"""More hands near those that fit: where few of the library bear the answer, new ones are drawn round them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue, Severity
from handsel.diagnosis.evidence import log_likelihoods
from handsel.diagnosis.hands import NONE, Bench, draw, severities
from handsel.diagnosis.library import Library
from handsel.diagnosis.likelihood import BAND, BAND_POWER, Item, Rows
from handsel.diagnosis.passing import as_brought
from handsel.mechanics.draws import Draws

Floats = NDArray[np.float64]

SETS, HANDS, FRESH_SHARE = 8, 160, 0.25  # explanations that are refined, new hands of each, drawn as at first
LEAST_P = 0.01
SEED = 51


def refined_rows(
    bench: Bench,
    catalogue: Catalogue,
    library: Library,
    rows: Rows,
    log_weight: Floats,
    items: Sequence[Item],
    prior: Floats,
) -> tuple[Rows, NDArray[np.float32], Floats]:
    """The posterior with the likeliest explanations drawn anew.

    New hands have severities near those that fit, and count by how much more often they were drawn than
    they would be by the catalogue.

    Parameters: bench of the same catalogue and scale; library, rows and log weights of the first answer; items;
        prior : (s,) of the sets.
    Returns: rows, severity (n, 2) and weight (n,), the library's hands of those explanations replaced.
    Source: importance sampling with a mixture of the prior and a kernel round the posterior.
    Checked by: unit/test_fitting.py
    """
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    by_set = np.bincount(rows.stratum, weights=weight, minlength=len(rows.strata))
    chosen = [int(s) for s in np.argsort(-by_set)[:SETS] if by_set[s] > LEAST_P]
    draws = Draws(SEED)
    faults = np.repeat(rows.strata[chosen], HANDS, axis=0)
    severity = np.full((len(faults), 2), np.nan)
    importance = np.ones(len(faults))
    for k, s in enumerate(chosen):
        mine = np.flatnonzero(rows.stratum == s)
        part = slice(k * HANDS, (k + 1) * HANDS)
        severity[part], importance[part] = _near(
            catalogue, rows.strata[s], library.severity[mine].astype(float), weight[mine], draws
        )
    new = draw(bench, faults, draws, severity)
    brought = as_brought(catalogue, bench.columns, faults, new.seen)
    for k in range(
        len(chosen)
    ):  # those that would not have been brought count nothing; the others stand for all
        part = slice(k * HANDS, (k + 1) * HANDS)
        left = importance[part] * brought[part]
        if left.sum() > 0.0:
            importance[part] = np.maximum(left * (importance[part].sum() / left.sum()), 1e-300)
    stratum = np.repeat(np.array(chosen, dtype=np.int32), HANDS)
    kept = ~np.isin(rows.stratum, chosen)
    blur = rows.blur.copy()
    # Near the good hands there are as many as a large stratum would have there.
    blur[:, chosen] = library.spread[:, chosen] * BAND * (HANDS * 4.0) ** -BAND_POWER
    drawn = replace(
        rows,
        seen=new.seen,
        stratum=stratum,
        severity=new.severity,
        blur=blur,
        taken_from=rows.whole,
        kept={},
    )
    with np.errstate(divide="ignore"):
        log_new = np.log(prior[stratum]) - np.log(HANDS) + np.log(importance)
    log_new += log_likelihoods(catalogue, drawn, items)
    log_all = np.concatenate([log_weight[kept], log_new])
    w = np.exp(log_all - log_all.max())
    severities = np.concatenate([library.severity[kept], new.severity])
    both = replace(
        drawn,
        seen=np.concatenate([rows.seen[:, kept], new.seen], axis=1),
        stratum=np.concatenate([rows.stratum[kept], stratum]),
        severity=severities,
        kept={},
    )
    return both, severities, w / w.sum()


def _near(
    catalogue: Catalogue, faults: NDArray[np.int16], known: Floats, weight: Floats, draws: Draws
) -> tuple[Floats, Floats]:
    """Severities drawn near those that fit, and prior over proposal for each; (HANDS, 2), (HANDS,)."""
    w = weight / weight.sum()
    pick = np.searchsorted(np.cumsum(w), draws.uniform(HANDS) * 0.999999)
    fresh = draws.uniform(HANDS) < FRESH_SHARE
    out, log_prior = np.full((HANDS, 2), np.nan), np.zeros(HANDS)
    log_near = np.zeros((HANDS, len(w)))
    for k in range(2):
        s = catalogue.faults[faults[k]].kind.severity if faults[k] != NONE else None
        noise, even, sign = draws.normal(HANDS), draws.uniform(HANDS), draws.uniform(HANDS)
        if s is None or s.high <= s.low:
            continue
        width = max(0.06 * (s.high - s.low), float(np.sqrt(w @ (known[:, k] - w @ known[:, k]) ** 2)) * 0.6)
        width = min(width, 0.25 * (s.high - s.low))
        from_prior = severities(s, even, sign)
        near = known[pick, k] + width * noise
        value = np.where(fresh, from_prior, near)
        out[:, k] = value
        log_prior += np.log(np.maximum(_prior_density(s, value), 1e-300))
        z = (value[:, None] - known[None, :, k]) / width
        log_near += -0.5 * z * z - np.log(width * np.sqrt(2.0 * np.pi))
    prior = np.exp(log_prior)
    proposal = FRESH_SHARE * prior + (1.0 - FRESH_SHARE) * np.exp(log_near) @ w
    ratio = np.where(prior > 1e-200, prior / np.maximum(proposal, 1e-300), 0.0)
    # Beyond the severities that are met, a hand counts nothing; it is drawn at the edge all the same.
    for k in range(2):
        s = catalogue.faults[faults[k]].kind.severity if faults[k] != NONE else None
        if s is not None:
            size = np.clip(np.abs(out[:, k]) if s.either_sign else out[:, k], s.low, s.high)
            out[:, k] = size * np.where(out[:, k] < 0.0, -1.0, 1.0) if s.either_sign else size
    return out, np.maximum(ratio, 1e-300)


def _prior_density(s: Severity, x: Floats) -> Floats:
    """Triangular density of severities."""
    size = np.abs(x) if s.either_sign else x
    up = (size - s.low) / max((s.high - s.low) * (s.typical - s.low), 1e-12)
    down = (s.high - size) / max((s.high - s.low) * (s.high - s.typical), 1e-12)
    inside = (size >= s.low) & (size <= s.high)
    return np.where(inside, 2.0 * np.minimum(up, down), 0.0) * (0.5 if s.either_sign else 1.0)
