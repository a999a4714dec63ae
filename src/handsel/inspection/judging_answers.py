"""What people's answers say of one characteristic at one place."""

from __future__ import annotations

from handsel.inspection.answers import Look, p_good
from handsel.inspection.case import BadCase, Case, Observation
from handsel.inspection.item import item_of, place_in
from handsel.inspection.protocol import CANNOT_TELL, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.result import Item, Status
from handsel.inspection.rules import AnswerRule
from handsel.inspection.seeing import Seen


def judge_answers(c: Characteristic, place: str, seen: Seen, case: Case, protocol: Protocol) -> Item:
    """The verdict on what people answered.

    One person who looks twice makes the same mistake twice: each counts once, by the worse answer.
    A standing "no" is a nonconformity whatever the probability says, until whoever gave it takes
    it back; so a second, kinder look cannot release what a first one refused.

    Parameters: c, the characteristic, and place; seen there; case; protocol.
    Returns: Item.
    Raises: BadCase for an answer that does not fit the characteristic.
    Valid for: people whose mistakes are independent of one another.
    Source: Bayes' theorem, see answers.p_good; acceptance as JCGM 106:2012 8.3.2.
    Checked by: unit/test_inspection_answers.py, properties/test_inspection.py
    """
    looks: dict[str, Look] = {}
    answers: list[str] = []
    for o in seen.observations:
        good = _is_good(c, o, case)
        answers.append(o.answer or "")
        if good is None:
            continue
        miss, alarm = c.miss_rate, c.false_alarm_rate
        if o.method == SUBSTITUTE and c.substitute is not None:
            miss, alarm = c.substitute.miss_rate, c.substitute.false_alarm_rate
        by = o.by or case.by
        look = Look(good=good, miss_rate=miss, false_alarm_rate=alarm)
        # Worse first: bad before good, then the less telling good.
        looks[by] = min(looks.get(by, look), look, key=lambda x: (x.good, -x.miss_rate))
    for g in seen.groups:
        miss = min(1.0, c.miss_rate * protocol.group_miss_factor)
        looks.setdefault(
            g.by or case.by, Look(good=True, miss_rate=miss, false_alarm_rate=c.false_alarm_rate)
        )
        answers.append("as shown")
    shown = ", ".join(sorted(set(answers)))
    if isinstance(c.rule, AnswerRule) and not c.rule.decides and looks:
        return item_of(c, place, status="recorded", p=None, reason=f"recorded: {shown}", shown=shown)
    p = p_good(c.prior_nonconforming, looks.values())
    bad = any(not look.good for look in looks.values())
    if bad:
        status: Status = "does not conform"
        reason = f"answered “{shown}”" + (
            "; answers differ: look at it together" if any(look.good for look in looks.values()) else ""
        )
    elif looks and p >= protocol.accept(c.severity):
        status, reason = "conforms", f"answered “{shown}”"
    elif looks:
        status, reason = (
            "undecided",
            f"answered “{shown}”, and one look is not enough for this: another person looks too",
        )
    else:
        status, reason = "undecided", f"answered “{shown}”: another person looks, or look in better light"
    to_check = c.how if status == "undecided" else ""
    return item_of(
        c,
        place,
        status=status,
        p=p if looks else None,
        reason=reason,
        shown=shown,
        to_check=to_check,
        minutes=c.minutes if to_check else 0.0,
    )


def _is_good(c: Characteristic, o: Observation, case: Case) -> bool | None:
    """True for an accepted answer, None for "can't tell"."""
    rule = (
        c.rule
        if isinstance(c.rule, AnswerRule) and o.method != SUBSTITUTE
        else AnswerRule(answers=("yes", "no"), accepted=("yes",))
    )
    if o.answer == CANNOT_TELL:
        return None
    if o.answer not in rule.answers:
        given = "a number" if o.answer is None else f"{o.answer!r}"
        raise BadCase(
            f"the answer is {given}; this is answered with {', '.join(rule.answers)}",
            where=place_in(case, c, o.place),
            do=f'Use one of them, or "{CANNOT_TELL}".',
        )
    return o.answer in rule.accepted
