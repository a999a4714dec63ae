"""What an answer is worth: people overlook things, and they see things that are not there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsel.errors import OutOfRange


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One person's answer to one question, and how reliable such answers are."""

    good: bool  # called good
    miss_rate: float  # P(called good | it is bad)
    false_alarm_rate: float  # P(called bad | it is good)

    def __post_init__(self) -> None:
        for name in ("miss_rate", "false_alarm_rate"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise OutOfRange(
                    f"{name} is {value:g}; expected a fraction from 0 to 1",
                    where="a look",
                    do="Give it as a fraction, 0.05 for 5 %.",
                )


def p_good(prior_nonconforming: float, looks: Iterable[Look]) -> float:
    """Probability that a thing is good, after independent looks at it.

    Parameters: prior_nonconforming [-], the share that is bad before anyone has looked; looks,
        by different people, in any order.
    Returns: probability [-]; 1 - prior when nobody looked. A perfect look (both rates 0) decides;
        if perfect looks contradict each other the thing counts as bad.
    Raises: OutOfRange for a prior outside 0 to 1.
    Valid for: looks whose errors are independent; one person looking twice makes the same
        mistake twice, and must be counted once by the caller.
    Source: Bayes' theorem, as JCGM 106:2012 clause 6 uses it to combine what was known with what
        was observed.
    Checked by: published/test_common_practice.py, properties/test_inspection.py
    >>> round(p_good(0.05, [Look(good=True, miss_rate=0.2, false_alarm_rate=0.02)]), 4)
    0.9894
    """
    if not 0 <= prior_nonconforming <= 1:
        raise OutOfRange(
            f"prior_nonconforming is {prior_nonconforming:g}; expected a fraction from 0 to 1",
            where="an answer",
            do="Give it as a fraction, 0.05 for 5 %.",
        )
    good, bad = 1 - prior_nonconforming, prior_nonconforming
    # Sorted, so that the same looks in another order give the same last digit.
    for look in sorted(looks, key=lambda x: (x.good, x.miss_rate, x.false_alarm_rate)):
        good *= 1 - look.false_alarm_rate if look.good else look.false_alarm_rate
        bad *= look.miss_rate if look.good else 1 - look.miss_rate
    return good / (good + bad) if good + bad > 0 else 0.0
