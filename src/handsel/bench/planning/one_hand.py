"""The plan of one hand: what to look at or do first for the least minutes to a sound hand. Worked out by a worker."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from handsel.bench.causes.known import held_library, place_for
from handsel.bench.causes.learning import catalogue_learned
from handsel.bench.hands.casebook import case_of, design_kept, protocol_kept, told_of
from handsel.bench.hands.models import Hand
from handsel.data.load_actions import load_actions
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.likelihood import BadAnswer, items_of
from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol
from handsel.rework.hand.advice import advise


def planned_hand(pk: int) -> dict[str, Any]:
    """The plan as a job's result; an empty sentence where there is nothing yet to plan by."""
    hand = Hand.objects.select_related("design").get(pk=pk)
    at = place_for(hand)
    library = held_library(at) if at is not None else None
    if at is None or library is None:
        return {"sentence": ""}
    told, protocol = told_of(hand), protocol_kept(hand.protocol_id)
    catalogue, _ = catalogue_learned(at.catalogue)
    case = _taken(case_of(hand, told, with_causes=True), protocol, catalogue)
    actions = load_actions(f"{catalogue.id}-actions", catalogue, protocol)
    advice = advise(case, protocol, design_kept(hand.design_id), catalogue, actions, lambda: library)
    way = advice.way
    return {
        "sentence": advice.sentence,
        "kept": advice.plan.kept if advice.plan is not None else "",
        "way": asdict(way) | {"spares": dict(way.spares)} if way is not None else None,
    }


def _taken(case: Case, protocol: Protocol, catalogue: Catalogue) -> Case:
    """The case without answers that the catalogue does not take, as the page of causes leaves them out."""
    kept = []
    for o in case.observations:
        try:
            items_of(
                catalogue, seen_in_case(replace(case, observations=(o,), accepted=()), protocol, catalogue)
            )
        except BadAnswer:
            continue
        kept.append(o)
    return replace(case, observations=tuple(kept))
