"""Is it within the limits? Yes, no, or not known well enough, and what would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from math import ceil, hypot, inf, isinf, sqrt

from handsel.errors import OutOfRange
from handsel.metrology.checks import number, text
from handsel.metrology.distributions import normal_quantile, truncated_dof
from handsel.metrology.limits import Limits, conformance_probability, p_within
from handsel.metrology.quantity import Quantity, with_unit

__all__ = ["Action", "BetterMethod", "Decision", "Limits", "Settling", "Verdict",
           "conformance_probability", "decide", "what_settles"]


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
    readings_chance: float           # probability that they do settle it, the value moving as it may [-]
    never_because: str               # why no number of readings is enough; empty when one is
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

    The forecast takes the mean to stay where it is: so many readings settle it if they agree with
    those there are. readings_chance says how likely that is, since the mean may well move.

    Parameters: decision; u_repeat, standard deviation of one reading about the method's own
        mean, and u_common, standard uncertainty of the error that all readings share, both in
        the unit of the quantity; better_methods, each a BetterMethod or (name, u); step, what one
        move changes the value by, in the same unit (half a screw turn, say), its sign of no
        matter, or None when nothing may be moved; minutes_per_reading and minutes_per_step, the
        reading after the move included [min].
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
        return Settling(action=Action.NOTHING, readings=0, readings_verdict=decision.verdict,
                        readings_chance=1.0, never_because="", method=None, steps=None, step=signed,
                        minutes=0.0, sentence=f"Settled: it {decision.verdict}.")
    more = _readings_to_settle(decision, u_repeat, u_common)
    settled = [m for m in methods if _would_be(decision, m.u) is not Verdict.UNDECIDED]
    method = min(settled, key=lambda m: m.minutes, default=None)
    steps = _steps_to_clear(decision, signed) if signed else None
    ways = [(inf, Action.NONE_KNOWN)]
    if more.readings is not None:
        ways.append((more.readings * per_reading, Action.READ_AGAIN))
    if method is not None:
        ways.append((method.minutes, Action.BETTER_METHOD))
    if steps is not None:
        ways.append((steps * per_step, Action.MOVE_CLEAR))
    minutes, action = min(ways, key=lambda way: way[0])
    return Settling(action=action, readings=more.readings, readings_verdict=more.verdict,
                    readings_chance=more.chance, never_because=more.never_because, method=method, steps=steps,
                    step=signed, minutes=minutes,
                    sentence=_sentence(action, more, method, steps, signed, decision.quantity.unit))


def _would_be(decision: Decision, u: float, value: float | None = None) -> Verdict:
    """The verdict if the value (the present one when None) were known with u, its scatter known."""
    at = decision.quantity.value if value is None else value
    return _verdict(p_within(at, u, inf, decision.limits), decision.accept_p)


@dataclass(frozen=True, slots=True, kw_only=True)
class _MoreReadings:
    """Fewest further readings that decide it if the mean stays, or why none do."""

    readings: int | None = None
    verdict: Verdict = Verdict.UNDECIDED
    chance: float = 0.0
    never_because: str = ""


def _readings_to_settle(decision: Decision, u_repeat: float, u_common: float) -> _MoreReadings:
    if _would_be(decision, u_common) is Verdict.UNDECIDED:
        return _MoreReadings(never_because="the error common to all readings alone keeps it undecided")
    own = sqrt(max((decision.quantity.u - u_common) * (decision.quantity.u + u_common), 0.0))

    def u_after(count: int) -> float:
        # Weights 1/u^2 of the readings so far and of those to come.
        return hypot(u_common, own / hypot(1.0, sqrt(count) * own / u_repeat)) if u_repeat > 0 else u_common

    def open_after(count: int) -> bool:
        return _would_be(decision, u_after(count)) is Verdict.UNDECIDED

    enough = 1
    while open_after(enough):
        enough *= 2
        if enough > 2 ** 30:          # on the edge of never: no one reads that often
            return _MoreReadings(never_because="the value lies too near the limit")
    too_few = enough // 2
    while enough - too_few > 1:
        middle = (enough + too_few) // 2
        too_few, enough = (middle, enough) if open_after(middle) else (too_few, middle)
    u_then = u_after(enough)
    # The new mean falls about the present one with the part of u that the readings remove.
    moves = sqrt(max((decision.quantity.u - u_then) * (decision.quantity.u + u_then), 0.0))
    means = [decision.quantity.value + moves * place for place in _places()]
    settled = sum(_would_be(decision, u_then, mean) is not Verdict.UNDECIDED for mean in means)
    return _MoreReadings(readings=enough, verdict=_would_be(decision, u_then), chance=settled / len(means))


@cache
def _places() -> tuple[float, ...]:
    """400 equally likely places of a standard normal variable."""
    return tuple(normal_quantile((i + 0.5) / 400) for i in range(400))


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
        if p_within(q.value + count * step, q.u, dof, decision.limits) >= decision.accept_p:
            return count
    return None


def _sentence(action: Action, more: _MoreReadings, method: BetterMethod | None, steps: int | None,
              step: float, unit: str) -> str:
    never = f" No number of further readings settles it: {more.never_because}." if more.never_because else ""
    if action is Action.READ_AGAIN:
        return f"Read again {more.readings} time{'s' if more.readings != 1 else ''}, each afresh."
    if action is Action.BETTER_METHOD and method is not None:
        return f"Measure with {method.name} (standard uncertainty {with_unit(f'{method.u:g}', unit)}).{never}"
    if action is Action.MOVE_CLEAR:
        return (f"Move it {steps} step{'s' if steps != 1 else ''} of {with_unit(f'{step:+g}', unit)} "
                f"and be clear of the limit, then read again.{never}")
    return f"Nothing given here settles it.{never} Find a better method."
