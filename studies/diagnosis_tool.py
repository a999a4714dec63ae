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
from diagnosis_hands import ranges
from diagnosis_scores import FAULTLESS

import handsel.diagnosis
from handsel.data.library_store import build_library, library_place
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.hands import NONE
from handsel.diagnosis.library import ROUNDS, Library
from handsel.diagnosis.likelihood import items_of
from handsel.diagnosis.next_check import next_checks
from handsel.diagnosis.posterior import posterior, set_priors
from handsel.inspection.case import Case, HandRecord, Observation


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the tool says of one set of observations."""

    said: dict[str, float]  # marginal probability of each cause, and of none
    even: dict[str, float]  # the same, told how often the study draws each kind
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
        self._told = _study_priors(self.catalogue, self.library.strata) / np.maximum(
            set_priors(self.catalogue, self.library.strata), 1e-300
        )
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
        wanted = next_checks(self.catalogue, p.rows, p.weight, {i.key for i in items}) if check else ()
        return Answer(
            said=self._marginals(p.by_set),
            even=self._marginals(p.by_set * self._told),
            none_fits=bool(fit_probability(self.catalogue, p.rows, p.weight, items) < NONE_FITS_P),
            next_check=(wanted[0].of, wanted[0].place) if wanted else None,
        )

    def quick(self, said: Sequence[dict[str, Any]], *, check: bool = False) -> Answer:
        """The same probabilities without asking whether anything fits; for searches, which ask very often."""
        items = items_of(self.catalogue, seen_in_case(self.case(said), self.protocol, self.catalogue))
        p = posterior(self.library, self.catalogue, items)
        wanted = next_checks(self.catalogue, p.rows, p.weight, {i.key for i in items}) if check else ()
        return Answer(
            said=self._marginals(p.by_set),
            even={},
            none_fits=False,
            next_check=(wanted[0].of, wanted[0].place) if wanted else None,
        )

    def _marginals(self, by_set: Any) -> dict[str, float]:
        """Probability of each cause, alone or not, and of none, from weights of the sets."""
        share = by_set / by_set.sum()
        found = {f.id: 0.0 for f in self.catalogue.faults}
        names = list(found)
        for p, some in zip(share, self.library.strata, strict=True):
            for f in some:
                if f != NONE:
                    found[names[f]] += float(p)
        return found | {FAULTLESS: float(share[0])}

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


def _study_priors(catalogue: Catalogue, strata: Any) -> Any:
    """Probability of each set of faults as the study draws hands: every kind as often as every other."""
    mix, drawn = ranges()["mix"], ranges()["kind"]
    # The last: no fault. Kinds of the catalogue that the study does not draw: never.
    share = np.array([(f.kind.id in drawn) / len(f.kind.places) for f in catalogue.faults] + [1.0])
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
