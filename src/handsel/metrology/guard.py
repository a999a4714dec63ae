"""Guard bands: how far inside the limit a result must lie before it is taken as good."""

from __future__ import annotations

from enum import StrEnum
from math import exp, inf, log, sqrt

from handsel.errors import OutOfRange
from handsel.metrology.checks import number, same_unit
from handsel.metrology.distributions import normal_cdf, normal_quantile
from handsel.metrology.limits import Limits
from handsel.metrology.quantity import Quantity, expanded


def acceptance_limits(limits: Limits, half_width: float, *, r: float = 1.0) -> Limits:
    """The limits a result must keep so that the true value keeps the given ones.

    Parameters: limits; half_width, the expanded uncertainty U, in their unit; r [-], the guard
        band as a fraction of U: w = r U. 0 is simple acceptance; a negative r moves the limits
        outward, which serves guarded rejection.
    Returns: Limits moved inward by w.
    Raises: OutOfRange when nothing is left between them, or for numbers that are none.
    Valid for: any limits.
    Source: JCGM 106:2012 8.3.2.2 (w = r U); ILAC-G8:09/2019 4.2 (r = 1).
    Checked by: published/test_metrology_guard.py
    >>> print(acceptance_limits(Limits(low=30, high=45, unit="deg"), 1.6))
    31.6° to 43.4°
    """
    where = "guard band"
    w = number(half_width, "U", where=where, low=0.0) * number(r, "r", where=where)
    low, high = limits.bounds
    if low + w >= high - w:
        raise OutOfRange(f"a guard band of {w:g} {limits.unit} leaves nothing of {limits}", where=where,
                         do="Measure with a smaller uncertainty, or accept a smaller guard band.")
    return Limits(low=None if low == -inf else low + w, high=None if high == inf else high - w,
                  unit=limits.unit)


def guard_factor(risk: float) -> float:
    """How many u inside a single limit a result must lie for a stated risk of a wrong acceptance.

    Parameters: risk [-], between 0 and 0.5.
    Returns: g [-]; the acceptance limit is g u inside the limit.
    Raises: OutOfRange outside those bounds.
    Valid for: one limit, normal result, nothing known beforehand.
    Source: Eurachem/CITAC guide on compliance; JCGM 106:2012 8.3.2.
    Checked by: published/test_metrology_guard.py
    >>> round(guard_factor(0.05), 3)
    1.645
    """
    risk = number(risk, "risk", where="guard factor", above=0.0, high=0.5)
    return -normal_quantile(risk)


def false_accept_bound(r: float, *, k: float = 2.0) -> float:
    """The greatest risk of a wrong acceptance under a guard band w = r U, U = k u.

    Parameters: r [-] 0 or more; k [-], coverage factor of U.
    Returns: probability [-] for a result exactly on the acceptance limit.
    Raises: OutOfRange for negative numbers.
    Valid for: one limit, normal result, nothing known beforehand.
    Source: ILAC-G8:09/2019 4.2.
    Checked by: published/test_metrology_guard.py
    >>> round(false_accept_bound(1.0), 4)
    0.0228
    """
    where = "guard band"
    return normal_cdf(-number(r, "r", where=where, low=0.0) * number(k, "k", where=where, low=0.0))


def rejection_limits(limits: Limits, *, p: float, u: float = 0.0, u_rel_ratio: float = 0.0) -> Limits:
    """The values beyond which the true value breaks the limits with probability p.

    Parameters: limits; p [-], from 0.5 to below 1; u, in their unit, and u_rel_ratio [-], the part
        of the standard uncertainty that is fixed and the part in proportion to the result.
    Returns: Limits moved outward.
    Raises: OutOfRange for negative numbers, or a proportion so large that no result is sure.
    Valid for: normal result, nothing known beforehand, limits far apart compared with u.
    Source: JCGM 106:2012 8.3.3 (guarded rejection); the uncertainty is that of the result on the
        rejection limit, not on the given one.
    Checked by: published/test_metrology_guard.py
    >>> print(rejection_limits(Limits(high=100, unit="km/h"), p=0.999, u_rel_ratio=0.02))
    at most 106.588 km/h
    """
    where = "guarded rejection"
    z = normal_quantile(number(p, "p", where=where, low=0.5, below=1.0))
    u = number(u, "u", where=where, low=0.0)
    rel = number(u_rel_ratio, "u_rel_ratio", where=where, low=0.0)
    if z * rel >= 1:
        raise OutOfRange(f"u_rel_ratio is {rel:g}; no result is sure with probability {p:g}", where=where,
                         do="Measure with a smaller uncertainty, or ask for a smaller probability.")

    def beyond(limit: float, outward: float) -> float:
        # (v - L)^2 = z^2 (u^2 + rel^2 v^2), the root on the outer side.
        shrink = 1.0 - (z * rel) ** 2
        return (limit + outward * z * sqrt(u * u * shrink + (rel * limit) ** 2)) / shrink

    return Limits(low=None if limits.low is None else beyond(limits.low, -1.0),
                  high=None if limits.high is None else beyond(limits.high, 1.0), unit=limits.unit)


class Zone(StrEnum):
    """Where the whole interval of a result lies."""

    CONFORMITY = "conformity proven"
    NONCONFORMITY = "nonconformity proven"
    UNCERTAIN = "neither proven"


def three_zone(quantity: Quantity, limits: Limits, *, coverage: float = 0.95) -> Zone:
    """Conformity proven, nonconformity proven, or neither, from the interval y - U to y + U.

    Parameters: quantity and limits, in the same unit; coverage [-] of the interval.
    Returns: Zone. An interval that just reaches a limit counts as inside it.
    Raises: OutOfRange when the units differ.
    Valid for: any limits. With one limit and coverage 0.90 it is the same rule as decide at 0.95.
    Source: ISO 14253-1:2017, zones from memory; whether U is one- or two-sided differs between
        editions, so coverage is an input.
    Checked by: published/test_metrology_guard.py, properties/test_metrology.py
    """
    same_unit((quantity.unit, limits.unit), where=quantity.origin)
    low, high = limits.bounds
    interval = expanded(quantity, coverage)
    if low <= interval.low and interval.high <= high:
        return Zone.CONFORMITY
    outside = interval.high < low or interval.low > high
    return Zone.NONCONFORMITY if outside else Zone.UNCERTAIN


class GuardMethod(StrEnum):
    """Ways to shrink a tolerance by the ratio of tolerance to expanded uncertainty (TUR)."""

    RSS = "root of sum of squares"
    MANAGED_RISK = "2 % false accept at any TUR"
    FULL = "whole expanded uncertainty"
    RELAXED = "whole expanded uncertainty above TUR 4"


def tolerance_multiplier(tur_ratio: float, method: GuardMethod) -> float:
    """What is left of a tolerance after the guard band, as a fraction of it.

    Parameters: tur_ratio [-], tolerance / expanded uncertainty (95 %); method.
    Returns: multiplier [-], at most 1.
    Raises: OutOfRange when the uncertainty eats the whole tolerance.
    Valid for: symmetric two-sided tolerance, normal measurement.
    Source: RSS, sqrt(1 - 1/TUR^2); MANAGED_RISK, 1 - M/TUR with Dobbert's
        M = 1.04 - exp(0.38 ln TUR - 0.54), none when M is below 0; FULL, 1 - 1/TUR;
        RELAXED, 1.25 - 1/TUR, none above TUR 4 (NCSLI RP-10). All as written in a public
        risk calculator.
    Checked by: published/test_metrology_guard.py
    >>> round(tolerance_multiplier(2, GuardMethod.RSS), 4)
    0.866
    """
    where = "guard band"
    tur = number(tur_ratio, "tur_ratio", where=where, above=0.0,
                 do="Give tolerance divided by expanded uncertainty.")
    left = {GuardMethod.RSS: lambda: sqrt(1 - 1 / tur ** 2) if tur >= 1 else -1.0,
            GuardMethod.MANAGED_RISK: lambda: 1 - max(1.04 - exp(0.38 * log(tur) - 0.54), 0.0) / tur,
            GuardMethod.FULL: lambda: 1 - 1 / tur,
            GuardMethod.RELAXED: lambda: min(1.25 - 1 / tur, 1.0)}[GuardMethod(method)]()
    if left <= 0:
        raise OutOfRange(f"at tur_ratio {tur:g} nothing of the tolerance is left", where=where,
                         do="Measure with a smaller uncertainty.")
    return left
