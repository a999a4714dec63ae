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
        return not self.none_fits and max(self.best_p, self.faultless_p) >= CERTAIN

    @property
    def best_p(self) -> float:
        """Probability of the likeliest cause [-]."""
        return self.causes[0].probability if self.causes else 0.0

    @property
    def says_nothing_wrong(self) -> bool:
        """Whether the first thing said is that nothing is wrong."""
        return not self.none_fits and nothing_wrong_first(self.faultless_p, self.best_p)


CERTAIN = 0.9
NAMED_P = 0.25  # what is less likely than this is not spoken of first: then it is open what is wrong


def nothing_wrong_first(faultless_p: float, best_p: float) -> bool:
    """The one rule by which a hand is called faultless: no single cause is as likely as that nothing is wrong.

    Not whether something is wrong at all, which would want a probability of one half: of a sound hand that somebody
    brought, a dozen causes keep a few per cent each, and it would be called faulty for their sum.

    Parameters: faultless_p, that nothing is wrong [-]; best_p, of the likeliest cause [-].
    Returns: bool.
    Raises: nothing.
    Valid for: probabilities of one answer.
    Source: own; compared with the rule of one half in the decisions.
    Checked by: unit/test_diagnosis_wording.py
    """
    return faultless_p >= NAMED_P and faultless_p > best_p
