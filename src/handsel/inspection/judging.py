"""One characteristic at one place: seen or not, and what may be said of it."""

from __future__ import annotations

from handsel.inspection.case import Case
from handsel.inspection.item import item_of
from handsel.inspection.judging_answers import judge_answers
from handsel.inspection.judging_numbers import judge_number
from handsel.inspection.protocol import SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.result import Item
from handsel.inspection.rules import NumberRule
from handsel.inspection.seeing import Seen
from handsel.inspection.standing import Timeline


def judge(
    characteristic: Characteristic, place: str, seen: Seen, case: Case, protocol: Protocol, timeline: Timeline
) -> Item:
    """The item of one characteristic at one place, conditions of other characteristics left aside.

    Parameters: characteristic and place; seen there; case; protocol; timeline of the case.
    Returns: Item.
    Raises: BadCase for an answer or number that does not fit the characteristic.
    Valid for: cases that fit the protocol.
    Source: JCGM 106:2012 8.3 through metrology.decision for numbers; Bayes' theorem for answers.
    Checked by: unit/test_inspection_deciding.py, properties/test_inspection.py
    """
    if not seen.observations and not seen.groups:
        return _not_seen(characteristic, place, seen, timeline)
    substituted = all(o.method == SUBSTITUTE for o in seen.observations)
    if isinstance(characteristic.rule, NumberRule) and not substituted:
        return judge_number(characteristic, characteristic.rule, place, seen, case, protocol)
    return judge_answers(characteristic, place, seen, case, protocol)


def _not_seen(c: Characteristic, place: str, seen: Seen, timeline: Timeline) -> Item:
    hiding = timeline.hiding(c, place)
    again = timeline.undone(c, place)
    known = next((h for h in hiding if h.recorded), None)
    how, minutes = c.how, c.minutes
    if c.substitute is not None and hiding:
        early = " too early" if known is not None and known.too_early else ""
        how = (
            c.substitute.how
            if known is not None
            else f"{c.how} If that can no longer be seen ({hiding[0].step.title}): {c.substitute.how}"
        )
        minutes = c.substitute.minutes
        reason = (
            f"can no longer be seen, because this was done{early}: {known.step.title}"
            if known is not None
            else f"not seen, and hidden by now unless it is taken back: {hiding[0].step.title}"
        )
    elif again and seen.fallen:
        reason = f"to be looked at again, {again}"
    else:
        reason = "not looked at yet"
    return item_of(c, place, status="not seen", p=None, reason=reason, to_check=how, minutes=minutes)
