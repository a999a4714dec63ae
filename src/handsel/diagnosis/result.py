"""What a diagnosis says, as data: pages and the command line only show it."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.diagnosis.catalogue import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Severity:
    """How bad a fault probably is: mean, standard uncertainty and 95 % interval."""

    value: float
    u: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One fault, alone or with another, and how probable it is that the hand has it."""

    fault: Fault
    probability: float
    severity: Severity | None  # None: it is there or not

    @property
    def title(self) -> str:
        """In hand words, as "the loop of index and middle is too long"."""
        return self.fault.title


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSet:
    """Exactly these faults and no other: one explanation of everything seen. Empty: faultless."""

    faults: tuple[Fault, ...]
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCheck:
    """A look that would tell more."""

    of: str
    place: str
    title: str
    question: str
    answers: tuple[str, ...]  # of a number: none
    unit: str
    minutes: float
    bits: float  # expected information about which faults it is
    bits_per_minute: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One thing seen, beside what each of the likeliest explanations leads one to expect."""

    of: str
    place: str
    title: str
    seen: str
    unit: str
    expected: tuple[str, ...]  # for each explanation: "33 to 36 deg", or the likeliest answer with its chance
    chance: tuple[float, ...]  # of what was seen, or further off, in each explanation


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """The answer for one hand."""

    sentence: str
    causes: tuple[Cause, ...]  # most probable first
    sets: tuple[FaultSet, ...]  # likeliest explanations, most probable first
    faultless_p: float
    none_fits: bool  # nothing in the catalogue explains what was seen
    fit_p: float  # chance of a worse fit than this, were one of the causes right
    next_checks: tuple[NextCheck, ...]  # most information per minute first; empty when nothing is worth it
    predicted: tuple[Expected, ...]  # for the first of `sets`
    effective_hands: float  # of the library, that bear the answer
    refined: bool  # whether hands were drawn anew near the good ones
    library_share: float  # of the library that was there
    scale_ratio: float  # of the library, against the hand's own

    @property
    def next_check(self) -> NextCheck | None:
        """The look to do next."""
        return self.next_checks[0] if self.next_checks else None

    @property
    def certain(self) -> bool:
        """Whether one cause, or none, is named with 90 %."""
        best = self.causes[0].probability if self.causes else 0.0
        return not self.none_fits and max(best, self.faultless_p) >= CERTAIN


CERTAIN = 0.9
