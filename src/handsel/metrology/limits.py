"""The limits a quantity must keep, and the probability that its true value keeps them."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isinf

from handsel.errors import OutOfRange
from handsel.metrology.checks import number, same_unit, text
from handsel.metrology.distributions import student_cdf, truncated_dof
from handsel.metrology.quantity import Quantity, with_unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The least and the greatest value that conform; a value on a limit conforms."""

    low: float | None = None     # in unit; None when there is no lower limit
    high: float | None = None    # in unit; None when there is no upper limit
    unit: str

    def __post_init__(self) -> None:
        where = "limits"
        text(self.unit, "unit", where=where, do="Say the unit, such as mm or deg.")
        for name in ("low", "high"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, number(getattr(self, name), name, where=where))
        if self.low is None and self.high is None:
            raise OutOfRange("neither low nor high is given", where=where, do="Give at least one limit.")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise OutOfRange(f"low is {self.low:g} and high is {self.high:g}; expected low below high",
                             where=where, do="Swap them, or mend the one that is wrong.")

    @property
    def bounds(self) -> tuple[float, float]:
        """Low and high with infinity where there is no limit, in unit."""
        return (-inf if self.low is None else self.low, inf if self.high is None else self.high)

    def __str__(self) -> str:
        low, high = self.bounds
        if isinf(high):
            return f"at least {with_unit(f'{low:g}', self.unit)}"
        if isinf(low):
            return f"at most {with_unit(f'{high:g}', self.unit)}"
        return f"{with_unit(f'{low:g}', self.unit)} to {with_unit(f'{high:g}', self.unit)}"


def conformance_probability(quantity: Quantity, limits: Limits) -> float:
    """Probability that the true value is within the limits, given what was measured.

    Parameters: quantity and limits, in the same unit.
    Returns: probability [-]; with u = 0 it is 1 or 0.
    Raises: OutOfRange when the units differ.
    Valid for: little known beforehand compared with the measurement; normal, or Student scaled by
        u when dof is finite (dof truncated, so that it agrees with the expanded interval).
    Source: JCGM 106:2012 7.2 to 7.4; JCGM 101:2008 6.4.9 (Student for estimated scatter).
    Checked by: published/test_metrology_decision.py, properties/test_metrology.py
    >>> zener = Quantity(value=-5.47, u=0.05, unit="V", origin="breakdown")
    >>> round(conformance_probability(zener, Limits(high=-5.40, unit="V")), 4)
    0.9192
    """
    same_unit((quantity.unit, limits.unit), where=quantity.origin)
    return p_within(quantity.value, quantity.u, truncated_dof(quantity.dof), limits)


def p_within(value: float, u: float, dof: float, limits: Limits) -> float:
    """Probability that a value known with u lies within the limits; u = 0 gives 1 or 0.

    Parameters: value and u in the unit of the limits, already checked; dof [-], used as it comes.
    Returns: probability [-].
    Raises: OutOfRange for nan.
    Valid for: forecasts, where the quantity does not exist yet; else conformance_probability.
    Source: JCGM 106:2012 7.2 to 7.4.
    Checked by: as conformance_probability
    """
    low, high = limits.bounds
    if u == 0:
        return 1.0 if low <= value <= high else 0.0
    a, b = (low - value) / u, (high - value) / u
    # The difference is taken in the lower tail, where it keeps its digits.
    if a > 0:
        a, b = -b, -a
    return max(student_cdf(b, dof) - student_cdf(a, dof), 0.0)
