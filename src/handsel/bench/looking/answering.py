"""The answer for one hand: worked out by a worker, kept as a job's result, recorded as a decision.

ask()  ->  no mechanics needed: judged and recorded at once
       ->  worked out before for this very case: recorded at once
       ->  else a job; the worker works it out and records it, unless the record has grown meanwhile
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils import timezone

from handsel import __version__
from handsel.bench.causes.wishes import after_decision
from handsel.bench.hands.casebook import (
    Told,
    case_key,
    case_of,
    design_kept,
    design_placed,
    protocol_kept,
    told_of,
)
from handsel.bench.hands.chain import Added, MovedOn, New, append
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.people.models import Person
from handsel.data.assessment_tables import assessment_table
from handsel.documents.drawing import drawing
from handsel.documents.wording import reason
from handsel.inspection.case import Case
from handsel.inspection.deciding import due, inspect
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Inspection, Item
from handsel.rework.assessment import assess
from handsel.rework.result import Assessment

FITTING = "fitting"  # the hold point that needs the wearer


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All that is known of a hand now, read once."""

    hand: Hand
    told: tuple[Told, ...]
    case: Case
    protocol: Protocol

    @property
    def key(self) -> str:
        """Names this state of things."""
        return case_key(self.case, self.hand, __version__)

    def inspection(self) -> Inspection:
        """Judged without the mechanics: quick, for pages."""
        return _inspected(self.case, self.protocol.sha256)

    @property
    def needs_mechanics(self) -> bool:
        """Whether anything due feeds the solver; before the cords are in, nothing does."""
        return any(c.reads for c in due(self.case, self.protocol))


@lru_cache(maxsize=64)
def _inspected(case: Case, protocol: str) -> Inspection:
    """Remembered for a moment: a page that waits for its answer asks for the same again and again."""
    return inspect(case, protocol_kept(protocol))


def known(hand: Hand, *, hold_point: str = "") -> Known:
    """Read a hand's record."""
    told = told_of(hand)
    protocol = protocol_kept(hand.protocol_id)
    return Known(hand=hand, told=told, case=case_of(hand, told, hold_point=hold_point), protocol=protocol)


def answer_job_key(k: Known) -> str:
    """The job that works out the answer for this state of things."""
    return f"answer-{k.key}"


def worked_out(k: Known) -> dict[str, Any] | None:
    """The full answer if it has been worked out for this very case; None otherwise."""
    job = Job.objects.filter(key=answer_job_key(k), state=Job.DONE).first()
    return None if job is None else job.result


def decision(k: Known) -> dict[str, Any]:
    """Only what the record keeps of the answer, without its drawing: for many decisions at once."""
    return _decided(k, _assessed(k))


def _assessed(k: Known) -> Assessment:
    return assess(
        k.case,
        k.protocol,
        design_kept(k.hand.design_id),
        design_sha256=k.hand.design_id,
        protocol_sha256=k.hand.protocol_id,
        program_version=__version__,
    )


def work_out(k: Known) -> dict[str, Any]:
    """The full answer, as data: the assessment in its published form, and the drawing. Takes up to seconds."""
    found = _assessed(k)
    at_size = design_placed(k.hand.design_id, k.hand.scale_ratio, k.hand.side)
    return {
        "assessment": assessment_table(found).model_dump(mode="json"),
        "drawing": drawing(at_size, found),
        "conforms": found.conforms,
        "decided": _decided(k, found),
    }


def _decided(k: Known, a: Assessment) -> dict[str, Any]:
    """What the record keeps of a decision: enough to see later what it rested on, and what was ordered."""
    i = a.inspection
    stages = k.protocol.hold_points
    at = k.protocol.stage(k.case.hand.hold_point)
    following = stages[at + 1].id if at + 1 < len(stages) else ""
    blocking = [x for x in i.open_items if x.blocks]
    # A computed finding may hold a hand back that its single checks would let pass.
    whole = i.whole if a.conforms or i.whole != "release" else "not decided yet"
    return {
        "hold_point": k.case.hand.hold_point,
        "whole": whole,
        "sentence": a.sentence,
        "blocked_by": held_back_by(blocking[0]) if blocking else "",
        "open": [_open(x, k.protocol) for x in i.open_items],
        "fix": {"sentence": a.fix.sentence, "steps": list(a.fix.steps), "cautions": list(a.fix.cautions)},
        "next_hold_point": following if whole == "release" else "",
        "next_is_fitting": following == FITTING,
        "design": k.hand.design_id,
        "protocol": k.hand.protocol_id,
        "program": __version__,
        "case_key": k.key,
    }


def _open(x: Item, protocol: Protocol) -> dict[str, str]:
    """An open item. The protocol's text is kept with the hand, so only what stands nowhere else is written."""
    told = {"of": x.id, "place": x.place, "status": x.status, "severity": x.severity}
    if x.status != "not seen":
        told["reason"] = reason(x)[:400]
    if protocol.characteristic(x.id) is None:  # found by the mechanics
        told["title"] = x.title
    return told


def held_back_by(item: Item) -> str:
    """What stands in the way, for a line on a page. Titles say what is true of a sound hand, so the
    status has to come first: "The cuff has no crack" alone would read as good news."""
    word = {"does not conform": "not so", "undecided": "not decided"}.get(item.status, "not seen yet")
    return f"{word}: {item.called}"


def keep(k: Known, found: dict[str, Any]) -> dict[str, Any]:
    """Keep an answer under its case, for the pages that show it."""
    now = timezone.now()
    done = {"state": Job.DONE, "result": found, "finished_at": now}
    started = {"kind": "answer", "payload": {"hand": k.hand.pk, "hold_point": k.case.hand.hold_point}}
    Job.objects.update_or_create(
        key=answer_job_key(k), defaults=done, create_defaults=done | started | {"queued_at": now}
    )
    return found


def prepare(k: Known) -> None:
    """Begin to work out the answer before anyone asks for it, once the readings are there."""
    if k.needs_mechanics and "worked_rest_angle_deg" in k.inspection().readings:
        enqueue("answer", answer_job_key(k), {"hand": k.hand.pk, "hold_point": k.case.hand.hold_point})


def ask(hand: Hand, person: Person) -> Job | None:
    """Have the hand decided at its hold point. A job when that takes a moment; None when it is recorded."""
    k = known(hand)
    if not k.needs_mechanics:
        record(k, (worked_out(k) or keep(k, work_out(k)))["decided"], person)
        return None
    found = worked_out(k)
    if found is not None:
        record(k, found["decided"], person)
        return None
    payload = {
        "hand": hand.pk,
        "hold_point": hand.hold_point,
        "record_for": person.number,
        "count": hand.entry_count,
    }
    # Another key than the prepared one: that job only works the answer out, this one records it too.
    return enqueue("answer", f"decide-{hand.pk}-{hand.entry_count}", payload, urgency=1)


def record(k: Known, decided: dict[str, Any], person: Person) -> Added:
    """Write the decision into the record it was made from; MovedOn if that has grown since."""
    new = New(kind="decided", what=decided, client_id=f"decided-{k.hand.code}-{k.told[-1].seq}")
    added = append(k.hand, [new], person=person, if_count=k.told[-1].seq)[0]
    if added.is_new:
        after_decision(k.hand, k.told, decided, added.entry.seq)
    return added


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """The worker's part."""
    hand = Hand.objects.select_related("design").get(pk=payload["hand"])
    k = known(hand, hold_point=payload["hold_point"])
    found = worked_out(k) or work_out(k)
    number = payload.get("record_for")
    if number is not None and k.told[-1].seq == payload["count"]:
        try:
            record(k, found["decided"], Person.objects.get(number=number))
        except MovedOn:
            return {"moved_on": True}
        keep(k, found)
        return {"recorded": True}
    return found if number is None else {"moved_on": True}
