"""A rework card on the phone: exact steps, ticks, done, cannot, not needed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import ask
from handsel.bench.work.cards import Card
from handsel.bench.work.services import order_cards, report_card

ONCE = "0123456789abcdef0123456789abcdef"


def with_cards(hall: Hall, **wrong: str) -> tuple[Hand, tuple[Card, ...]]:
    hand = hall.hand()
    hall.answer_all(hand, "parts", **wrong)
    ask(hand, hall.inspector)
    cards = order_cards(hand, person=hall.inspector, client_id="c" * 32)
    return hand, cards


def url(hand: Hand, card: Card, path: str = "") -> str:
    return f"/h/{hand.code}/cards/{card.seq}/{path}"


def done(hall: Hall, hand: Hand, card: Card, who: str = "builder", **data: Any) -> Any:
    every = {"client_id": ONCE, "ticked": [str(n) for n in range(len(card.what["steps"]))]}
    return hall.client(getattr(hall, who)).post(url(hand, card, "done/"), every | data)


def test_the_cards_are_written_at_the_press_of_a_button_and_twice_is_once(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no", holes_clear="no")
    ask(hand, hall.inspector)
    client = hall.client(hall.builder)
    assert "Write the rework cards" in client.get(f"/h/{hand.code}/build/").content.decode()
    for _ in range(2):
        assert (
            client.post(f"/h/{hand.code}/order/", {"client_id": ONCE})["Location"] == f"/h/{hand.code}/build/"
        )
    assert Entry.objects.filter(hand=hand, kind="ordered").count() == 2


def test_a_single_card_is_opened_at_once(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hand, hall.inspector)
    response = hall.client(hall.inspector).post(f"/h/{hand.code}/order/", {"client_id": ONCE})
    seq = Entry.objects.get(hand=hand, kind="ordered").seq
    assert response["Location"] == f"/h/{hand.code}/cards/{seq}/"


def test_a_card_shows_found_steps_cautions_and_what_is_looked_at_again(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, no_sharp_edges="no")
    text = hall.client(hall.builder).get(url(hand, card)).content.decode()
    for words in (
        "No edge or corner scratches: no",
        "Scrape and sand",
        "cut away from yourself",
        "Looked at again",
        "6 min",
    ):
        assert words in text


def test_what_cannot_be_taken_back_is_marked(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", no_pores="no")
    ask(hand, hall.inspector)
    (card,) = order_cards(hand, person=hall.lead, client_id="c" * 32)
    assert "This cannot be taken back" in hall.client(hall.builder).get(url(hand, card)).content.decode()
    refused = hall.client(hall.builder).post(f"/h/{hand.code}/order/", {"client_id": ONCE})
    assert refused.status_code == 409


def test_a_step_without_a_tick_is_asked_about_and_can_be_overruled_with_a_note(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    asked = done(hall, hand, card, ticked=[])
    assert asked.status_code == 200
    assert "1 step without a tick" in asked.content.decode()
    hand.refresh_from_db()
    assert hand.standing == Standing.TO_PUT_RIGHT
    assert done(hall, hand, card, ticked=[], anyway="yes", note="from the other box").status_code == 303
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED
    note = Entry.objects.get(hand=hand, kind="noted")
    assert note.what["text"] == "from the other box"


def test_reported_twice_it_counts_once(hall: Hall) -> None:
    hand, (card, _) = with_cards(hall, kit_complete="no", holes_clear="no")
    for _ in range(2):
        assert done(hall, hand, card).status_code == 303
    assert Entry.objects.filter(hand=hand, kind="did").count() == 1
    other = done(hall, hand, card, client_id=ONCE[::-1])
    assert other.status_code == 409
    assert f"was done by {hall.builder.called}" in other.content.decode()


def test_the_places_where_it_was_done_are_all_that_is_looked_at_again(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, holes_clear="no")
    assert 'name="places"' in hall.client(hall.builder).get(url(hand, card)).content.decode()
    assert done(hall, hand, card, places=["ring", "thumb", "elbow"]).status_code == 303
    entries = [e.what for e in Entry.objects.filter(hand=hand, kind="did")]
    assert [w["place"] for w in entries] == ["ring", "thumb"]
    assert [w["closes_card"] for w in entries] == [None, card.seq]


def test_a_card_given_back_says_why_and_goes_to_be_looked_at(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    client = hall.client(hall.builder)
    for _ in range(2):
        assert (
            client.post(url(hand, card, "cannot/"), {"client_id": ONCE, "why": "no pins left"}).status_code
            == 303
        )
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED
    assert "cannot be done: no pins left" in client.get(url(hand, card)).content.decode()
    assert client.post(url(hand, card, "cannot/"), {"client_id": ONCE[::-1]}).status_code == 400


def test_an_inspector_takes_a_card_back_that_is_not_needed(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    data = {"client_id": ONCE, "why": "it lay under the sheet"}
    assert hall.client(hall.builder).post(url(hand, card, "drop/"), data).status_code == 403
    assert hall.client(hall.inspector).post(url(hand, card, "drop/"), data).status_code == 303
    assert (
        "is not needed: it lay under the sheet"
        in hall.client(hall.inspector).get(url(hand, card)).content.decode()
    )


def test_what_is_for_a_professional_is_reported_by_the_lead_alone_with_a_note(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    hand = hall.hand(at="fitting")
    append(hand, good_entries(hand, "fitting", skin_sound_before="no"), person=hall.inspector)
    ask(hand, hall.inspector)
    no_workers()
    hand.refresh_from_db()
    assert hand.standing == Standing.TO_PUT_RIGHT, hand.sentence
    (card,) = order_cards(hand, person=hall.inspector, client_id="c" * 32)
    assert card.what["refer"]
    assert "Stop: not for the bench" in hall.client(hall.fitter).get(url(hand, card)).content.decode()
    assert done(hall, hand, card, who="fitter").status_code == 409
    assert done(hall, hand, card, who="lead").status_code == 409, "not without a note"
    assert done(hall, hand, card, who="lead", note="seen by a professional: healed").status_code == 303


@pytest.mark.parametrize("path", ["done/", "cannot/"])
def test_cards_are_done_by_builders_and_fitters_only(hall: Hall, path: str) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    assert (
        hall.client(hall.inspector).post(url(hand, card, path), {"client_id": ONCE, "why": "x"}).status_code
        == 403
    )
    assert hall.client().post(url(hand, card, path), {"client_id": ONCE}).status_code == 302
    assert hall.client(hall.builder).get(url(hand, card, path)).status_code == 405
    assert hall.client(hall.builder).post(url(hand, card, path), {}).status_code == 400


def test_no_such_card(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    client = hall.client(hall.builder)
    for seq in (1, card.seq + 50, 10**30):
        assert client.get(f"/h/{hand.code}/cards/{seq}/").status_code == 404
    other = hall.hand(code="R-020")
    assert client.get(f"/h/{other.code}/cards/{card.seq}/").status_code == 404


def test_two_builders_with_the_last_two_cards_leave_none_behind(shared_hall: Hall) -> None:
    hall = shared_hall
    hand, cards = with_cards(hall, kit_complete="no", holes_clear="no", pin_ends_whole="no")
    start = threading.Barrier(len(cards))

    def report(card: Card) -> None:
        try:
            start.wait(10)
            mine = Hand.objects.get(pk=hand.pk)
            report_card(mine, card.seq, person=hall.builder, client_id=f"{card.seq:032d}")
        finally:
            connection.close()

    with ThreadPoolExecutor(len(cards)) as pool:
        for outcome in [pool.submit(report, card) for card in cards]:
            outcome.result(30)
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED
    left = sorted(e.what["cards_left"] for e in Entry.objects.filter(hand=hand, kind="did"))
    assert left == [0, 1, 2]


def test_an_answer_that_is_no_longer_kept_is_worked_out_again_before_cards_are_written(
    hall: Hall, no_workers: Callable[[], None]
) -> None:
    from handsel.bench.jobs.models import Job

    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    ask(hand, hall.inspector)
    no_workers()
    Job.objects.all().delete()
    client = hall.client(hall.builder)
    waiting = client.post(f"/h/{hand.code}/order/", {"client_id": ONCE})
    assert waiting.status_code == 409
    assert "worked out again" in waiting.content.decode()
    no_workers()
    assert client.post(f"/h/{hand.code}/order/", {"client_id": ONCE}).status_code == 303


def test_words_of_a_card_are_never_markup(hall: Hall) -> None:
    hand, (card,) = with_cards(hall, kit_complete="no")
    append(
        hand, [New(kind="withdrawn", what={"seq": card.seq, "reason": "<b>bold</b>"})], person=hall.inspector
    )
    assert "<b>bold" not in hall.client(hall.builder).get(url(hand, card)).content.decode()
