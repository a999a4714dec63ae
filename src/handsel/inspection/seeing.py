"""What was recorded of one characteristic at one place, and still stands."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.inspection.case import Case, GroupAcceptance, Observation
from handsel.inspection.protocol import HAND, Characteristic
from handsel.inspection.rules import AnswerRule
from handsel.inspection.standing import Timeline


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What still stands of all that was recorded for one characteristic at one place."""

    observations: tuple[Observation, ...]
    groups: tuple[GroupAcceptance, ...]  # used only where nothing was recorded one by one
    fallen: bool  # something was recorded that no longer stands


def seen_of(characteristic: Characteristic, place: str, case: Case, timeline: Timeline) -> Seen:
    """What was recorded of a characteristic at a place, without what no longer stands.

    Parameters: characteristic and place; case; timeline of the case.
    Returns: Seen. An answer for the whole hand counts at every place.
    Raises: BadCase when an observation refers to something that was never done.
    Valid for: cases that fit the protocol, see check_fits.
    Source: own rule: a single answer is closer looked at than a group taken as shown, and replaces it.
    Checked by: unit/test_inspection_order.py, unit/test_inspection_deciding.py
    """
    own = [o for o in case.observations if o.of == characteristic.id and o.place in (place, HAND)]
    groups = [g for g in case.accepted if covers(g, characteristic, place)]
    standing = tuple(o for o in own if timeline.stands(o, characteristic, place))
    # An answer given for this very place replaces the one for all places.
    standing = tuple(o for o in standing if o.place == place) or standing
    accepted = tuple(g for g in groups if timeline.stands(g, characteristic, place))
    return Seen(
        observations=standing,
        groups=() if standing else accepted,
        fallen=bool(own or groups) and not standing and not accepted,
    )


def covers(group: GroupAcceptance, characteristic: Characteristic, place: str) -> bool:
    """Whether taking a group as shown says anything of a characteristic at a place.

    Parameters: group, as it was accepted; characteristic and place.
    Returns: True for yes/no questions of the group, or the part of it that was looked at; never for
        critical ones and numbers, nor where more than one answer is accepted.
    Raises: nothing.    Valid for: any protocol.
    Source: own rule: what could hurt someone is always answered by itself.
    Checked by: unit/test_inspection_answers.py
    """
    rule = characteristic.rule
    return (
        group.group in (characteristic.held, characteristic.hold_point)
        and (not group.only or (characteristic.id, place) in group.only)
        and characteristic.severity != "critical"
        and isinstance(rule, AnswerRule)
        and len(rule.accepted) == 1
    )
