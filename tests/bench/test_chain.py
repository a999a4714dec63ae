"""The record of a hand: one chain, added to and never changed."""

from __future__ import annotations

import json
from hashlib import sha256

import pytest
from django.db import DatabaseError, transaction

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import ClientIdTaken, Closed, MovedOn, New, append
from handsel.bench.hands.models import Entry, Standing


def test_each_entry_carries_the_fingerprint_of_the_one_before(hall: Hall) -> None:
    hand = hall.hand()
    append(
        hand,
        [New(kind="noted", what={"text": "one"}), New(kind="noted", what={"text": "two"})],
        person=hall.lead,
    )
    before = ""
    entries = list(Entry.objects.filter(hand=hand))
    for n, entry in enumerate(entries, start=1):
        told = json.loads(bytes(entry.record))
        assert (told["seq"], told["prev"], told["hand"]) == (n, before, hand.code)
        assert sha256(bytes(entry.record)).hexdigest() == entry.sha256
        before = entry.sha256
    assert (hand.entry_count, hand.head_sha256) == (len(entries), before)


def test_sent_twice_is_stored_once(hall: Hall) -> None:
    hand = hall.hand()
    new = New(kind="noted", what={"text": "sticks"}, client_id="a" * 32)
    first = append(hand, [new], person=hall.builder)[0]
    again = append(hand, [new], person=hall.builder)[0]
    assert (first.is_new, again.is_new) == (True, False)
    assert first.entry.pk == again.entry.pk
    assert Entry.objects.filter(client_id="a" * 32).count() == 1


def test_the_same_id_with_other_content_is_refused_and_nothing_else_stored(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="noted", what={"text": "sticks"}, client_id="a" * 32)], person=hall.builder)
    count = hand.entry_count
    with pytest.raises(ClientIdTaken) as refused:
        append(
            hand,
            [
                New(kind="noted", what={"text": "new"}),
                New(kind="noted", what={"text": "runs"}, client_id="a" * 32),
            ],
            person=hall.builder,
        )
    assert refused.value.stored.what == {"text": "sticks"}
    assert refused.value.given["what"] == {"text": "runs"}
    assert Entry.objects.filter(hand=hand).count() == count


@pytest.mark.parametrize("change", ["update", "delete"])
def test_the_database_refuses_to_change_an_entry(hall: Hall, change: str) -> None:
    hand = hall.hand()
    entries = Entry.objects.filter(hand=hand)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        entries.update(kind="noted") if change == "update" else entries.delete()
    assert Entry.objects.filter(hand=hand, kind="begun").count() == 1


def test_a_decision_on_a_record_that_has_grown_is_refused(hall: Hall) -> None:
    hand = hall.hand()
    count = hand.entry_count
    append(hand, [New(kind="noted", what={"text": "later"})], person=hall.builder)
    with pytest.raises(MovedOn):
        append(hand, [New(kind="noted", what={"text": "late"})], person=hall.lead, if_count=count)


def test_looking_at_a_hand_moves_its_standing_and_says_who_has_it(hall: Hall) -> None:
    hand = hall.hand()
    assert hand.standing == Standing.BUILDING
    append(hand, good_entries(hand, "parts")[:3], person=hall.inspector)
    hand.refresh_from_db()
    assert (hand.standing, hand.held_by) == (Standing.LOOKING, hall.inspector)


def test_nothing_is_added_to_a_scrapped_hand_but_a_note(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cuff cracked twice"})], person=hall.lead)
    with pytest.raises(Closed):
        append(hand, good_entries(hand, "parts")[:1], person=hall.inspector)
    append(hand, [New(kind="noted", what={"text": "kept for teaching"})], person=hall.lead)
    assert hand.standing == Standing.SCRAPPED
