"""Writers of one process wait in line, come in as they came, and never keep the others out for good."""

from __future__ import annotations

import threading
import time

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction

from bench.hall import Hall
from handsel.bench.hands.casebook import protocol_kept, read, told_of, told_of_all
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry
from handsel.bench.looking.recording import record_batch
from handsel.bench.people.models import Person
from handsel.bench.turns.base import Line, line_of
from handsel.inspection.protocol import CANNOT_TELL
from handsel.inspection.rules import AnswerRule

WRITERS, EACH = 8, 6


def line() -> Line:
    return line_of(str(connection.settings_dict["NAME"]))


def is_free(turn: Line) -> bool:
    if not turn.join(0.01):
        return False
    turn.leave()
    return True


def test_who_came_first_goes_first() -> None:
    turn, went = Line(), []
    assert turn.join(1)

    def wait(n: int) -> None:
        assert turn.join(5)
        went.append(n)
        turn.leave()

    threads = []
    for n in range(6):
        threads.append(threading.Thread(target=wait, args=(n,)))
        threads[-1].start()
        while len(turn._waiting) <= n:
            time.sleep(0.001)
    turn.leave()
    for t in threads:
        t.join()
    assert went == list(range(6))
    assert is_free(turn)


def test_who_waits_too_long_leaves_the_line_and_it_goes_on() -> None:
    turn = Line()
    assert turn.join(1)
    assert not turn.join(0.02)
    turn.leave()
    assert is_free(turn)


def test_many_writers_at_once_all_get_in_and_nothing_is_lost(shared_hall: Hall) -> None:
    hand, failed = shared_hall.hand(), []

    def write(n: int) -> None:
        try:
            for k in range(EACH):
                append(hand, [New(kind="noted", what={"text": f"{n} {k}"})], person=shared_hall.inspector)
        except OperationalError as error:
            failed.append(error)
        finally:
            connection.close()

    before = hand.entry_count
    threads = [threading.Thread(target=write, args=(n,)) for n in range(WRITERS)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert failed == []
    entries = list(Entry.objects.filter(hand=hand).order_by("seq"))
    assert [e.seq for e in entries] == list(range(1, before + WRITERS * EACH + 1))
    for earlier, later in zip(entries, entries[1:], strict=False):
        assert later.told()["prev"] == earlier.sha256
    assert is_free(line())


def test_the_turn_ends_when_a_transaction_is_taken_back(shared_hall: Hall) -> None:
    def twice_the_number() -> None:
        with transaction.atomic():
            Person.objects.create(number=shared_hall.lead.number, joined_at=shared_hall.day.opened_at)

    with pytest.raises(IntegrityError):
        twice_the_number()
    assert is_free(line())


def test_the_turn_ends_when_the_connection_is_closed_in_the_middle(shared_hall: Hall) -> None:
    def broken_off() -> None:
        with transaction.atomic():
            connection.close()
            went.append(is_free(line()))

    went: list[bool] = []
    thread = threading.Thread(target=broken_off)
    thread.start()
    thread.join()
    assert went == [True]
    assert is_free(line())


def test_a_writer_that_waits_past_its_time_is_told_so(
    shared_hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", 0.02)
    turn = line()
    assert turn.join(1)
    try:
        with pytest.raises(OperationalError, match="locked"), transaction.atomic():
            pytest.fail("somebody else has the turn")
    finally:
        turn.leave()
    with transaction.atomic():
        assert not is_free(turn)
    assert is_free(turn)


# ---- what was read of a record stays read -----------------------------------------------------------------


def test_a_record_that_grew_is_read_on_in_one_query(hall: Hall, django_assert_num_queries: object) -> None:
    hand = hall.hand()
    first = told_of(hand)
    append(hand, [New(kind="noted", what={"text": "one more"})], person=hall.inspector)
    with django_assert_num_queries(1):  # type: ignore[operator]
        told = told_of(hand)
    assert told[:-1] == first
    assert told[-1].what == {"text": "one more"}
    assert [t.seq for t in told] == list(range(1, hand.entry_count + 1))


def test_what_was_taken_back_is_not_remembered(hall: Hall) -> None:
    hand = hall.hand()
    with transaction.atomic():
        append(hand, [New(kind="noted", what={"text": "never was"})], person=hall.inspector)
        assert told_of(hand)[-1].what == {"text": "never was"}
        transaction.set_rollback(True)
    assert [t.kind for t in told_of(hand)] == ["begun"]
    hand.refresh_from_db()
    append(hand, [New(kind="noted", what={"text": "this was"})], person=hall.inspector)
    assert [t.what.get("text") for t in told_of(hand)] == [None, "this was"]


def test_records_of_several_hands_are_read_together_as_each_by_itself(
    hall: Hall, django_assert_num_queries: object
) -> None:
    grown, same, new = (hall.hand(code=f"R-{n:03d}") for n in (1, 2, 3))
    told_of(grown), told_of(same)
    append(grown, [New(kind="noted", what={"text": "one more"})], person=hall.inspector)
    with django_assert_num_queries(1):  # type: ignore[operator]
        together = told_of_all([grown.pk, same.pk, new.pk])
    for hand in (grown, same, new):
        assert together[hand.pk] == read(Entry.objects.filter(hand=hand).order_by("seq"))
    assert together[grown.pk][-1].what == {"text": "one more"}
    assert told_of_all([]) == {}


def test_answers_are_held_against_what_was_stored_while_they_waited_for_their_turn(
    shared_hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    hand, other = shared_hall.hand(), shared_hall.lead
    c = next(c for c in protocol_kept(hand.protocol_id).characteristics if c.hold_point == "parts")
    assert isinstance(c.rule, AnswerRule)
    good, bad = (
        c.rule.accepted[0],
        next(a for a in c.rule.answers if a not in (*c.rule.accepted, CANNOT_TELL)),
    )
    place = protocol_kept(hand.protocol_id).places(c.per)[0]
    what = {"of": c.id, "place": place, "answer": bad, "protocol": hand.protocol_id, "from": "screen"}
    wait = Line.join

    def somebody_is_quicker(turn: Line, timeout_s: float) -> bool:
        monkeypatch.setattr(Line, "join", wait)
        append(hand_again, [New(kind="observed", what=what)], person=other)
        return wait(turn, timeout_s)

    hand_again = type(hand).objects.get(pk=hand.pk)
    monkeypatch.setattr(Line, "join", somebody_is_quicker)
    sent = {
        "kind": "observed", "client_id": "0" * 32, "by": shared_hall.inspector.number, "of": c.id, "place": place,
        "answer": good, "protocol": hand.protocol_id, "seen_count": hand.entry_count,
    }  # fmt: skip
    reply = record_batch(hand, [sent], shared_hall.inspector).as_data()
    assert reply["count"] == hand_again.entry_count + 1
    assert [(r["state"], r["seq"]) for r in reply["results"]] == [("stored", hand_again.entry_count + 1)]
    assert [d["shown"] for d in reply["results"][0]["differs"]] == [bad]
