"""Does what is written about a hand fit the protocol at all? Said before anything is judged."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from handsel.errors import OutOfRange
from handsel.inspection.case import BadCase, Case, Finding, Observation
from handsel.inspection.protocol import CANNOT_TELL, HAND, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.rules import AnswerRule


def check_fits(case: Case, protocol: Protocol, findings: Iterable[Finding] = ()) -> None:
    """Refuse a case that speaks of things the protocol does not know, or in the wrong way.

    Parameters: case; protocol; findings that are to count with it.
    Returns: nothing.
    Raises: BadCase, naming the observation and what would be right.
    Valid for: any case and protocol.
    Source: own rule: what is not understood is never skipped in silence.
    Checked by: unit/test_inspection_fits.py
    """
    if protocol.designs and case.hand.design not in protocol.designs:
        raise BadCase(
            f"protocol {protocol.id} was not written for the design {case.hand.design!r}",
            where=f"{case.name}, hand",
            do=f"{_meant(case.hand.design, protocol.designs)}Or take a protocol made for it.",
        )
    stages = [h.id for h in protocol.hold_points]
    if case.hand.hold_point not in stages:
        raise BadCase(
            f"there is no hold point {case.hand.hold_point!r}",
            where=f"{case.name}, hand",
            do=_meant(case.hand.hold_point, stages),
        )
    for observation in case.observations:
        _check_observation(observation, case, protocol)
    groups = [g.id for h in protocol.hold_points for g in h.groups] + stages
    for accepted in case.accepted:
        if accepted.group not in groups:
            raise BadCase(
                f"there is no group or hold point {accepted.group!r}",
                where=f"{case.name}, as shown",
                do=_meant(accepted.group, groups),
            )
        for of, place in accepted.only:
            member = next((c for c in protocol.members(accepted.group) if c.id == of), None)
            if member is None:
                raise BadCase(
                    f"{of!r} does not belong to {accepted.group!r}",
                    where=f"{case.name}, as shown",
                    do=_meant(of, [c.id for c in protocol.members(accepted.group)]),
                )
            _check_place(member, place, f"{case.name}, as shown, {of}", protocol)
    findings = tuple(findings)
    known = [c.id for c in protocol.characteristics] + [f.id for f in findings]
    for concession in case.concessions:
        if concession.of not in known:
            raise BadCase(
                f"there is no characteristic {concession.of!r}",
                where=f"{case.name}, concession",
                do=_meant(concession.of, known),
            )
        conceded = protocol.characteristic(concession.of)
        if conceded is not None:
            _check_place(conceded, concession.place, f"{case.name}, concession of {concession.of}", protocol)
    for finding in findings:
        _check_finding(finding, known, protocol)


def _check_finding(finding: Finding, known: list[str], protocol: Protocol) -> None:
    if known.count(finding.id) > 1:
        raise OutOfRange(
            f"the id {finding.id!r} stands for two things",
            where=finding.id,
            do="Give the computed finding an id of its own.",
        )
    for id in finding.rework:
        if protocol.rework(id) is None:
            raise OutOfRange(
                f"there is no rework {id!r}",
                where=finding.id,
                do=_meant(id, [r.id for r in protocol.reworks]),
            )


def _check_observation(o: Observation, case: Case, protocol: Protocol) -> None:
    c = protocol.characteristic(o.of)
    if c is None:
        raise BadCase(
            f"there is no characteristic {o.of!r} in protocol {protocol.id}",
            where=f"{case.name}, observation",
            do=_meant(o.of, [x.id for x in protocol.characteristics]),
        )
    where = f"{case.name}, {c.id}"
    _check_place(c, o.place, where, protocol)
    rule = c.rule
    if o.method == SUBSTITUTE:
        if c.substitute is None:
            raise BadCase("it has no substitute check", where=where, do=f"Check it as it is: {c.how}")
        answers: tuple[str, ...] = ("yes", "no")
    elif isinstance(rule, AnswerRule):
        answers = rule.answers
    else:
        _check_number(o, rule.unit, tuple(m.name for m in rule.methods), where)
        return
    if o.value is not None or o.readings:
        raise BadCase(
            "a number is given for something that is answered in words",
            where=where,
            do=f'Write answer = "{answers[0]}", or one of: {", ".join(answers)}, {CANNOT_TELL}.',
        )
    if o.answer not in (*answers, CANNOT_TELL):
        raise BadCase(
            f"the answer is {o.answer!r}; expected one of: {', '.join(answers)}, {CANNOT_TELL}",
            where=where,
            do=_meant(o.answer or "", [*answers, CANNOT_TELL]),
        )
    good = o.answer == CANNOT_TELL or (
        o.answer == "yes"
        if o.method == SUBSTITUTE or not isinstance(rule, AnswerRule)
        else o.answer in rule.accepted
    )
    if not good and o.place == HAND and c.per != "hand":
        raise BadCase(
            f"“{o.answer}” does not say which {c.per}",
            where=where,
            do=f"Name it, one of: {', '.join(protocol.places(c.per))}.",
        )


def _check_number(o: Observation, unit: str, methods: tuple[str, ...], where: str) -> None:
    if o.answer == CANNOT_TELL:
        return
    if o.answer is not None:
        raise BadCase(
            f"the answer is {o.answer!r}; a number is expected",
            where=where,
            do=f'Give value_{unit} or readings_{unit}, or answer = "{CANNOT_TELL}".',
        )
    if o.unit != unit:
        raise BadCase(
            f"the number is in {o.unit}; it is checked in {unit}",
            where=where,
            do=f"Give value_{unit} or readings_{unit}.",
        )
    if o.method and o.method not in methods:
        raise BadCase(
            f"{o.method!r} is not a method for this number", where=where, do=_meant(o.method, methods)
        )


def _check_place(c: Characteristic, place: str, where: str, protocol: Protocol) -> None:
    places = protocol.places(c.per)
    if place != HAND and place not in places:
        if c.per == "hand":
            raise BadCase(
                f"{place!r} is named, and it concerns the whole hand", where=where, do="Leave the place out."
            )
        raise BadCase(f"there is no {c.per} {place!r}", where=where, do=_meant(place, places))


def _meant(word: str, known: Iterable[str]) -> str:
    """A remedy: the nearest known words, or all of them when none is near."""
    options = list(dict.fromkeys(known))
    near = get_close_matches(word, options, n=2, cutoff=0.6)
    if near:
        return f"Did you mean {' or '.join(near)}? "
    shown = ", ".join(options[:12]) + (", and more" if len(options) > 12 else "")
    return f"Use one of: {shown}. "
