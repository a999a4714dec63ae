"""The decision for one hand: every characteristic that is due, then the whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from handsel.inspection.case import Case, Finding
from handsel.inspection.concessions import conceded
from handsel.inspection.fits import check_fits
from handsel.inspection.judging import judge
from handsel.inspection.judging_numbers import quantity_of
from handsel.inspection.ordering import next_check, work_order
from handsel.inspection.protocol import (
    CANNOT_TELL,
    HAND,
    SEVERITIES,
    SUBSTITUTE,
    Characteristic,
    Protocol,
    gravity,
)
from handsel.inspection.result import Inspection, Item, Status
from handsel.inspection.rules import NumberRule
from handsel.inspection.seeing import Seen, seen_of
from handsel.inspection.standing import Timeline
from handsel.inspection.undo import in_hand_order
from handsel.inspection.whole import advisories, out_of_order, sentence_for, whole_decision
from handsel.metrology.quantity import Quantity


def inspect(case: Case, protocol: Protocol, findings: Sequence[Finding] = ()) -> Inspection:
    """Decide every characteristic due up to the hold point a hand has reached, and the hand as a whole.

    Parameters: case; protocol; findings computed elsewhere, which count like characteristics.
    Returns: Inspection. Only critical and major items stand between a hand and its release; minor
        ones are reported. A nonconforming item whose every rework throws the part away makes the
        whole "scrap part", any other makes it "rework"; what is not seen or not decided, "not
        decided yet".
    Raises: BadCase when the case does not fit the protocol; OutOfRange for a bad finding.
    Valid for: any order of observations; the protocol's rates and limits.
    Source: JCGM 106:2012 8.3 for numbers; ISO 9000:2015 3.12 for rework, concession, scrap, release.
    Checked by: unit/test_inspection_deciding.py, unit/test_inspection_order.py,
        properties/test_inspection.py, published/test_common_practice.py
    """
    check_fits(case, protocol, findings)
    timeline = Timeline(case, protocol)
    items, readings = _judged(case, protocol, timeline)
    items = _with_conditions(items, protocol)
    items += [_item_of(finding) for finding in findings]
    items, refused = conceded(items, case, protocol)
    work = work_order([i for i in items if i.is_open], protocol)
    position = {item.key: k for k, item in enumerate(work)}
    open_items = tuple(sorted(work, key=lambda i: (gravity(i.severity), position[i.key])))
    decision = whole_decision(items, protocol)
    stages = protocol.hold_points
    after = protocol.stage(case.hand.hold_point) + 1
    check = next_check(items, protocol)
    released_to = (
        ""
        if decision != "release"
        else f"“{stages[after].title}”"
        if after < len(stages)
        else "the recipient"
    )
    return Inspection(
        case=case,
        protocol=protocol,
        whole=decision,
        items=tuple(items),
        open_items=open_items,
        work_order=work,
        sentence=sentence_for(
            decision, open_items, check.item if check is not None else None, released_to, protocol
        ),
        next_check=check,
        out_of_order=out_of_order(items, timeline, protocol),
        refused_concessions=refused,
        advisories=advisories(items, case),
        readings=readings,
        released_to=released_to,
        open_minutes=sum(i.minutes for i in open_items if i.blocks),
    )


def due(case: Case, protocol: Protocol) -> tuple[Characteristic, ...]:
    """The characteristics that count at the hold point a hand has reached, in the order of holding it.

    Parameters: case; protocol.
    Returns: characteristics of this and all earlier hold points, without those that do not apply.
    Raises: OutOfRange for an unknown hold point.
    Valid for: any case.
    Source: own rule; latex counts unless the recipient is known not to be sensitive.
    Checked by: unit/test_inspection_deciding.py
    """
    reached = protocol.stage(case.hand.hold_point)
    return tuple(
        c
        for c in in_hand_order(protocol)
        if protocol.stage(c.hold_point) <= reached
        and not (c.applies_if == "latex_sensitive" and case.hand.latex_sensitive is False)
    )


def _judged(
    case: Case, protocol: Protocol, timeline: Timeline
) -> tuple[list[Item], dict[str, Quantity | str]]:
    items: list[Item] = []
    readings: dict[str, Quantity | str] = {}
    for characteristic in due(case, protocol):
        for place in protocol.places(characteristic.per):
            seen = seen_of(characteristic, place, case, timeline)
            items.append(judge(characteristic, place, seen, case, protocol, timeline))
            reading = _reading(characteristic, seen, case)
            if reading is not None:
                readings[characteristic.observable(place)] = reading
    return items, readings


def _reading(c: Characteristic, seen: Seen, case: Case) -> Quantity | str | None:
    """What the mechanics may use of what was seen; None when it is of no use to it."""
    told = [o for o in seen.observations if o.method != SUBSTITUTE and o.answer != CANNOT_TELL]
    if not c.reads or not (told or seen.groups):
        return None
    if isinstance(c.rule, NumberRule):
        return quantity_of(c, c.rule, told[0], case) if told else None
    answers = sorted({o.answer for o in told if o.answer is not None}) or list(c.rule.accepted[:1])
    # Where people differ, the answer that is not as it should be.
    return next((a for a in answers if a not in c.rule.accepted), answers[0])


def _with_conditions(items: list[Item], protocol: Protocol) -> list[Item]:
    """Numbers and answers that count only under conditions, with the conditions applied."""
    by_id: dict[str, list[Item]] = {}
    for item in items:
        by_id.setdefault(item.id, []).append(item)

    def unmet(characteristic_id: str) -> list[Item]:
        characteristic = protocol.characteristic(characteristic_id)
        conditions = characteristic.counts_only_if if characteristic is not None else ()
        return [
            item
            for id in conditions
            for item in by_id.get(id, ())
            if item.status not in ("conforms", "recorded") or unmet(item.id)
        ]

    return [
        _not_counting(item, bad)
        if item.status in ("conforms", "does not conform", "undecided") and bad
        else item
        for item in items
        for bad in [unmet(item.id)]
    ]


def _not_counting(item: Item, conditions: Sequence[Item]) -> Item:
    first = conditions[0]
    more = f" and {len(conditions) - 1} more" if len(conditions) > 1 else ""
    return replace(
        item,
        status="undecided",
        p_conform=None,
        faults=(),
        settling=None,
        reason=f"{item.shown} does not count yet. {first.called}: {first.status}{more}",
        to_check=f"Put right or check first: {first.called}. Then read it again.",
        minutes=item.minutes or 1.0,
    )


def _item_of(finding: Finding) -> Item:
    status: Status = finding.verdict.value
    return Item(
        id=finding.id,
        place=HAND,
        title=finding.title,
        hold_point="",
        severity=SEVERITIES[gravity(finding.severity)],
        status=status,
        p_conform=finding.p_conform,
        reason=finding.reason,
        rework=finding.rework,
    )
