"""Is it within the limits? Yes, no, or not known well enough, and what would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, hypot, inf, isinf, sqrt

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


class Verdict(StrEnum):
    """What may be said of a quantity against its limits."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A verdict with the probability behind it."""

    verdict: Verdict
    p_conform: float      # probability that the true value is within the limits [-]
    quantity: Quantity
    limits: Limits
    accept_p: float       # probability asked for before either verdict is given [-]

    def __str__(self) -> str:
        return (f"{self.verdict}: {self.quantity} against {self.limits}; "
                f"within the limits with probability {_percent(self.p_conform)}")


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
    return _p_within(quantity.value, quantity.u, truncated_dof(quantity.dof), limits)


def _p_within(value: float, u: float, dof: float, limits: Limits) -> float:
    low, high = limits.bounds
    if u == 0:
        return 1.0 if low <= value <= high else 0.0
    a, b = (low - value) / u, (high - value) / u
    # The difference is taken in the lower tail, where it keeps its digits.
    if a > 0:
        a, b = -b, -a
    return max(student_cdf(b, dof) - student_cdf(a, dof), 0.0)


def decide(quantity: Quantity, limits: Limits, *, accept_p: float = 0.95) -> Decision:
    """Conforms, does not conform, or undecided.

    Parameters: quantity and limits, in the same unit; accept_p [-], from 0.5 (no guard band) to
        below 1, the probability asked for before the one or the other verdict is given.
    Returns: Decision: conforms from accept_p upward, does not conform from 1 - accept_p downward.
    Raises: OutOfRange when the units differ or accept_p is outside its bounds.
    Valid for: as conformance_probability.
    Source: JCGM 106:2012 8.3.2 (guarded acceptance), 8.3.3 (guarded rejection).
    Checked by: published/test_metrology_decision.py, properties/test_metrology.py
    """
    accept_p = number(accept_p, "accept_p", where=quantity.origin, low=0.5, below=1.0,
                      do="Give a probability as a fraction, 0.95 for 95 %.")
    p = conformance_probability(quantity, limits)
    return Decision(verdict=_verdict(p, accept_p), p_conform=p, quantity=quantity, limits=limits,
                    accept_p=accept_p)


def _verdict(p: float, accept_p: float) -> Verdict:
    if p >= accept_p:
        return Verdict.CONFORMS
    return Verdict.DOES_NOT_CONFORM if p <= 1.0 - accept_p else Verdict.UNDECIDED


def _percent(p: float) -> str:
    """A probability in words of a hundred that never claims certainty it has not."""
    if 0.0 < p < 0.0005 or 0.9995 < p < 1.0:
        return "below 0.1 %" if p < 0.5 else "above 99.9 %"
    return f"{100 * p:.1f} %"


class Action(StrEnum):
    """What settles an undecided verdict."""

    NOTHING = "nothing to settle"
    READ_AGAIN = "read again"
    BETTER_METHOD = "use a better method"
    MOVE_CLEAR = "move it clear of the limit"
    NONE_KNOWN = "nothing known settles it"


@dataclass(frozen=True, slots=True, kw_only=True)
class BetterMethod:
    """Another way to measure the same thing."""

    name: str
    u: float                # its standard uncertainty, in the unit of the quantity
    minutes: float = 5.0    # time for one measurement with it [min]

    def __post_init__(self) -> None:
        name = text(self.name, "name", where="better method", do="Say what the method is called.")
        object.__setattr__(self, "u", number(self.u, "u", where=name, low=0.0))
        object.__setattr__(self, "minutes", number(self.minutes, "minutes", where=name, low=0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """What would settle a decision, each way on its own, and which is soonest."""

    action: Action
    readings: int | None             # further readings expected to settle it; None is never
    readings_verdict: Verdict        # what they would show; undecided when readings is None
    method: BetterMethod | None      # the quickest given method expected to settle it
    steps: int | None                # moves of one step each that bring it clear; None is never
    step: float                      # one move with its sign, in the unit of the quantity; 0 is none
    minutes: float                   # expected time of the action [min]; infinity when none is known
    sentence: str                    # what to do, for the person at the bench


def what_settles(decision: Decision, *, u_repeat: float, u_common: float,
                 better_methods: Sequence[BetterMethod | tuple[str, float]] = (),
                 step: float | None = None, minutes_per_reading: float = 1.0,
                 minutes_per_step: float = 2.0) -> Settling:
    """The action expected to settle an undecided verdict soonest.

    The forecast takes the present value as the true one: it says how many readings it takes if
    they agree with those there are, not how many it will take.

    Parameters: decision; u_repeat, standard deviation of one reading about the method's own
        mean, and u_common, standard uncertainty of the error that all readings share, both in
        the unit of the quantity; better_methods, each a BetterMethod or (name, u); step, what one
        move changes the value by, in the same unit (half a screw turn, say), its sign of no
        matter, or None when nothing may be moved; minutes for one reading and for one step, the
        reading after the move included.
    Returns: Settling. readings is None when the common error alone keeps it undecided.
    Raises: OutOfRange for negative or absent numbers, or a step of 0.
    Valid for: u_repeat known beforehand from the method; a step that moves the value surely.
    Source: JCGM 106:2012 8.3 for the rule; JCGM 100:2008 4.2.3 for what repeats can do. Readings
        so far and readings to come are combined by weight 1/u^2.
    Checked by: unit/test_metrology_settling.py, properties/test_metrology.py
    """
    where = decision.quantity.origin
    u_repeat = number(u_repeat, "u_repeat", where=where, low=0.0)
    # A result cannot be surer than the error all its readings share.
    u_common = number(u_common, "u_common", where=where, low=0.0, high=decision.quantity.u * (1 + 1e-9),
                      do=f"The result claims u = {decision.quantity.u:g}; mend that, or u_common.")
    per_reading = number(minutes_per_reading, "minutes_per_reading", where=where, low=0.0)
    per_step = number(minutes_per_step, "minutes_per_step", where=where, low=0.0)
    methods = [m if isinstance(m, BetterMethod) else BetterMethod(name=m[0], u=m[1]) for m in better_methods]
    signed = 0.0 if step is None else _toward_inside(decision, number(step, "step", where=where))
    if step is not None and signed == 0:
        raise OutOfRange("step is 0; expected what one move changes", where=where,
                         do="Give the change of one move, or leave step out.")
    if decision.verdict is not Verdict.UNDECIDED:
        return Settling(action=Action.NOTHING, readings=0, readings_verdict=decision.verdict, method=None,
                        steps=None, step=signed, minutes=0.0, sentence=f"It {decision.verdict} already.")
    readings, shown = _readings_to_settle(decision, u_repeat, u_common)
    settled = [m for m in methods if _would_be(decision, m.u) is not Verdict.UNDECIDED]
    method = min(settled, key=lambda m: m.minutes, default=None)
    steps = _steps_to_clear(decision, signed) if signed else None
    ways = [(inf, Action.NONE_KNOWN)]
    if readings is not None:
        ways.append((readings * per_reading, Action.READ_AGAIN))
    if method is not None:
        ways.append((method.minutes, Action.BETTER_METHOD))
    if steps is not None:
        ways.append((steps * per_step, Action.MOVE_CLEAR))
    minutes, action = min(ways, key=lambda way: way[0])
    return Settling(action=action, readings=readings, readings_verdict=shown, method=method, steps=steps,
                    step=signed, minutes=minutes,
                    sentence=_sentence(action, readings, method, steps, signed, decision))


def _would_be(decision: Decision, u: float) -> Verdict:
    """The verdict if the same value were known with u, its scatter taken as known."""
    return _verdict(_p_within(decision.quantity.value, u, inf, decision.limits), decision.accept_p)


def _readings_to_settle(decision: Decision, u_repeat: float, u_common: float) -> tuple[int | None, Verdict]:
    """Fewest further readings after which the same mean would be decided; None for never."""
    if _would_be(decision, u_common) is Verdict.UNDECIDED:
        return None, Verdict.UNDECIDED
    own = sqrt(max((decision.quantity.u - u_common) * (decision.quantity.u + u_common), 0.0))
    if own == 0:                      # nothing left that a repeat could average away
        return None, Verdict.UNDECIDED

    def after(count: int) -> Verdict:
        if u_repeat == 0:
            return _would_be(decision, u_common)
        # Weights 1/u^2 of the readings so far and of those to come.
        return _would_be(decision, hypot(u_common, own / sqrt(1.0 + count * (own / u_repeat) ** 2)))

    enough = 1
    while after(enough) is Verdict.UNDECIDED:
        enough *= 2
        if enough > 2 ** 40:          # on the edge of never: no one reads that often
            return None, Verdict.UNDECIDED
    too_few = enough // 2
    while enough - too_few > 1:
        middle = (enough + too_few) // 2
        too_few, enough = (middle, enough) if after(middle) is Verdict.UNDECIDED else (too_few, middle)
    return enough, after(enough)


def _toward_inside(decision: Decision, step: float) -> float:
    """The step with the sign that leads away from the nearer limit, into the permitted range."""
    low, high = decision.limits.bounds
    value = decision.quantity.value
    return abs(step) if value - low < high - value else -abs(step)


def _steps_to_clear(decision: Decision, step: float) -> int | None:
    """Fewest steps after which the same reading would conform; None if it would overshoot first."""
    low, high = decision.limits.bounds
    q = decision.quantity
    dof = truncated_dof(q.dof)
    # Past the middle of two limits another step can only make it worse; with one limit, 1000
    # steps that are not enough mean that the step is no remedy.
    most = 1000 if isinf(high - low) else ceil(abs((low + high) / 2 - q.value) / abs(step))
    for count in range(1, min(most, 1000) + 1):
        if _p_within(q.value + count * step, q.u, dof, decision.limits) >= decision.accept_p:
            return count
    return None


def _sentence(action: Action, readings: int | None, method: BetterMethod | None, steps: int | None,
              step: float, decision: Decision) -> str:
    unit = decision.quantity.unit
    never = "" if readings is not None else (
        " No number of further readings settles it: their common error alone keeps it undecided.")
    if action is Action.READ_AGAIN:
        return f"Read again {readings} time{'s' if readings != 1 else ''}, each afresh."
    if action is Action.BETTER_METHOD and method is not None:
        return f"Measure with {method.name} ({with_unit(f'{method.u:g}', unit)} standard uncertainty).{never}"
    if action is Action.MOVE_CLEAR:
        return (f"Move it {steps} step{'s' if steps != 1 else ''} of {with_unit(f'{step:+g}', unit)} "
                f"and be clear of the limit, then read again.{never}")
    return f"Nothing given here settles it.{never} Find a better method."
