"""Who has looked at what: what nobody has looked at yet, and what two people have."""

from __future__ import annotations

from collections.abc import Sequence, Set

import numpy as np

from handsel.diagnosis.catalogue import Catalogue, Observable
from handsel.diagnosis.likelihood import CANNOT_TELL, Item
from handsel.inspection.case import Case
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
