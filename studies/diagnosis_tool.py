"""The diagnosis as the study asks it: observations in, probabilities of every cause and of none out.

What `handsel diagnose` reasons with: the same library, catalogue and likelihood, the instrument's uncertainty
from the protocol's methods. Only the list of causes is not cut off after the first dozen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from diagnosis_ceiling import ranges
from diagnosis_scores import FAULTLESS

import handsel.diagnosis
from handsel.data.library_store import build_library, library_place
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.evidence import log_likelihoods
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.hands import NONE
from handsel.diagnosis.library import ROUNDS, Library
from handsel.diagnosis.likelihood import items_of, rows_of
from handsel.diagnosis.next_check import next_checks
from handsel.diagnosis.posterior import posterior, set_priors
from handsel.inspection.case import Case, HandRecord, Observation


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the tool says of one set of observations."""

    said: dict[str, float]  # marginal probability of each cause, and of none
    none_fits: bool
    next_check: tuple[str, str] | None  # observable, place


class Tool:
    """The bundled catalogue and the library of one scale, made where it is missing."""

    def __init__(
        self,
        *,
        rounds: int = ROUNDS,
        scale_ratio: float = 1.0,
        cache: Path | None = None,
        library: Library | None = None,
    ) -> None:
        self.protocol = load_protocol()
        self.catalogue = load_faults("wrist-hand-1", self.protocol)
        design_sha256 = sha256(design_path("linden").read_bytes()).hexdigest()
        at = library_place(self.catalogue, load_design("linden"), design_sha256, scale_ratio, cache=cache)
        self.library = library or build_library(at, rounds=tuple(range(rounds)))
        self._rows = rows_of(self.library, scale_ratio)
        self._log_base = _log_base(self.library, set_priors(self.catalogue, self.library.strata))
        self._log_study = _log_base(self.library, _study_priors(self.catalogue, self.library.strata))
        self.hand = HandRecord(
            code="R-014",
            serial="H-1",
            design="linden",
            scale_ratio=scale_ratio,
            side="right",
            hold_point="strung",
        )
        self.key = f"{at.key[:8]}-{self.catalogue.sha256[:8]}-{_code_sha256()[:8]}-{self.library.rounds}"
        known = f"library of {len(self.library.stratum)} hands"
        self.about = f"catalogue {self.catalogue.id} {self.catalogue.version}, {known}"

    def ask(self, said: Sequence[dict[str, Any]], *, check: bool = False) -> Answer:
        """Probabilities, whether anything fits, and with `check` what to look at next."""
        items = items_of(self.catalogue, seen_in_case(self.case(said), self.protocol, self.catalogue))
        p = posterior(self.library, self.catalogue, items)
        found = {f.id: float(p.by_fault[f.index]) for f in self.catalogue.faults}
        found[FAULTLESS] = float(p.by_set[0])
        wanted = next_checks(self.catalogue, p.rows, p.weight, {i.key for i in items}) if check else ()
        return Answer(
            said=found,
            none_fits=bool(fit_probability(self.catalogue, p.rows, p.weight, items) < NONE_FITS_P),
            next_check=(wanted[0].of, wanted[0].place) if wanted else None,
        )

    def quick(
        self, said: Sequence[dict[str, Any]], *, check: bool = False, as_in_the_study: bool = False
    ) -> Answer:
        """The same probabilities without asking whether anything fits; for searches, which ask very often.

        With `as_in_the_study` the priors are the study's own: kinds even, so many faultless and pairs as are made.
        """
        items = items_of(self.catalogue, seen_in_case(self.case(said), self.protocol, self.catalogue))
        rows = self._rows
        base = self._log_study if as_in_the_study else self._log_base
        log_weight = base + log_likelihoods(self.catalogue, rows, items)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        by_set = np.bincount(rows.stratum, weights=weight, minlength=len(rows.strata))
        found = {f.id: 0.0 for f in self.catalogue.faults}
        names = [f.id for f in self.catalogue.faults]
        for p, some in zip(by_set, rows.strata, strict=True):
            for f in some:
                if f != NONE:
                    found[names[f]] += float(p)
        found[FAULTLESS] = float(by_set[0])
        wanted = next_checks(self.catalogue, rows, weight, {i.key for i in items}) if check else ()
        return Answer(
            said=found, none_fits=False, next_check=(wanted[0].of, wanted[0].place) if wanted else None
        )

    def case(self, said: Sequence[dict[str, Any]]) -> Case:
        """The answers as a case that has them and nothing else."""
        written = tuple(
            Observation(
                of=o["of"],
                place=o.get("place", ""),
                answer=o.get("answer"),
                value=o.get("value"),
                unit=o.get("unit"),
                method=o.get("method", ""),
            )
            for o in said
        )
        return Case(
            name="study", hand=self.hand, by="inspector 2", on=date(2026, 11, 21), observations=written
        )

    def masses(self) -> dict[str, float]:
        """Prior probability of no fault, of each kind alone, and of two faults."""
        prior = set_priors(self.catalogue, self.library.strata)
        found = {FAULTLESS: 0.0, "two": 0.0}
        for p, (one, other) in zip(prior, self.library.strata, strict=True):
            if one == NONE:
                name = FAULTLESS
            else:
                name = "two" if other != NONE else self.catalogue.faults[one].kind.id
            found[name] = found.get(name, 0.0) + float(p)
        return found


def _log_base(library: Library, prior: Any) -> Any:
    """Log weight of every hand of the library before anything is seen."""
    with np.errstate(divide="ignore"):
        each = np.log(prior) - np.log(library.counts)
    return each[library.stratum]


def _study_priors(catalogue: Catalogue, strata: Any) -> Any:
    """Probability of each set of faults as the study draws hands: every kind as often as every other."""
    mix = ranges()["mix"]
    share = np.array([1.0 / len(f.kind.places) for f in catalogue.faults] + [1.0])  # the last: no fault
    out = share[strata[:, 0]] * share[strata[:, 1]]
    none, two = strata[:, 0] == NONE, strata[:, 1] != NONE
    for which, mass in (
        (none, mix["faultless_share"]),
        (two, mix["pair_share"]),
        (~none & ~two, 1.0 - mix["faultless_share"] - mix["pair_share"]),
    ):
        if which.any():
            out[which] *= mass / out[which].sum()
    return out / out.sum()


def _code_sha256() -> str:
    """Of all modules of the diagnosis: what was said by other code is not taken over."""
    folder = Path(handsel.diagnosis.__file__).parent
    return sha256(b"".join(path.read_bytes() for path in sorted(folder.glob("*.py")))).hexdigest()
