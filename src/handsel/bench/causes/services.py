"""What is written down while the cause of a hand's trouble is looked for."""

from __future__ import annotations

from typing import Any

from handsel.bench.causes.asking import Question
from handsel.bench.causes.wishes import want_hand_plan
from handsel.bench.hands.casebook import FOR_CAUSES, Told, out_of_force, protocol_kept, told_of
from handsel.bench.hands.chain import Added, ClientIdTaken, New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.services import keep_catalogue
from handsel.bench.people.models import Person
from handsel.errors import HandselError

ANSWER = ("of", "place", "answer", "value", "unit", "from")


class NotYours(HandselError):
    """Only who gave an answer, or the lead, takes it back."""

    status = 403


class NotThere(HandselError):
    """No such answer."""

    status = 404


def answer_look(
    hand: Hand, q: Question, given: dict[str, object], *, person: Person, client_id: str
) -> Added:
    """Keep one answer: an observation that no inspection counts. Sent twice, it is stored once.

    What the same person said of it before is corrected by it.
    """
    protocol = protocol_kept(hand.protocol_id)
    catalogue = keep_catalogue(protocol)
    what: dict[str, Any] = {
        "of": q.of,
        "place": q.place,
        "protocol": hand.protocol_id,
        "catalogue": catalogue.pk if catalogue is not None else "",
        "from": FOR_CAUSES,
        **given,
    }
    stored = Entry.objects.filter(client_id=client_id).select_related("hand").first()
    if stored is not None:
        kept = stored.what
        if stored.hand_id == hand.pk and all(kept.get(k) == what.get(k) for k in ANSWER):
            return Added(entry=stored, is_new=False)
        raise ClientIdTaken(stored, {"kind": "observed", "what": what})
    mine = [t.seq for t in _standing(told_of(hand), q.of, q.place) if t.by["number"] == person.number]
    if mine:
        what["corrects"] = mine[-1]
    added = append(hand, [New(kind="observed", what=what, client_id=client_id)], person=person)[0]
    want_hand_plan(hand)
    return added


def _standing(told: tuple[Told, ...], of: str, place: str) -> list[Told]:
    gone = out_of_force(told)
    return [
        t
        for t in told
        if t.kind == "observed"
        and t.is_for_causes
        and t.seq not in gone
        and (t.what["of"], t.what.get("place", "")) == (of, place)
    ]


def take_back(hand: Hand, seq: int, *, person: Person, client_id: str) -> None:
    """An answer that was wrong. Only its own person or the lead; sent twice, it is taken back once."""
    if Entry.objects.filter(client_id=client_id, hand=hand).exists():
        return
    told = told_of(hand)
    answer = next((t for t in told if t.seq == seq and t.kind == "observed" and t.is_for_causes), None)
    if answer is None:
        raise NotThere(
            "there is no such answer", where=hand.shown_code, do="Load the page again: somebody was quicker."
        )
    if seq in out_of_force(told):
        return
    if not person.is_lead and answer.by["number"] != person.number:
        raise NotYours(
            f"this was answered by {answer.by['called']}",
            where=hand.shown_code,
            do="Ask that person, or the lead.",
        )
    what = {"seq": seq, "reason": "answered wrong", "from": FOR_CAUSES}
    append(hand, [New(kind="withdrawn", what=what, client_id=client_id)], person=person)
