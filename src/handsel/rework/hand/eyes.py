"""Who has looked at what: what nobody has looked at yet, and what two people have."""

from __future__ import annotations

from collections.abc import Sequence, Set

import numpy as np

from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.likelihood import CANNOT_TELL, Item
from handsel.diagnosis.next_check import next_checks
from handsel.diagnosis.posterior import Posterior
from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol
from handsel.rework.hand.actions import OpenLooks
from handsel.rework.hand.looks import ANSWER_MIN, Asked, Key, Look

EYES = 2  # pairs of eyes on one thing; a third look tells too little to plan with


def looked_twice(case: Case) -> frozenset[Key]:
    """What two people have looked at, was read twice or could not be told: nobody is sent to look at it once more.

    Parameters: case.    Returns: pairs of observable and place.    Raises: nothing.
    Valid for: people who look for themselves, not over each other's shoulder.
    Source: own rule.    Checked by: unit/test_looks.py
    """
    eyes: dict[Key, int] = {}
    for o in case.observations:
        count = EYES if o.answer == CANNOT_TELL else max(len(o.readings), 1)
        eyes[o.of, o.place] = eyes.get((o.of, o.place), 0) + count
    return frozenset(key for key, count in eyes.items() if count >= EYES)


def unseen(catalogue: Catalogue, seen: Sequence[Item], done: Set[Key]) -> tuple[Look, ...]:
    """What nobody has looked at yet, as looks, whatever they may tell.

    Parameters: catalogue; seen, what was seen already, with a group or by itself; done, looks that shall not
        be asked for.
    Returns: Look, one for each observable and place that is left; without chances.
    Raises: nothing.
    Valid for: any.    Source: own.    Checked by: unit/test_looks.py
    """
    known = {item.key for item in seen}
    return tuple(
        _bare_look(o, place, again=False)
        for o in catalogue.observables
        for place in o.places
        if (o.id, place) not in done and (o.id, place) not in known
    )


def worth_looking(
    gaps: Sequence[Look], p: Posterior, catalogue: Catalogue, protocol: Protocol, rule: OpenLooks
) -> tuple[Look, ...]:
    """Of what nobody has looked at yet, what is to be looked at before anything is changed.

    What the protocol asks is due before the hand's release anyway, and what shows in no movement would go home with the
    hand. Of what else tells causes apart some of the best, as far as each is worth its minutes; the plan that is made
    after them asks for more where that then pays.

    Parameters: gaps, as `unseen` gives them; p, posterior; catalogue; protocol; rule, of the actions.
    Returns: Look, in the order of gaps.
    Raises: nothing.
    Valid for: any.
    Source: the diagnosis's own order of looks.
    Checked by: unit/test_looks.py
    """
    ids = [(g, g.asked[0].observable.id) for g in gaps]
    due = tuple(g for g, of in ids if of in rule.always or protocol.characteristic(of) is not None)
    more = {g.asked[0].key for g in gaps if g not in due}
    if not more:
        return due
    every = {(o.id, place) for o in catalogue.observables for place in o.places}
    best = next_checks(catalogue, p.rows, p.weight, every - more, most=rule.at_once)
    worth = {(c.of, c.place) for c in best if c.bits_per_minute >= rule.least_bits_per_minute}
    return tuple(g for g in gaps if g in due or g.asked[0].key in worth)


def _bare_look(o: Observable, place: str, *, again: bool) -> Look:
    """A look without the chances of its answers."""
    answers = () if o.kind == "number" else o.answers_of(place)
    return Look(
        asked=(Asked(observable=o, place=place, answers=answers, again=again),),
        answers=(),
        minutes=o.minutes + ANSWER_MIN,
        chance=np.zeros((0, 0)),
    )


def readings_of(
    catalogue: Catalogue, wanted: Sequence[str], seen: Sequence[Item], done: Set[Key]
) -> tuple[Look, ...]:
    """Some observables at all their places, as looks for somebody else, whatever they may tell.

    Parameters: catalogue; wanted, ids; seen, what was seen already; done, what two people have looked at.
    Returns: Look, one for each that is left; without chances.
    Raises: nothing.
    Valid for: any.    Source: own.    Checked by: unit/test_hand_plan.py
    """
    known = {item.key for item in seen if not item.in_group}
    return tuple(
        _bare_look(o, place, again=(o.id, place) in known)
        for o in catalogue.observables
        if o.id in wanted
        for place in o.places
        if (o.id, place) not in done
    )
