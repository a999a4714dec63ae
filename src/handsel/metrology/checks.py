"""Numbers that come from outside: each is a usable number, or the reader is told which is not."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, isnan
from typing import SupportsFloat

from handsel.errors import OutOfRange

# No reading on a bench comes near this; below it squares and sums cannot overflow.
_LARGEST = 1e100


def number(value: object, name: str, *, where: str, low: float = -inf, high: float = inf,
           above: float = -inf, below: float = inf, do: str = "Type the number again.") -> float:
    """One finite number inside its bounds, or the refusal that names it.

    Parameters: value as it came; name and where as the reader knows them; low and high may be
        reached, above and below may not; do, the next step when the number is refused.
    Returns: the value as a float.
    Raises: OutOfRange for text, nan, infinity, true/false, or a number outside the bounds.
    Valid for: single numbers, numpy scalars included.
    Source: own rule: what comes from outside is checked once, where it comes in.
    Checked by: unit/test_metrology_errors.py
    """
    try:
        # True is an int to Python, and a tick box is no reading.
        # Asking for the protocol is slow, and nearly all that comes is a plain float.
        if type(value) is not float and (isinstance(value, (bool, str, bytes))
                                         or not isinstance(value, SupportsFloat)):
            raise TypeError
        found = float(value)
    except (TypeError, ValueError, OverflowError):
        raise OutOfRange(f"{name} is {str(value)[:40]!r}; expected a number", where=where, do=do) from None
    if isnan(found) or abs(found) > _LARGEST:
        raise OutOfRange(f"{name} is {found:g}; expected a measurable number", where=where, do=do)
    if not (low <= found <= high and above < found < below):
        raise OutOfRange(f"{name} is {found:g}; expected {_bounds(low, high, above, below)}",
                         where=where, do=do)
    return found


def _bounds(low: float, high: float, above: float, below: float) -> str:
    parts = [f"{low:g} or more" if low > -inf else "", f"more than {above:g}" if above > -inf else "",
             f"{high:g} or less" if high < inf else "", f"less than {below:g}" if below < inf else ""]
    return " and ".join(part for part in parts if part)


def degrees_of_freedom(value: object, *, where: str) -> float:
    """Degrees of freedom: 1 or more, infinity allowed for a scatter that is simply known.

    Parameters: value as it came; where, the reader's name for the place.
    Returns: the value as a float [-].
    Raises: OutOfRange below 1, for nan and for anything that is no number.
    Valid for: fractions too, as the Welch-Satterthwaite formula makes them.
    Source: JCGM 100:2008 G.4.2: fewer than one degree of freedom says that the standard
        uncertainty itself is unknown by more than 70 %, which is no statement to decide on.
    Checked by: unit/test_metrology_errors.py
    """
    if isinstance(value, float) and value == inf:
        return inf
    return number(value, "dof", where=where, low=1.0,
                  do="Give the number of readings less one, or leave it out when the scatter is known.")


def text(value: object, name: str, *, where: str, do: str) -> str:
    """A word or name that is not blank.

    Parameters: value as it came; name, where and do for the message.
    Returns: the text, unchanged.
    Raises: OutOfRange when blank or not text.
    Valid for: units, origins, names.
    Source: own rule.
    Checked by: unit/test_metrology_errors.py
    """
    if not isinstance(value, str) or not value.strip():
        raise OutOfRange(f"{name} is {str(value)[:40]!r}; expected a word", where=where, do=do)
    return value


def same_unit(units: Iterable[str], *, where: str) -> str:
    """The one unit that all of them share.

    Parameters: units, at least one; where, the reader's name for the place.
    Returns: that unit.
    Raises: OutOfRange when they differ; units are never converted by guess.
    Valid for: unit names as written; "deg" and "degree" count as different.
    Source: own rule.
    Checked by: unit/test_metrology_errors.py
    """
    found = list(dict.fromkeys(units))
    if len(found) != 1:
        raise OutOfRange(f"units differ: {', '.join(found) or 'none given'}", where=where,
                         do="Give every number in the same unit.")
    return found[0]
