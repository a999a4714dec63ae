"""The worker's part of learning: whether what was done to a hand proves which cause it had."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from handsel.bench.causes.diagnosing import find
from handsel.bench.causes.known import catalogue_for
from handsel.bench.causes.learning import Proof, entry_of, keep_proof
from handsel.bench.hands.casebook import Told, case_of, out_of_force, protocol_kept, told_of
from handsel.bench.hands.chain import Closed, New, append
from handsel.bench.hands.models import Hand
from handsel.data.load_actions import load_actions
from handsel.inspection.deciding import inspect
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand.actions import cured_by
from handsel.rework.learning import Cured, cure_confirmed


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Look at one decision: what did not hold before the last rework, and what holds now."""
    hand = Hand.objects.select_related("design").get(pk=payload["hand"])
    decided = entry_of(hand, int(payload["decided"]))
    if decided is None:
        return {"confirmed": False, "reason": "there is no such decision"}
    cured = proved(hand, told_of(hand), decided.seq)
    if not cured.confirmed:
        return {"confirmed": False, "reason": cured.reason}
    catalogue = catalogue_for(protocol_kept(hand.protocol_id))
    assert catalogue is not None
    proof = Proof(
        fault=cured.fault,
        place=cured.place,
        rework=cured.rework,
        symptom=cured.symptom,
        catalogue=catalogue.id,
        decided=decided.seq,
    )
    what = {
        "fault": proof.fault,
        "place": proof.place,
        "rework": proof.rework,
        "symptom": proof.symptom,
        "decided": proof.decided,
        "catalogue": {"name": catalogue.id, "version": catalogue.version, "sha256": catalogue.sha256},
    }
    new = New(kind="learned", what=what, client_id=f"learned-{hand.code}-{decided.seq}")
    with suppress(Closed):  # released meanwhile: its record is closed, the bench's list is not
        append(hand, [new], person=decided.person)
    kept = keep_proof(hand, proof, person=decided.person)
    return {"confirmed": True, "new": kept is not None}


def proved(hand: Hand, told: tuple[Told, ...], decided: int) -> Cured:
    """What the rework between the last two decisions proves, if anything."""
    gone = out_of_force(told)
    now = next(t for t in told if t.seq == decided)
    earlier = [t for t in told if t.kind == "decided" and t.seq < decided]
    if not earlier:
        return Cured(reason="it was never decided before")
    before = earlier[-1]
    hold_point = before.what["hold_point"]
    if now.what["hold_point"] != hold_point:
        return Cured(reason="the two decisions are about different hold points")
    between = [t for t in told if before.seq < t.seq < decided and t.kind == "did" and t.seq not in gone]
    done = [ReworkDone(rework=t.what["what"], place=t.what.get("place", ""))
            for t in between if t.what.get("is_rework")]  # fmt: skip
    protocol = protocol_kept(hand.protocol_id)
    catalogue = catalogue_for(protocol)
    if not done or catalogue is None:
        return Cured(reason="nothing was changed, so nothing is known to have cured it")
    first = next(t.seq for t in between if t.what.get("is_rework"))
    found = find(hand, tuple(t for t in told if t.seq < first), protocol)
    if found is None:
        return Cured(reason="no simulated hands were there to suspect a cause by")
    actions = load_actions(f"{catalogue.id}-actions", catalogue, protocol)
    able = [pair for d in done for pair in cured_by(d.rework, d.place, actions, catalogue)]
    return cure_confirmed(
        inspect(case_of(hand, [t for t in told if t.seq < before.seq], hold_point=hold_point), protocol),
        inspect(case_of(hand, [t for t in told if t.seq < decided], hold_point=hold_point), protocol),
        done,
        [(c.fault.kind.id, c.fault.place, c.probability) for c in found.diagnosis.causes],
        able,
    )
