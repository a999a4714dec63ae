"""What builders write into a hand's record, and the cards that tell them what to put right."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from handsel.bench.days.models import Lot
from handsel.bench.hands.casebook import Told, design_kept, protocol_kept, told_of
from handsel.bench.hands.chain import Added, MovedOn, New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.jobs.services import enqueue
from handsel.bench.looking.answering import Known, answer_job_key, known, work_out, worked_out
from handsel.bench.people.models import Person
from handsel.bench.work.cards import Card, cards_of, open_cards
from handsel.bench.work.planning import body, plan
from handsel.errors import HandselError
from handsel.inspection.protocol import HAND, Protocol

MOST_TRIES = 8  # two people at one hand: what was decided on a shorter record is decided again


class NotNow(HandselError):
    """Asked for at a moment when it makes no sense; the way on is said."""

    status = 409


# ---- rework cards ------------------------------------------------------------------------------------


def order_cards(hand: Hand, *, person: Person, client_id: str) -> tuple[Card, ...]:
    """Write the rework cards that the last answer calls for. Sent twice, they are written once.

    Cards of an earlier answer that this one no longer asks for are taken back. What throws a part away
    is ordered by the lead only.
    """
    k = known(hand)
    if Entry.objects.filter(hand=hand, kind="ordered", client_id__startswith=f"{client_id}-").exists():
        return open_cards(k.told)
    _must_be_refused(k)
    found = worked_out(k)
    if found is None:
        if k.needs_mechanics:
            enqueue(
                "answer",
                answer_job_key(k),
                {"hand": hand.pk, "hold_point": k.case.hand.hold_point},
                urgency=1,
            )
            raise NotNow(
                "the answer is being worked out again",
                where=hand.shown_code,
                do="Wait a few seconds, then press it once more.",
            )
        found = work_out(k)
    i = k.inspection()
    bodies = [body(p, i) for p in plan(i, found["assessment"]["fix"], design_kept(hand.design_id))]
    _scrap_is_for_the_lead(hand, bodies, person)
    if not bodies:
        raise NotNow(
            f"there is nothing to do by a card yet. {found['assessment']['sentence']}",
            where=hand.shown_code,
            do="Let an inspector look at it once more.",
        )
    standing_cards = open_cards(k.told)
    kept = [c for c in standing_cards if c.what in bodies]
    news = [
        New(
            kind="withdrawn",
            what={"seq": c.seq, "reason": "a later answer asks for something else"},
            client_id=f"{client_id}-back-{c.seq}",
        )
        for c in standing_cards
        if c not in kept
    ]
    still = [c.what for c in kept]
    news += [
        New(kind="ordered", what=b, client_id=f"{client_id}-{n}")
        for n, b in enumerate(bodies)
        if b not in still
    ]
    if news:
        append(hand, news, person=person, if_count=k.told[-1].seq)
    return open_cards(told_of(hand))


def _must_be_refused(k: Known) -> None:
    """Cards rest on a decision, and on the very record that it was made from."""
    if k.hand.standing not in (Standing.TO_PUT_RIGHT, Standing.FOR_LEAD):
        raise NotNow(
            f"this hand is {Standing(k.hand.standing).label}: there is nothing to put right",
            where=k.hand.shown_code,
            do="Look at its traveller for what comes next.",
        )
    decided = next((t for t in reversed(k.told) if t.kind == "decided"), None)
    if decided is None or decided.what.get("case_key") != k.key:
        raise NotNow(
            "its record has grown since the last decision",
            where=k.hand.shown_code,
            do="Do the open cards, or ask for it to be looked at again.",
        )


def _scrap_is_for_the_lead(hand: Hand, bodies: Iterable[dict[str, Any]], person: Person) -> None:
    thrown = next((b for b in bodies if b["scraps_part"]), None)
    if thrown is not None and not person.is_lead:
        raise NotNow(
            f"a part would have to be thrown away: {thrown['title']}",
            where=hand.shown_code,
            do="That is for the lead to decide: show it, and wait with the rest.",
        )


def report_card(
    hand: Hand, seq: int, *, person: Person, client_id: str, places: tuple[str, ...] = (), note: str = ""
) -> None:
    """A card was done. The last one sends the hand to be looked at again. Sent twice, it counts once."""
    for attempt in range(MOST_TRIES):
        told = told_of(hand)
        if _sent_before(hand, f"{client_id}-0"):
            return
        card = card_of(hand, told, seq)
        must_be_open(hand, card)
        if card.what.get("refer") and not (person.is_lead and note.strip()):
            raise NotNow(
                "this one is for a licensed professional, not for the bench",
                where=f"card {card.number} of {hand.shown_code}",
                do="Only the lead reports it done, with a note of what the professional said.",
            )
        left = sum(c.is_open for c in cards_of(told)) - 1
        news = _did_entries(hand, card, places, left, client_id)
        if note.strip():
            news.insert(
                0, New(kind="noted", what={"text": note.strip(), "photo": ""}, client_id=f"{client_id}-note")
            )
        try:
            append(hand, news, person=person, if_count=told[-1].seq)
        except MovedOn:
            if attempt == MOST_TRIES - 1:
                raise
            continue
        return


def _did_entries(hand: Hand, card: Card, places: tuple[str, ...], left: int, client_id: str) -> list[New]:
    done = _where_done(card, places, protocol_kept(hand.protocol_id))
    return [
        New(
            kind="did",
            what={
                "what": rework,
                "place": place,
                "at": hand.hold_point,
                "is_rework": True,
                "closes_card": card.seq if n == len(done) - 1 else None,
                "cards_left": left,
            },
            client_id=f"{client_id}-{n}",
        )
        for n, (rework, place) in enumerate(done)
    ]


def _where_done(card: Card, places: tuple[str, ...], protocol: Protocol) -> list[tuple[str, str]]:
    """The card's reworks where they were really done: a card for the whole hand may name its digits."""
    done: list[tuple[str, str]] = []
    for rework, place in card.reworks:
        known_places = places_of(rework, protocol)
        chosen = [p for p in known_places if p in places] if place == HAND else [place]
        done += [(rework, p) for p in chosen or [HAND]]
    return list(dict.fromkeys(done))


def places_of(rework: str, protocol: Protocol) -> tuple[str, ...]:
    """Where a rework can be done one by one; none for what concerns the whole hand."""
    found = protocol.rework(rework)
    return () if found is None or found.per == "hand" else protocol.places(found.per)


def cannot(hand: Hand, seq: int, *, person: Person, client_id: str, why: str, needed: bool = True) -> None:
    """A card cannot be done, or is not needed: it is taken back with the reason, and the hand decided again."""
    why = " ".join(why.split())
    if not why:
        raise NotNow("the reason is missing", where="the card", do="Say it in a few words.")
    if _sent_before(hand, f"{client_id}-back"):
        return
    card = card_of(hand, told_of(hand), seq)
    must_be_open(hand, card)
    ended = "cannot be done" if needed else "is not needed"
    news = [
        New(
            kind="noted",
            what={"text": f"Card {card.number} ({card.title}) {ended}: {why}", "photo": ""},
            client_id=f"{client_id}-note",
        ),
        New(
            kind="withdrawn",
            what={"seq": seq, "reason": f"{ended}: {why}"},
            client_id=f"{client_id}-back",
        ),
    ]
    append(hand, news, person=person)


def card_of(hand: Hand, told: tuple[Told, ...], seq: int) -> Card:
    """One card of a hand."""
    card = next((c for c in cards_of(told) if c.seq == seq), None)
    if card is None:
        raise NotThere(
            f"there is no rework card {seq}",
            where=hand.shown_code,
            do="Open the hand's own page and take a card from there.",
        )
    return card


class NotThere(HandselError):
    """Nothing of this name."""

    status = 404


def must_be_open(hand: Hand, card: Card) -> None:
    """Refuses a card that is finished with, saying how it ended."""
    if card.is_open:
        return
    ended = f"was done by {card.done_by}" if card.done_by else f"was taken back: {card.taken_back}"
    raise NotNow(
        f"this card {ended}",
        where=f"card {card.number} of {hand.shown_code}",
        do="Look at what is left to do.",
    )


# ---- building ----------------------------------------------------------------------------------------


def report_step(hand: Hand, step: str, *, person: Person, client_id: str, place: str = HAND) -> Added:
    """A build step or a rework without a card was done. Out of its turn it is recorded all the same."""
    protocol = protocol_kept(hand.protocol_id)
    rework = protocol.rework(step)
    if rework is None and protocol.step(step) is None:
        raise NotThere(
            "there is no such step", where=hand.shown_code, do="Choose one from the builder's page."
        )
    if place and place not in places_of(step, protocol):
        raise NotNow("it cannot be done there", where=hand.shown_code, do="Choose one of the places shown.")
    if rework is not None and rework.refer and not person.is_lead:
        raise NotNow("this one is for a licensed professional", where=hand.shown_code, do="Tell the lead.")
    what = {
        "what": step,
        "place": place,
        "at": hand.hold_point,
        "is_rework": rework is not None,
        "closes_card": None,
        "cards_left": 0,
    }
    return append(hand, [New(kind="did", what=what, client_id=client_id)], person=person)[0]


def self_check(hand: Hand, ids: Iterable[str], *, person: Person, client_id: str) -> int:
    """A builder's own look at what the inspector will look at. Shown, never counted as an inspection."""
    protocol = protocol_kept(hand.protocol_id)
    wanted = set(ids)
    news = [
        New(
            kind="self-checked",
            what={"of": c.id, "place": HAND, "answer": "as it should be"},
            client_id=f"{client_id}-{n}",
        )
        for n, c in enumerate(protocol.characteristics)
        if c.id in wanted and c.hold_point == hand.hold_point
    ]
    if news:
        append(hand, news, person=person)
    return len(news)


def ask_inspection(hand: Hand, *, person: Person, client_id: str) -> Added:
    """The builder has done: somebody else looks at it now."""
    if not _sent_before(hand, client_id):
        waiting = open_cards(told_of(hand))
        if waiting:
            raise NotNow(
                f"{len(waiting)} rework {'card is' if len(waiting) == 1 else 'cards are'} still open",
                where=hand.shown_code,
                do="Report it done, or say on the card why it cannot be done.",
            )
    what = {"hold_point": hand.hold_point}
    stored = Entry.objects.filter(client_id=client_id, hand=hand, kind="asked").first()
    if stored is not None:
        what = stored.what
    return append(hand, [New(kind="asked", what=what, client_id=client_id)], person=person)[0]


def take(hand: Hand, to: str, *, person: Person, client_id: str) -> Added:
    """Somebody has the hand now."""
    return append(hand, [New(kind="taken", what={"to": to}, client_id=client_id)], person=person)[0]


def put_down(hand: Hand, *, person: Person, client_id: str) -> Added:
    """Nobody has it any more."""
    return append(hand, [New(kind="put-down", what={}, client_id=client_id)], person=person)[0]


def note(hand: Hand, text: str, *, person: Person, client_id: str, photo: str = "") -> Added:
    """A few words, with a photo or without."""
    what = {"text": " ".join(text.split()), "photo": photo}
    return append(hand, [New(kind="noted", what=what, client_id=client_id)], person=person)[0]


def use_lot(hand: Hand, lot: Lot, *, person: Person, client_id: str) -> Added:
    """This hand is made from that spool, bag or box."""
    what = {"lot": lot.pk, "kind": lot.kind, "name": lot.name}
    return append(hand, [New(kind="lot-used", what=what, client_id=client_id)], person=person)[0]


def _sent_before(hand: Hand, client_id: str) -> bool:
    return Entry.objects.filter(client_id=client_id, hand=hand).exists()
