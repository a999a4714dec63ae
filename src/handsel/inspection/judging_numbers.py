"""What a number says of one characteristic at one place."""

from __future__ import annotations

from math import sqrt

from handsel.inspection.case import BadCase, Case, Observation
from handsel.inspection.item import item_of, place_in
from handsel.inspection.protocol import CANNOT_TELL, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.result import Item
from handsel.inspection.rules import NumberRule
from handsel.inspection.seeing import Seen
from handsel.metrology.decision import Action, BetterMethod, Decision, Settling, Verdict, decide, what_settles
from handsel.metrology.quantity import Quantity, from_readings


def judge_number(
    c: Characteristic, rule: NumberRule, place: str, seen: Seen, case: Case, protocol: Protocol
) -> Item:
    """The verdict on a number, with what would settle it while it is undecided.

    Parameters: c, the characteristic with its rule, and place; seen there; case; protocol.
    Returns: Item; "recorded" for a number without limits.
    Raises: BadCase for two numbers for one thing, or one that does not fit the characteristic.
    Valid for: as metrology.decision.
    Source: JCGM 106:2012 8.3 through metrology.decision.
    Checked by: unit/test_inspection_numbers.py, published/test_common_practice.py
    """
    numbers = [o for o in seen.observations if o.answer != CANNOT_TELL]
    if not numbers:
        return item_of(
            c,
            place,
            status="undecided",
            p=None,
            shown=CANNOT_TELL,
            reason=f"answered “{CANNOT_TELL}”: another person reads it",
            to_check=c.how,
            minutes=c.minutes,
        )
    if len(numbers) > 1 or any(o.method == SUBSTITUTE for o in numbers):
        raise BadCase(
            "it is given more than once",
            where=place_in(case, c, place),
            do=f"Put repeated readings in one list, readings_{rule.unit} = [ .. ], and leave out a "
            "substitute check where there is a number.",
        )
    observation = numbers[0]
    quantity = quantity_of(c, rule, observation, case)
    shown = str(quantity)
    said = [a for a in rule.advisories if a.says(quantity.value)]
    advisories = tuple(a.text for a in said)
    if rule.limits is None:
        return item_of(
            c,
            place,
            status="recorded",
            p=None,
            reason=f"recorded: {shown}",
            shown=shown,
            advisories=advisories,
        )
    decision = decide(quantity, rule.limits, accept_p=protocol.accept(c.severity))
    settling = _settling(rule, observation, decision) if decision.verdict is Verdict.UNDECIDED else None
    _, _, reason = str(decision).partition(": ")
    if settling is not None:
        moved = (
            f" One step: {rule.step_what}." if settling.action is Action.MOVE_CLEAR and rule.step_what else ""
        )
        reason += f". {settling.sentence}{moved}"
    return item_of(
        c,
        place,
        status=decision.verdict.value,
        p=decision.p_conform,
        reason=reason,
        shown=shown,
        decision=decision,
        settling=settling,
        advisories=advisories,
        first=next((a.rework for a in said if a.rework), ""),
        to_check=settling.sentence if settling is not None else "",
        minutes=c.minutes if settling is not None else 0.0,
    )


def quantity_of(c: Characteristic, rule: NumberRule, o: Observation, case: Case) -> Quantity:
    """The number of an observation as a quantity, with the method's uncertainty where none is given.

    Parameters: characteristic with its rule; observation; case, for messages.
    Returns: Quantity in the rule's unit.
    Raises: BadCase for another unit, no number, or one that cannot be meant.
    Valid for: numbers in the unit that the file named.
    Source: JCGM 100:2008 4.2 and 4.3 through metrology.quantity.from_readings.
    Checked by: unit/test_inspection_numbers.py
    """
    where = place_in(case, c, o.place)
    values = o.readings or (() if o.value is None else (o.value,))
    if not values:
        raise BadCase(
            "a number is expected", where=where, do=f"Give value_{rule.unit} or readings_{rule.unit}."
        )
    if o.unit != rule.unit:
        raise BadCase(
            f"the number is in {o.unit}; it is checked in {rule.unit}",
            where=where,
            do=f"Give value_{rule.unit} or readings_{rule.unit}.",
        )
    for value in values:
        if not rule.plausible_min <= value <= rule.plausible_max:
            raise BadCase(
                f"{value:g} {rule.unit} cannot be meant; expected {rule.plausible_min:g} to "
                f"{rule.plausible_max:g}",
                where=where,
                do="Read it again, and look at the unit.",
            )
    method = rule.method(o.method)
    if len(values) == 1:
        # One reading carries what a reading with this method is worth, common part included.
        return Quantity(value=values[0], u=method.u if o.u is None else o.u, unit=rule.unit, origin=where)
    return from_readings(
        values,
        unit=rule.unit,
        origin=where,
        u_type_b=method.u_common if o.u is None else o.u,
        resolution=method.resolution,
    )


def _settling(rule: NumberRule, o: Observation, decision: Decision) -> Settling:
    method = rule.method(o.method)
    u = decision.quantity.u
    better = [BetterMethod(name=m.name, u=m.u, minutes=m.minutes) for m in rule.methods if m.u < u]
    return what_settles(
        decision,
        u_repeat=sqrt(max(method.u**2 - method.u_common**2, 0.0)),
        u_common=min(method.u_common, u),
        better_methods=better,
        step=rule.step,
        minutes_per_reading=method.minutes,
    )
