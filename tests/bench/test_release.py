"""Release: only on a full answer about the record as it is, whatever address, page or second person says."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from typing import Any

import pytest
from django.db import connection

from bench.hall import Hall, good_entries, passed
from handsel.bench.fitting.readiness import readiness
from handsel.bench.fitting.services import NotReleased, release
from handsel.bench.hands.chain import Closed, MovedOn, New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.hands.services import judge_by, keep_protocol
from handsel.bench.looking.answering import ask
from handsel.bench.work.services import order_cards

ONCE = "0123456789abcdef0123456789abcdef"
Workers = Callable[[], None]


def ready(hall: Hall, no_workers: Workers, **different: Any) -> Hand:
    """A hand that has passed its fitting."""
    hand = hall.hand(at="fitting")
    hall.answer_all(hand, "fitting", **different)
    ask(hand, hall.fitter)
    no_workers()
    hand.refresh_from_db()
    return hand


def seen(hall: Hall, hand: Hand) -> str:
    """The form of the release page; empty where there is none."""
    page = hall.client(hall.fitter).get(f"/h/{hand.code}/release/").content.decode()
    found = re.search(r'name="seen" value="([0-9a-f]{64})"', page)
    return found[1] if found else ""


def post(hall: Hall, hand: Hand, who: str = "fitter", **data: str) -> Any:
    given = {"client_id": ONCE, "seen": hand.head_sha256} | data
    return hall.client(getattr(hall, who)).post(f"/h/{hand.code}/release/", given)


def words(response: Any) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))


def is_released(hand: Hand) -> bool:
    hand.refresh_from_db()
    on_record = Entry.objects.filter(hand=hand, kind="released").exists()
    assert on_record == (hand.released_at is not None)
    return on_record


def test_a_hand_in_order_is_released_with_what_it_rests_on(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    head = hand.head_sha256
    assert seen(hall, hand) == head
    response = post(hall, hand)
    assert response.status_code == 303
    assert response["Location"] == f"/h/{hand.code}/hand-over/"
    assert is_released(hand)
    assert hand.standing == Standing.RELEASED
    what = Entry.objects.get(hand=hand, kind="released").what
    decided = Entry.objects.filter(hand=hand, kind="decided").last()
    assert decided is not None
    assert what["decided"] == decided.seq
    assert what["case_key"] == decided.what["case_key"]
    assert (what["head_before"], what["design"], what["protocol"]) == (head, hand.design_id, hand.protocol_id)
    assert (what["open"], what["conceded"]) == ([], [])
    assert what["cautions_version"]


def test_sent_twice_it_is_stored_once(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    data = {"seen": hand.head_sha256}
    assert [post(hall, hand, **data).status_code for _ in range(2)] == [303, 303]
    assert Entry.objects.filter(hand=hand, kind="released").count() == 1
    again = post(hall, hand, client_id=ONCE[::-1], **data)
    assert again.status_code == 409
    assert "released already" in words(again)


def test_small_remarks_stay_and_are_written_down(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers, knows_whom_to_call="no")
    assert "Small remarks that stay" in words(hall.client(hall.fitter).get(f"/h/{hand.code}/release/"))
    assert post(hall, hand).status_code == 303
    assert [x["of"] for x in Entry.objects.get(hand=hand, kind="released").what["open"]] == [
        "knows-whom-to-call"
    ]


@pytest.mark.parametrize("at", ["parts", "strung", "finished", "fitting"])
def test_by_address_alone_a_hand_is_not_released_before_its_turn(hall: Hall, at: str) -> None:
    hand = hall.hand(at=at)
    assert seen(hall, hand) == ""
    response = post(hall, hand)
    assert response.status_code == 409
    assert "Not released" in words(response)
    assert not is_released(hand)


def test_where_the_hand_is_shown_to_stand_counts_for_nothing(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand(at="strung")
    Hand.objects.filter(pk=hand.pk).update(standing=Standing.TO_RELEASE, hold_point="fitting")
    hand.refresh_from_db()
    post(hall, hand)
    no_workers()
    response = post(hall, hand)
    assert response.status_code == 409
    assert "has to be looked at" in words(response)
    assert not is_released(hand)


def test_a_decision_that_somebody_put_on_record_is_not_believed(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand(at="fitting")
    append(hand, [New(kind="decided", what=passed(hand, "fitting"))], person=hall.fitter)
    assert hand.standing == Standing.TO_RELEASE
    assert post(hall, hand).status_code == 409
    hall.answer_all(hand, "fitting")
    append(hand, [New(kind="decided", what=passed(hand, "fitting"))], person=hall.fitter)
    post(hall, hand)
    no_workers()
    response = post(hall, hand)
    assert response.status_code == 409, "it was not made from this record"
    assert "decided again" in words(response)
    assert not is_released(hand)


@pytest.mark.parametrize("who", ["inspector", "builder"])
def test_only_a_fitter_or_the_lead_releases(hall: Hall, no_workers: Workers, who: str) -> None:
    hand = ready(hall, no_workers)
    assert post(hall, hand, who).status_code == 403
    assert hall.client().post(f"/h/{hand.code}/release/", {"client_id": ONCE}).status_code == 302
    assert not is_released(hand)
    assert post(hall, hand, "lead").status_code == 303


def test_a_page_that_is_older_than_the_record_releases_nothing(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    old = hand.head_sha256
    append(hand, [New(kind="noted", what={"text": "squeaks a little"})], person=hall.builder)
    response = post(hall, hand, seen=old)
    assert response.status_code == 409
    assert "since this page was opened" in words(response)
    assert not is_released(hand)
    assert post(hall, hand, seen=seen(hall, hand)).status_code == 303


@pytest.mark.parametrize(
    "data", [{"seen": ""}, {"seen": "x" * 64}, {"client_id": ""}, {"client_id": "'; drop--"}]
)
def test_a_form_without_its_ids_is_refused(hall: Hall, no_workers: Workers, data: dict[str, str]) -> None:
    hand = ready(hall, no_workers)
    assert post(hall, hand, **data).status_code == 400
    assert not is_released(hand)


def test_rework_after_passing_has_to_be_looked_at_again(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    what = {"what": "turn-screws-in", "place": "", "at": "fitting", "is_rework": True}
    append(hand, [New(kind="did", what=what)], person=hall.builder)
    response = post(hall, hand)
    assert response.status_code == 409
    assert "has to be looked at" in words(response)
    assert "more of this kind" in words(response)
    assert hand.standing == Standing.ASKED
    assert not is_released(hand)


def test_an_answer_taken_back_or_changed_after_passing_is_decided_again(
    hall: Hall, no_workers: Workers
) -> None:
    hand = ready(hall, no_workers)
    entry = next(
        e for e in Entry.objects.filter(hand=hand, kind="observed").reverse() if e.what["of"] == "marks-gone"
    )
    append(hand, [New(kind="withdrawn", what={"seq": entry.seq, "reason": "wrong hand"})], person=hall.fitter)
    assert post(hall, hand).status_code == 409
    bad = New(kind="observed", what=entry.what | {"answer": "no"})
    append(hand, [bad], person=hall.fitter)
    assert post(hall, hand).status_code == 409
    assert not is_released(hand)


def test_what_another_person_saw_otherwise_stands_in_the_way(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    what = {"of": "no-pinch-gaps", "place": "", "answer": "no"}
    append(hand, [New(kind="observed", what=what)], person=hall.inspector)
    assert post(hall, hand).status_code == 409
    assert not is_released(hand)


def test_nothing_critical_is_let_pass_by_a_concession(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers, nothing_caught="no")
    what = {"of": "nothing-caught", "place": "", "reason": "only a little"}
    append(hand, [New(kind="conceded", what=what)], person=hall.lead)
    ask(hand, hall.lead)
    no_workers()
    hand.refresh_from_db()
    response = post(hall, hand)
    assert response.status_code == 409
    assert "is not so" in words(response)
    assert not is_released(hand)


def test_something_major_let_pass_by_the_lead_is_released_and_named(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers, picks_up_two_objects="no")
    assert post(hall, hand).status_code == 409
    what = {"of": "picks-up-two-objects", "place": "", "reason": "will be practised at home"}
    append(hand, [New(kind="conceded", what=what)], person=hall.lead)
    ask(hand, hall.lead)
    no_workers()
    hand.refresh_from_db()
    assert "will be practised at home" in words(hall.client(hall.fitter).get(f"/h/{hand.code}/release/"))
    assert post(hall, hand).status_code == 303
    (conceded,) = Entry.objects.get(hand=hand, kind="released").what["conceded"]
    assert (conceded["of"], conceded["reason"]) == ("picks-up-two-objects", "will be practised at home")


def test_an_open_rework_card_stands_in_the_way_and_leads_to_it(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers, knows_whom_to_call="no", puts_it_on_and_off="not yet")
    cards = order_cards(hand, person=hall.inspector, client_id="c" * 32)
    page = hall.client(hall.fitter).get(f"/h/{hand.code}/release/").content.decode()
    assert f"/h/{hand.code}/cards/{cards[0].seq}/" in page
    assert post(hall, hand).status_code == 409
    assert not is_released(hand)


def test_a_protocol_that_changed_after_passing_is_judged_by_first(
    hall: Hall, no_workers: Workers, tmp_path: Any
) -> None:
    from handsel.data.load_protocol import protocol_text

    path = tmp_path / "wrist-hand-2.toml"
    text = protocol_text("wrist-hand-1").replace('id = "wrist-hand-1"', 'id = "wrist-hand-2"')
    path.write_text(text.replace('version = "1.0.0"', 'version = "2.0.0"'), encoding="utf-8")
    hand = ready(hall, no_workers)
    judge_by(hand, keep_protocol(str(path)), person=hall.lead)
    post(hall, hand)
    no_workers()
    response = post(hall, hand)
    assert response.status_code == 409
    assert "decided again" in words(response)
    assert not is_released(hand)


def test_a_practice_hand_is_never_released(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    Hand.objects.filter(pk=hand.pk).update(practice="loop-long")
    response = post(hall, hand)
    assert response.status_code == 409
    assert "practice hand" in words(response)
    assert not is_released(hand)


def test_a_scrapped_hand_is_not_released(hall: Hall, no_workers: Workers) -> None:
    hand = ready(hall, no_workers)
    append(hand, [New(kind="scrapped", what={"reason": "dropped"})], person=hall.lead)
    assert post(hall, hand).status_code == 409
    assert not is_released(hand)


def test_an_answer_that_is_no_longer_kept_is_worked_out_again_first(hall: Hall, no_workers: Workers) -> None:
    from handsel.bench.jobs.models import Job

    hand = ready(hall, no_workers)
    Job.objects.all().delete()
    page = hall.client(hall.fitter).get(f"/h/{hand.code}/release/")
    assert "being worked out" in words(page)
    assert post(hall, hand).status_code == 409
    no_workers()
    assert post(hall, hand).status_code == 303


def test_an_answer_that_cannot_be_worked_out_says_so(hall: Hall, no_workers: Workers) -> None:
    from handsel.bench.jobs.models import Job

    hand = ready(hall, no_workers)
    told = {"what": "the sums did not settle", "where": "hand", "do": "x"}
    Job.objects.filter(key__startswith="answer-").update(state=Job.FAILED, error=told, result=None)
    assert "the sums did not settle" in words(hall.client(hall.fitter).get(f"/h/{hand.code}/release/"))
    assert post(hall, hand).status_code == 409


def test_what_was_recorded_between_look_and_release_is_noticed(
    hall: Hall, no_workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The window between reading the record and writing the release: opened here on purpose."""
    from handsel.bench.fitting import services

    hand = ready(hall, no_workers)

    def and_then_somebody_writes(of: Hand) -> Any:
        found = readiness(of)
        what = {"of": "no-pinch-gaps", "place": "", "answer": "no"}
        append(Hand.objects.get(pk=of.pk), [New(kind="observed", what=what)], person=hall.inspector)
        return found

    monkeypatch.setattr(services, "readiness", and_then_somebody_writes)
    with pytest.raises(MovedOn):
        release(hand, person=hall.fitter, client_id=ONCE, seen_sha256=hand.head_sha256)
    assert not is_released(hand)


def test_two_people_at_once_release_it_once(shared_hall: Hall, no_workers: Workers) -> None:
    hall = shared_hall
    hand = ready(hall, no_workers)
    start = threading.Barrier(4)

    def press(n: int) -> str:
        try:
            start.wait(10)
            mine = Hand.objects.get(pk=hand.pk)
            release(mine, person=hall.fitter, client_id=f"{n:032d}", seen_sha256=mine.head_sha256)
        except (NotReleased, MovedOn, Closed) as refused:
            return type(refused).__name__
        finally:
            connection.close()
        return "released"

    with ThreadPoolExecutor(4) as pool:
        outcomes = [f.result(60) for f in [pool.submit(press, n) for n in range(4)]]
    assert outcomes.count("released") == 1
    assert Entry.objects.filter(hand=hand, kind="released").count() == 1


def test_a_release_and_a_bad_finding_at_once_never_both_count(shared_hall: Hall, no_workers: Workers) -> None:
    hall = shared_hall
    for turn in range(2):
        hand = ready(hall, no_workers)
        start = threading.Barrier(2)

        def press(hand: Hand = hand, start: threading.Barrier = start) -> str:
            try:
                mine = Hand.objects.get(pk=hand.pk)
                start.wait(10)
                release(mine, person=hall.fitter, client_id=f"r-{hand.pk:030d}", seen_sha256=mine.head_sha256)
            except (NotReleased, MovedOn, Closed):
                return "not released"
            finally:
                connection.close()
            return "released"

        def find(hand: Hand = hand, start: threading.Barrier = start) -> str:
            what = {"of": "no-pinch-gaps", "place": "", "answer": "no"}
            try:
                mine = Hand.objects.get(pk=hand.pk)
                start.wait(10)
                append(mine, [New(kind="observed", what=what)], person=hall.inspector)
            except Closed:
                return "too late"
            finally:
                connection.close()
            return "found"

        with ThreadPoolExecutor(2) as pool:
            outcomes = [f.result(60) for f in (pool.submit(press), pool.submit(find))]
        assert outcomes in (["released", "too late"], ["not released", "found"]), (turn, outcomes)


@pytest.mark.parametrize("method", ["put", "delete", "patch"])
def test_other_methods_do_nothing(hall: Hall, method: str) -> None:
    hand = hall.hand(at="fitting")
    assert getattr(hall.client(hall.fitter), method)(f"/h/{hand.code}/release/").status_code == 405


def test_good_entries_of_the_fitting_are_what_the_tests_above_rest_on(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    assert len(good_entries(hand, "fitting")) > 10
