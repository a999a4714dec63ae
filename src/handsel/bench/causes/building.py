"""The worker's part: one round of simulated hands at a time, behind everything else on this computer."""

from __future__ import annotations

from typing import Any

from handsel.bench.causes.known import place_for
from handsel.bench.causes.wishes import want_hand_plan
from handsel.bench.hands.models import Hand
from handsel.data.library_store import build_library, lower_priority, rounds_there
from handsel.diagnosis.library import ROUNDS


def begin() -> None:
    """Before the first job: step back further than the workers that somebody waits for."""
    lower_priority()


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Make one round and keep it in the cache folder."""
    hand = Hand.objects.get(pk=payload["hand"])
    at = place_for(hand)
    if at is None:
        return {"made": False}
    build_library(at, rounds=(int(payload["round"]),))
    if rounds_there(at) == ROUNDS:
        want_hand_plan(hand)
    return {"made": True, "key": at.key}
