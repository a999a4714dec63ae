"""A quantity: a value that carries its uncertainty, unit and origin, and how readings make one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor, fsum, hypot, inf, isinf, log10, sqrt

from handsel.errors import OutOfRange
from handsel.metrology.checks import degrees_of_freedom, number, text
from handsel.metrology.distributions import coverage_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One number and what is known of it."""

    value: float        # best estimate, in unit
    u: float            # standard uncertainty, in unit; 0 only for what is exact by definition
    dof: float = inf    # degrees of freedom behind u [-]
    unit: str           # "deg", "mm", "N"
    origin: str         # where it comes from, as the reader knows it: "rest angle, 3 readings"

    def __post_init__(self) -> None:
        origin = text(self.origin, "origin", where="quantity", do="Say where the number comes from.")
        text(self.unit, "unit", where=origin, do="Say the unit, such as mm or deg.")
        object.__setattr__(self, "value", number(self.value, "value", where=origin))
        object.__setattr__(self, "u", number(
            self.u, "u", where=origin, low=0.0, do="Give the standard uncertainty, without a minus sign."))
        object.__setattr__(self, "dof", degrees_of_freedom(self.dof, where=origin))

    def __str__(self) -> str:
        """The value with one standard uncertainty, which says that it is one (k = 1)."""
        if self.u == 0:
            return f"{with_unit(f'{self.value:.12g}', self.unit)} exactly"
        known = "" if isinf(self.dof) else f", {self.dof:.3g} degrees of freedom"
        return f"{plus_minus(self.value, self.u, self.unit)} (k = 1{known})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expanded:
    """An interval that holds the true value with a stated probability."""

    value: float       # middle, in unit
    unit: str
    k: float           # coverage factor [-]
    U: float           # half width k * u, in unit
    low: float         # in unit
    high: float        # in unit
    coverage: float    # probability [-]

    def __str__(self) -> str:
        """The value with its half width, k and coverage beside it."""
        said = f"{100 * self.coverage:.6g} %, k = {self.k:.3g}"
        if self.U == 0:
            return f"{with_unit(f'{self.value:.12g}', self.unit)} exactly"
        return f"{plus_minus(self.value, self.U, self.unit)} ({said})"


def from_readings(readings: Iterable[float], *, unit: str, origin: str, u_type_b: float = 0.0,
                  resolution: float = 0.0) -> Quantity:
    """The mean of repeated readings, with what the scatter shows and what no repeat can show.

    Parameters: readings, one or more, in unit; unit and origin as in Quantity; u_type_b, standard
        uncertainty of the error common to all readings, in unit; resolution, the smallest step
        the instrument shows, in unit.
    Returns: Quantity with u = sqrt(s^2/n + u_type_b^2 + resolution^2/12). Only the first term
        shrinks with n. dof by Welch-Satterthwaite, the common part counted as known.
    Raises: OutOfRange for no readings, readings that are no numbers, negative u; one reading
        without u_type_b; readings all alike with nothing else known, since that u would be 0.
    Valid for: readings taken afresh each time. Repeats that share a setting share its error,
        which then belongs into u_type_b.
    Source: JCGM 100:2008 4.2.2, 4.2.3 (type A), 4.3.7 and F.2.2.1 (resolution), G.4.1 (dof).
    Checked by: published/test_metrology_end_gauge.py, properties/test_metrology.py
    >>> str(from_readings([30.1, 30.6, 30.2], unit="deg", origin="rest angle", u_type_b=0.5))
    '30.30° ± 0.52° (k = 1, 274 degrees of freedom)'
    """
    text(origin, "origin", where="readings", do="Say what was read.")
    values = [number(value, f"reading {i}", where=origin, do="Read again and type the number.")
              for i, value in enumerate(readings, start=1)]
    u_type_b = number(u_type_b, "u_type_b", where=origin, low=0.0,
                      do="Give the common error as a standard uncertainty, without a minus sign.")
    resolution = number(resolution, "resolution", where=origin, low=0.0,
                        do="Give the smallest step the instrument shows.")
    if not values:
        raise OutOfRange("there are no readings", where=origin, do="Read at least once.")
    n = len(values)
    if n == 1 and u_type_b == 0:
        raise OutOfRange("one reading alone says nothing about its own error", where=origin,
                         do="Read again at least once, or say u_type_b, the error of the method.")
    mean = fsum(values) / n
    u_type_a = hypot(*(value - mean for value in values)) / sqrt(n * (n - 1)) if n > 1 else 0.0
    u = hypot(u_type_a, u_type_b, resolution / sqrt(12.0))
    if u == 0:
        raise OutOfRange(f"all {n} readings are alike and nothing else is known of their error",
                         where=origin, do="Say the resolution of the instrument, or u_type_b.")
    dof = (u / u_type_a) ** 4 * (n - 1) if u_type_a / u > 1e-6 else inf
    return Quantity(value=mean, u=u, dof=max(dof, 1.0), unit=unit, origin=origin)


def expanded(quantity: Quantity, coverage: float = 0.95) -> Expanded:
    """The interval about a quantity that holds its true value with the stated probability.

    Parameters: quantity; coverage [-], between 0 and 1.
    Returns: Expanded, symmetric, in the unit of the quantity.
    Raises: OutOfRange for a coverage at or outside 0 and 1.
    Valid for: a result that is near normal, or Student with the stated degrees of freedom.
    Source: JCGM 100:2008 6.2.1, G.3, G.4.1 (dof truncated before the look-up).
    Checked by: published/test_metrology_end_gauge.py
    >>> str(expanded(Quantity(value=30.4, u=0.8, unit="deg", origin="rest angle")))
    '30.4° ± 1.6° (95 %, k = 1.96)'
    """
    k = coverage_factor(quantity.dof, coverage=coverage)
    half = k * quantity.u
    return Expanded(value=quantity.value, unit=quantity.unit, k=k, U=half, low=quantity.value - half,
                    high=quantity.value + half, coverage=float(coverage))


def with_unit(shown: str, unit: str) -> str:
    """A number as text with its unit; degrees get their sign, without a space.

    Parameters: shown, the number as text; unit as in Quantity.
    Returns: "30.4°" or "12.5 mm".
    Raises: nothing of its own.
    Valid for: any unit name.
    Source: SI brochure 5.4.3 (space before a unit, none before the degree sign).
    Checked by: unit/test_metrology_text.py
    """
    return f"{shown}°" if unit == "deg" else f"{shown} {unit}"


def plus_minus(value: float, half_width: float, unit: str) -> str:
    """Value ± half width, both cut at the second significant digit of the half width.

    The caller must add k or coverage; inside this package nobody prints this text alone.

    Parameters: value and half_width, in unit, half_width above 0.
    Returns: text such as "30.4° ± 1.6°".
    Raises: nothing of its own.
    Valid for: half widths that are not zero.
    Source: JCGM 100:2008 7.2.6 (two significant digits at most).
    Checked by: unit/test_metrology_text.py
    """
    # Rounding first: 0.0996 is 0.10 in two digits, not 0.100.
    digits = 1 - floor(log10(float(f"{half_width:.1e}")))
    places = max(digits, 0)

    def shown(x: float) -> str:
        return f"{round(x, digits) + 0.0:.{places}f}"      # + 0.0 turns -0.0 into 0.0

    return f"{with_unit(shown(value), unit)} ± {with_unit(shown(half_width), unit)}"
