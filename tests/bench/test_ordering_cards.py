"""Rework cards: made from the answer, in order, merged, and never guessed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bench.hall import Hall, good_entries
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import ask
from handsel.bench.work.cards import Card
from handsel.bench.work.services import NotNow, ask_inspection, cannot, order_cards, report_card

Workers = Callable[[], None]


def refused(hall: Hall, no_workers: Workers, at: str, **different: Any) -> Hand:
    """A hand that was looked at and does not conform."""
    hand = hall.hand(at=at)
    places = {k: v for k, v in different.items() if isinstance(v, dict)}
    plain = {k: v for k, v in different.items() if k not in places}
    by_place = {(of.replace("_", "-"), p): a for of, per in places.items() for p, a in per.items()}
    news = []
    for n in good_entries(hand, at, **plain):
        answer = by_place.get((n.what["of"], n.what["place"]))
        news.append(n if answer is None else New(kind="observed", what=n.what | {"answer": answer}))
    append(hand, news, person=hall.inspector)
    ask(hand, hall.inspector)
    no_workers()
    hand.refresh_from_db()
    return hand


def ordered(hall: Hall, hand: Hand, client_id: str = "c" * 32) -> tuple[Card, ...]:
    return order_cards(hand, person=hall.inspector, client_id=client_id)


def test_the_exact_move_of_the_slides_is_one_card_that_names_both(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    cards = ordered(hall, hand)
    assert len(cards) == 1
    what = cards[0].what
    decided = Entry.objects.filter(hand=hand, kind="decided").last()
    assert decided is not None
    assert what["sentence"].rstrip(".") in decided.what["sentence"]
    assert {r for r, _ in cards[0].reworks} & {
        "turn-screws-in",
        "restring-all",
        "restring-loop",
        "move-thumb-pin",
    }
    assert "worked-rest-angle" in {r["id"] for r in what["recheck"]}
    assert "knots-sealed" not in {r["id"] for r in what["recheck"]}, "the hand has not come that far"
    hand.refresh_from_db()
    assert hand.standing == Standing.TO_PUT_RIGHT


def test_the_same_rework_at_several_digits_is_one_card_with_a_step_for_each(
    hall: Hall, no_workers: Workers
) -> None:
    hand = refused(hall, no_workers, "dry-fit", knuckle_hinges_free={"index": "no", "ring": "no"})
    (card,) = ordered(hall, hand)
    assert card.reworks == (("ease-hinge", "index"), ("ease-hinge", "ring"))
    assert [s.split(":")[0] for s in card.what["steps"]] == ["Index", "Ring"]
    assert {b["place"] for b in card.what["because"]} == {"index", "ring"}
    assert {r["place"] for r in card.what["recheck"] if r["id"] == "knuckle-hinges-free"} == {"index", "ring"}


def test_what_would_undo_other_work_comes_first(hall: Hall, no_workers: Workers) -> None:
    hand = refused(
        hall,
        no_workers,
        "dry-fit",
        knuckle_hinges_free={"index": "no"},
        thumb_tip_on_thumb="no",
        pins_flush="no",
    )
    cards = ordered(hall, hand)
    assert cards[0].what["rework"] == "swap-parts"
    assert {c.what["rework"] for c in cards} == {"swap-parts", "ease-hinge", "reseat-pin"}


def test_the_slides_get_no_card_while_a_part_hinders_the_movement(hall: Hall, no_workers: Workers) -> None:
    hand = refused(
        hall,
        no_workers,
        "strung",
        worked_rest_angle=27.0,
        lowered_rest_angle=27.5,
        elastics_there={"ring": "no"},
    )
    assert [c.what["rework"] for c in ordered(hall, hand)] == ["replace-elastic"]


def test_sent_twice_the_cards_are_written_once(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no", holes_clear="no")
    first = ordered(hall, hand)
    again = ordered(hall, hand)
    assert [c.seq for c in first] == [c.seq for c in again]
    assert Entry.objects.filter(hand=hand, kind="ordered").count() == 2
    by_another = ordered(hall, hand, "d" * 32)
    assert [c.seq for c in by_another] == [c.seq for c in first]


def test_what_throws_a_part_away_is_for_the_lead(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", no_pores="no")
    assert hand.standing == Standing.FOR_LEAD
    with pytest.raises(NotNow, match="for the lead to decide"):
        ordered(hall, hand)
    (card,) = order_cards(hand, person=hall.lead, client_id="e" * 32)
    assert card.what["scraps_part"]
    assert card.what["irreversible"]
    assert hand.standing == Standing.TO_PUT_RIGHT


def test_when_the_last_card_is_done_the_hand_waits_and_what_was_undone_is_due_again(
    hall: Hall, no_workers: Workers
) -> None:
    hand = refused(hall, no_workers, "dry-fit", knuckle_hinges_free={"index": "no"}, block_home="no")
    one, two = ordered(hall, hand)
    report_card(hand, one.seq, person=hall.builder, client_id="1" * 32)
    assert hand.standing == Standing.TO_PUT_RIGHT
    report_card(hand, two.seq, person=hall.builder, client_id="2" * 32)
    assert hand.standing == Standing.ASKED
    last = Entry.objects.filter(hand=hand, kind="did").last()
    assert last is not None
    assert last.what["cards_left"] == 0
    ask(hand, hall.inspector)
    hand.refresh_from_db()
    assert hand.hold_point == "dry-fit"
    assert "Not decided yet" in hand.sentence


def test_a_card_reported_twice_counts_once_and_a_second_report_says_who_did_it(
    hall: Hall, no_workers: Workers
) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no")
    (card,) = ordered(hall, hand)
    report_card(hand, card.seq, person=hall.builder, client_id="1" * 32)
    report_card(hand, card.seq, person=hall.builder, client_id="1" * 32)
    assert Entry.objects.filter(hand=hand, kind="did").count() == 1
    with pytest.raises(NotNow, match=f"was done by {hall.builder.called}"):
        report_card(hand, card.seq, person=hall.lead, client_id="3" * 32)


def test_a_card_that_cannot_be_done_goes_back_with_its_reason(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no")
    (card,) = ordered(hall, hand)
    with pytest.raises(NotNow, match="reason is missing"):
        cannot(hand, card.seq, person=hall.builder, client_id="1" * 32, why="  ")
    cannot(hand, card.seq, person=hall.builder, client_id="1" * 32, why="no pins left")
    cannot(hand, card.seq, person=hall.builder, client_id="1" * 32, why="no pins left")
    assert hand.standing == Standing.ASKED
    assert Entry.objects.filter(hand=hand, kind="noted").count() == 1


def test_asking_for_a_look_is_refused_while_a_card_is_open(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no")
    (card,) = ordered(hall, hand)
    with pytest.raises(NotNow, match="still open"):
        ask_inspection(hand, person=hall.builder, client_id="1" * 32)
    report_card(hand, card.seq, person=hall.builder, client_id="2" * 32)
    assert ask_inspection(hand, person=hall.builder, client_id="1" * 32).is_new


def test_cards_of_an_older_answer_are_taken_back_by_a_newer_one(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no", holes_clear="no")
    assert {c.what["rework"] for c in ordered(hall, hand)} == {"complete-kit", "clear-channel"}
    found = next(n for n in good_entries(hand, "parts") if n.what["of"] == "holes-clear")
    seq = next(
        e.seq for e in Entry.objects.filter(hand=hand, kind="observed") if e.what["of"] == "holes-clear"
    )
    append(hand, [New(kind="observed", what=found.what | {"corrects": seq})], person=hall.inspector)
    ask(hand, hall.inspector)
    left = ordered(hall, hand, "f" * 32)
    assert [c.what["rework"] for c in left] == ["complete-kit"]


def test_no_cards_for_a_hand_that_has_nothing_to_put_right(hall: Hall) -> None:
    hand = hall.hand()
    with pytest.raises(NotNow, match="nothing to put right"):
        ordered(hall, hand)


def test_no_cards_from_a_decision_that_the_record_has_outgrown(hall: Hall, no_workers: Workers) -> None:
    hand = refused(hall, no_workers, "parts", kit_complete="no")
    did = {"what": "deburr", "place": "", "at": "parts", "is_rework": True}
    append(hand, [New(kind="did", what=did)], person=hall.builder)
    with pytest.raises(NotNow, match="has grown"):
        ordered(hall, hand)
