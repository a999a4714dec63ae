"""The plan of one hand: what to look at or do first for the least minutes to a sound hand. Worked out by a worker."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from handsel.bench.causes.diagnosing import seen_of
from handsel.bench.causes.known import held_library, place_for
from handsel.bench.causes.learning import catalogue_learned
from handsel.bench.hands.casebook import case_of, design_kept, protocol_kept, told_of
from handsel.bench.hands.models import Hand
from handsel.data.load_actions import load_actions
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.likelihood import items_of
from handsel.diagnosis.posterior import posterior
from handsel.rework.hand_plan import plan_hand, way_of_plan
from handsel.rework.length_ways import length_ways


def planned_hand(pk: int) -> dict[str, Any]:
    """The plan as a job's result; an empty sentence where there is nothing yet to plan by."""
    hand = Hand.objects.select_related("design").get(pk=pk)
    at = place_for(hand)
    library = held_library(at) if at is not None else None
    if at is None or library is None:
        return {"sentence": ""}
    told, protocol = told_of(hand), protocol_kept(hand.protocol_id)
    catalogue, _ = catalogue_learned(at.catalogue)
    seen, _ = seen_of(hand, told, protocol, catalogue)
    items = items_of(catalogue, seen)
    p = posterior(library, catalogue, items, scale_ratio=hand.scale_ratio)
    case = case_of(hand, told, with_causes=True)
    plan = plan_hand(
        p,
        catalogue,
        load_actions(f"{catalogue.id}-actions", catalogue, protocol),
        protocol,
        hold_point=hand.hold_point,
        lengths=length_ways(case, protocol, design_kept(hand.design_id)),
        none_fits=bool(fit_probability(catalogue, p.rows, p.weight, items) < NONE_FITS_P),
        done={i.key for i in items if not i.in_group},
    )
    way = way_of_plan(plan)
    return {
        "sentence": plan.sentence,
        "kept": plan.kept,
        "way": asdict(way) | {"spares": dict(way.spares)},
    }
