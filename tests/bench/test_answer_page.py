"""The answer: asked for once, said in one sentence, with one thing to do."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from html import unescape

import pytest
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.jobs.models import Job
from handsel.bench.people.models import Person

Run = Callable[[], None]


def ask(hall: Hall, hand: Hand, person: Person | None = None, **form: str) -> None:
    reply = hall.client(person or hall.inspector).post(
        f"/h/{hand.code}/ask/", {"hold_point": hand.hold_point} | form
    )
    assert reply.status_code == 303
    assert reply["Location"] == f"/h/{hand.code}/answer/"


def answer(hall: Hall, hand: Hand, person: Person | None = None) -> str:
    reply = hall.client(person or hall.inspector).get(f"/h/{hand.code}/answer/")
    assert reply.status_code == 200
    return reply.content.decode()


def decisions(hand: Hand) -> int:
    return Entry.objects.filter(hand=hand, kind="decided").count()


def test_a_hand_in_good_order_goes_back_to_its_builder(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts")
    ask(hall, hand)
    html = answer(hall, hand)
    assert '<h1 class="word">Good</h1>' in html
    assert "Pass it back to its builder" in html
    assert "Dry fit" in html
    hand.refresh_from_db()
    assert (hand.standing, hand.hold_point) == (Standing.BUILDING, "dry-fit")


def test_pressed_twice_it_is_decided_once_and_the_next_hold_point_is_left_alone(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts")
    client = hall.client(hall.inspector)
    for _ in range(3):
        assert client.post(f"/h/{hand.code}/ask/", {"hold_point": "parts"}).status_code == 303
    hand.refresh_from_db()
    assert decisions(hand) == 1
    assert (hand.standing, hand.hold_point) == (Standing.BUILDING, "dry-fit")


def test_asked_again_with_nothing_new_it_is_not_decided_again(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hall, hand)
    ask(hall, hand)
    assert decisions(hand) == 1


def test_something_to_put_right_is_said_with_a_button_for_the_card(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hall, hand)
    html = answer(hall, hand)
    assert "To put right" in html
    assert "Make the rework card" in html
    assert f'action="/h/{hand.code}/order/"' in html
    assert "Every part on the kit list is there" in html
    assert html.count('id="next-step"') == 1


def test_once_the_card_is_made_the_button_leads_to_it(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hall, hand)
    card = {"rework": "complete-kit", "place": "", "title": "Complete the kit", "because": []}
    seq = append(hand, [New(kind="ordered", what=card)], person=hall.inspector)[0].entry.seq
    html = answer(hall, hand)
    assert f"/h/{hand.code}/cards/{seq}/" in html
    assert "Make the rework card" not in html


def test_what_is_left_to_look_at_is_one_tap_away(hall: Hall) -> None:
    hand = hall.hand()
    ask(hall, hand)
    html = answer(hall, hand)
    assert "Not decided yet" in html
    assert f'href="/h/{hand.code}/look/"' in html


def test_a_scrapped_part_goes_to_the_lead(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", cuff_no_cracks="no")
    ask(hall, hand)
    hand.refresh_from_db()
    assert hand.standing == Standing.FOR_LEAD
    html = answer(hall, hand)
    assert "A part must be made again" in html
    assert "Give it to the lead" in html
    assert f"/h/{hand.code}/decide/" in answer(hall, hand, hall.lead)


def test_while_it_is_worked_out_the_page_says_what_is_known(hall: Hall, no_workers: Run) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    ask(hall, hand)
    html = answer(hall, hand)
    assert "Working it out" in html
    assert "data-waiting" in html
    client = hall.client(hall.inspector)
    state = client.get(f"/h/{hand.code}/answer/state/")
    assert state["X-Answer"] == "waiting"
    no_workers()
    state = client.get(f"/h/{hand.code}/answer/state/")
    assert state["X-Answer"] == "here"
    html = state.content.decode()
    assert "<html" not in html
    assert "To put right" in html
    assert "What to do" in html
    assert "Look at again afterwards" in html
    assert "<svg" in html
    assert "<style" not in html
    assert "style=" not in html


def test_nobody_at_work_is_said_and_what_to_do(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    ask(hall, hand)
    Job.objects.update(queued_at=timezone.now() - timedelta(minutes=1))
    html = answer(hall, hand)
    assert "has stopped" in html
    assert "Tell the lead" in html


def test_what_was_added_meanwhile_is_said_and_asked_again(hall: Hall, no_workers: Run) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    ask(hall, hand)
    append(hand, [New(kind="noted", what={"text": "wait"})], person=hall.builder)
    no_workers()
    html = answer(hall, hand)
    assert "Something was added" in html
    assert "Ask again" in html
    ask(hall, hand)
    no_workers()
    assert '<h1 class="word">Good</h1>' in answer(hall, hand)


def test_a_sum_that_fails_is_told_and_can_be_tried_again(hall: Hall, no_workers: Run) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung")
    ask(hall, hand)
    error = {"what": "this could not be worked out", "where": "answer", "do": "Go on without it."}
    Job.objects.update(state=Job.FAILED, error=error)
    assert "It could not be worked out" in answer(hall, hand)
    ask(hall, hand)
    no_workers()
    assert '<h1 class="word">Good</h1>' in answer(hall, hand)


def test_answers_that_came_after_the_decision_are_counted(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hall, hand)
    now = {"of": "kit-complete", "place": "", "answer": "no", "note": "still"}
    append(hand, [New(kind="observed", what=now)], person=hall.lead)
    html = answer(hall, hand)
    assert "1 answer came after this" in html
    ask(hall, hand)
    assert decisions(hand) == 2


def test_a_reckoning_that_is_no_longer_kept_leaves_the_decision(hall: Hall) -> None:
    hand = hall.hand()
    hall.answer_all(hand, "parts", kit_complete="no")
    ask(hall, hand)
    Job.objects.all().delete()
    html = answer(hall, hand)
    assert "To put right" in html
    assert "no longer kept" in html


def test_the_repair_and_its_reasons_outlive_the_reckoning(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    ask(hall, hand)
    no_workers()
    decided = Entry.objects.filter(hand=hand, kind="decided").last().what
    Job.objects.all().delete()
    html = unescape(answer(hall, hand))
    assert decided["fix"]["steps"]
    for words in (*decided["fix"]["steps"], *(o["reason"] for o in decided["open"] if o.get("reason"))):
        assert words in html
    assert not [o["of"] for o in decided["open"] if f"<b>{o['of']}" in html]


def test_a_hand_that_was_never_asked_about_says_so(hall: Hall) -> None:
    assert "Nothing was asked about this hand yet" in answer(hall, hall.hand())


def test_a_passed_fitting_leads_the_fitter_to_the_release(hall: Hall, no_workers: Run) -> None:
    hand = hall.hand(at="fitting")
    hall.answer_all(hand, "fitting")
    ask(hall, hand, hall.fitter)
    no_workers()
    assert f"/h/{hand.code}/release/" in answer(hall, hand, hall.fitter)
    assert "Pass it to the fitter" in answer(hall, hand, hall.inspector)


@pytest.mark.parametrize(("who", "status"), [("builder", 403), ("fitter", 403), (None, 302)])
def test_who_may_not_look_may_not_ask(hall: Hall, who: str | None, status: int) -> None:
    hand = hall.hand()
    client = hall.client(getattr(hall, who) if who else None)
    assert client.post(f"/h/{hand.code}/ask/", {"hold_point": "parts"}).status_code == status
    assert decisions(hand) == 0


def test_asking_is_a_post_and_reading_a_get(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.inspector)
    assert client.get(f"/h/{hand.code}/ask/").status_code == 405
    assert client.post(f"/h/{hand.code}/answer/").status_code == 405
    assert client.post(f"/h/{hand.code}/answer/state/").status_code == 405
    assert hall.client(hall.builder).get(f"/h/{hand.code}/answer/").status_code == 200


def test_a_scrapped_hand_is_not_decided_again(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cracked"})], person=hall.lead)
    ask(hall, hand)
    assert decisions(hand) == 0
