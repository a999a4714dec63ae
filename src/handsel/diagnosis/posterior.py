"""From what was seen of a hand to its probable causes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.evidence import log_likelihoods
from handsel.diagnosis.fitting import NONE_FITS_P, expected_of, fit_probability
from handsel.diagnosis.hands import NONE, Bench
from handsel.diagnosis.library import ROUNDS, Library
from handsel.diagnosis.likelihood import Item, Rows, Seen, items_of, rows_of
from handsel.diagnosis.next_check import next_checks
from handsel.diagnosis.refining import refined_rows
from handsel.diagnosis.result import Cause, Diagnosis, FaultSet, Severity
from handsel.diagnosis.wording import sentence_of
from handsel.errors import OutOfRange

Floats = NDArray[np.float64]

MOST_CAUSES, MOST_SETS, COMPARED = 12, 8, 3
LEAST_P = 0.002
ENOUGH_HANDS = 40.0  # effective hands behind the likeliest explanation; below, it is refined where asked


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """Weights of a library's hands after what was seen. n hands, s strata, f faults.

    weight : (n,); by_set : (s,); by_fault : (f,) probability that the hand has it, alone or not.
    """

    rows: Rows
    severity: NDArray[np.float32]
    weight: Floats
    by_set: Floats
    by_fault: Floats
    effective_hands: float
    refined: bool


def set_priors(catalogue: Catalogue, strata: NDArray[np.int16]) -> Floats:
    """Probability of each set of faults before anything was seen; (s,), sums to 1.

    Source: faults independent but for those that come together, within the catalogue's shares of hands with none,
        one and two; three at once are left out.
    """
    odds = np.ones(len(catalogue.faults) + 1)  # the last: no fault
    for f in catalogue.faults:
        p = f.kind.prior / len(f.kind.places)
        odds[f.index] = p / (1.0 - p)
    out = odds[strata[:, 0]] * odds[strata[:, 1]]
    for k, (a, b) in enumerate(strata):
        if b != NONE:
            out[k] *= catalogue.times_together(catalogue.faults[a], catalogue.faults[b])
    out /= out.sum()
    none, two = strata[:, 0] == NONE, strata[:, 1] != NONE
    if catalogue.faultless_share is not None and catalogue.two_share is not None and two.any():
        one_share = 1.0 - catalogue.faultless_share - catalogue.two_share
        for which, share in (
            (none, catalogue.faultless_share),
            (two, catalogue.two_share),
            (~none & ~two, one_share),
        ):
            out[which] *= share / out[which].sum()
    return np.asarray(out)


def with_priors(catalogue: Catalogue, priors: Mapping[str, float]) -> Catalogue:
    """The catalogue with other priors for some kinds, as learned from confirmed causes.

    Parameters: catalogue; priors, share of hands by kind id [-].
    Returns: Catalogue; its library stays the same.
    Raises: OutOfRange for a kind that is not there, or a share that is none.
    Valid for: shares below one half.    Source: own.    Checked by: properties/test_diagnosis.py
    """
    known = {k.id for k in catalogue.kinds}
    for kind, p in priors.items():
        if kind not in known or not 0.0 < p < 0.5:
            raise OutOfRange(
                f"prior {p:g} of {kind[:40]}",
                where="priors",
                do="Give a share between 0 and 0.5 of a known kind.",
            )
    return replace(
        catalogue, kinds=tuple(replace(k, prior=priors.get(k.id, k.prior)) for k in catalogue.kinds)
    )


def posterior(
    library: Library,
    catalogue: Catalogue,
    items: Iterable[Item],
    *,
    scale_ratio: float | None = None,
    bench: Bench | None = None,
) -> Posterior:
    """Weigh the library by what was seen.

    Parameters: library; catalogue, with the priors to use; items, from `items_of`; scale_ratio of the hand
        [-], None: the library's; bench, to draw hands anew near the good ones where too few bear the answer.
    Returns: Posterior.
    Raises: nothing of its own.
    Valid for: hands with up to two faults.
    Source: Bayes' theorem; importance sampling in strata.
    Checked by: properties/test_diagnosis.py
    """
    wanted = tuple(items)
    rows = rows_of(library, library.scale_ratio if scale_ratio is None else scale_ratio)
    prior = set_priors(catalogue, library.strata)
    with np.errstate(divide="ignore"):
        base = np.log(prior) - np.log(library.counts)
    log_weight = base[library.stratum] + log_likelihoods(catalogue, rows, wanted)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    severity = library.severity
    refined = False
    if bench is not None and _thin(rows, weight):
        rows, severity, weight = refined_rows(bench, catalogue, library, rows, log_weight, wanted, prior)
        refined = True
    by_set = np.asarray(
        np.bincount(rows.stratum, weights=weight, minlength=len(rows.strata)), dtype=np.float64
    )
    by_fault = np.zeros(len(catalogue.faults) + 1)
    np.add.at(by_fault, rows.strata[:, 0], by_set)
    pairs = rows.strata[:, 1] != NONE
    np.add.at(by_fault, rows.strata[pairs, 1], by_set[pairs])
    return Posterior(
        rows=rows,
        severity=severity,
        weight=weight,
        by_set=by_set,
        by_fault=by_fault[:-1],
        effective_hands=float(1.0 / (weight @ weight)),
        refined=refined,
    )


def _thin(rows: Rows, weight: Floats) -> bool:
    """Whether too few hands bear the likeliest explanation."""
    by_set = np.bincount(rows.stratum, weights=weight, minlength=len(rows.strata))
    best = int(np.argmax(by_set))
    w = weight[rows.stratum == best]
    return float(w.sum() ** 2 / max(float(w @ w), 1e-300)) < ENOUGH_HANDS


def diagnose(
    library: Library,
    catalogue: Catalogue,
    observations: Iterable[Seen],
    *,
    scale_ratio: float | None = None,
    bench: Bench | None = None,
) -> Diagnosis:
    """The causes of what was seen of a hand, the next check, and what was expected against what was seen.

    Parameters: library; catalogue; observations, in any order, any of them missing; scale_ratio of the hand
        [-], None: the library's; bench: draw hands anew near the good ones where too few bear the answer
        (takes seconds; without it, well below a second).
    Returns: Diagnosis.
    Raises: BadAnswer for an answer that does not fit its look.
    Valid for: hands with up to two of the catalogue's faults; else `none_fits` should say so.
    Source: as `posterior`.
    Checked by: properties/test_diagnosis.py, published/test_diagnosis.py, independent by studies/diagnosis_study.py
    """
    items = items_of(catalogue, observations)
    p = posterior(library, catalogue, items, scale_ratio=scale_ratio, bench=bench)
    fit_p = fit_probability(catalogue, p.rows, p.weight, items)
    order = [int(s) for s in np.argsort(-p.by_set)[:MOST_SETS] if p.by_set[s] > LEAST_P]
    causes = tuple(
        Cause(fault=f, probability=float(p.by_fault[f.index]), severity=_severity(catalogue, p, f.index))
        for f in sorted(catalogue.faults, key=lambda f: -p.by_fault[f.index])[:MOST_CAUSES]
        if p.by_fault[f.index] > LEAST_P
    )
    sets = tuple(
        FaultSet(
            faults=tuple(catalogue.faults[i] for i in p.rows.strata[s] if i != NONE),
            probability=float(p.by_set[s]),
        )
        for s in order
    )
    checks = next_checks(catalogue, p.rows, p.weight, {i.key for i in items})
    faultless = float(p.by_set[0])
    none_fits = fit_p < NONE_FITS_P
    predicted = expected_of(catalogue, p.rows, p.weight, items, order[:COMPARED])
    return Diagnosis(
        sentence=sentence_of(causes, sets, faultless, none_fits, checks, predicted),
        causes=causes,
        sets=sets,
        faultless_p=faultless,
        none_fits=none_fits,
        fit_p=fit_p,
        next_checks=checks,
        predicted=predicted,
        effective_hands=p.effective_hands,
        refined=p.refined,
        library_share=library.rounds / ROUNDS,
        scale_ratio=library.scale_ratio,
    )


def _severity(catalogue: Catalogue, p: Posterior, fault: int) -> Severity | None:
    """Posterior of how bad a fault is, where it is there."""
    kind = catalogue.faults[fault].kind
    if kind.severity is None:
        return None
    which = p.rows.strata[p.rows.stratum]  # (n, 2)
    values, weights = [], []
    for k in range(2):
        mine = np.flatnonzero(which[:, k] == fault)
        values.append(p.severity[mine, k])
        weights.append(p.weight[mine])
    x, w = np.concatenate(values).astype(float), np.concatenate(weights)
    if w.sum() <= 0.0:
        return None
    w = w / w.sum()
    mean = float(w @ x)
    order = np.argsort(x)
    share = np.cumsum(w[order])
    low, high = (float(x[order][min(int(np.searchsorted(share, q)), len(x) - 1)]) for q in (0.025, 0.975))
    return Severity(
        value=mean, u=float(np.sqrt(w @ (x - mean) ** 2)), low=low, high=high, unit=kind.severity.unit
    )
