"""The lead decides: concessions with a reason, never of what is critical; sending back; scrapping in two steps."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from typing import Any

import pytest

from bench.hall import Hall
from handsel.bench.deciding import services
from handsel.bench.hands.chain import MovedOn, New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import ask, known
from handsel.errors import OutOfRange

MOST_QUERIES = 9


def refused(hall: Hall, **different: Any) -> Hand:
    """A hand that did not pass its parts check."""
    hand = hall.hand()
    hall.answer_all(hand, "parts", **different)
    ask(hand, hall.inspector)
    return hand


def severity(hall: Hall, wanted: str) -> str:
    """A yes/no check of this severity at the parts hold point, for the whole hand."""
    k = known(hall.hand(code="R-900"))
    return next(
        c.id
        for c in k.protocol.characteristics
        if (c.severity, c.hold_point, c.per) == (wanted, "parts", "hand")
        and getattr(c.rule, "accepted", ()) == ("yes",)
    )


def form(hand: Hand, **other: Any) -> dict[str, Any]:
    """What a form of the page sends."""
    return {"client_id": secrets.token_hex(16), "seen_count": hand.entry_count} | other


def test_a_concession_with_its_reason_lets_the_hand_go_on(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    assert hand.standing == Standing.TO_PUT_RIGHT
    told = form(hand, of=of, place="", reason="Spare comes  with the next bag.")
    answer = hall.client(hall.lead).post(f"/h/{hand.code}/decide/concede/", told)
    assert answer.status_code == 303
    hand.refresh_from_db()
    entry = Entry.objects.get(hand=hand, kind="conceded")
    assert entry.what == {"of": of, "place": "", "reason": "Spare comes with the next bag."}
    assert entry.told()["by"]["called"] == "lead 1"
    assert (hand.standing, hand.hold_point) == (Standing.BUILDING, "dry-fit")


def test_sent_twice_it_is_conceded_once(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    told = form(hand, of=of, place="", reason="Spare comes tomorrow")
    client = hall.client(hall.lead)
    for _ in range(2):
        assert client.post(f"/h/{hand.code}/decide/concede/", told).status_code == 303
    assert Entry.objects.filter(hand=hand, kind="conceded").count() == 1
    other = client.post(f"/h/{hand.code}/decide/concede/", told | {"reason": "Something else"})
    assert other.status_code == 409
    assert Entry.objects.filter(hand=hand, kind="conceded").count() == 1


def test_what_is_critical_is_not_offered_and_refused_by_address(hall: Hall) -> None:
    of = severity(hall, "critical")
    hand = refused(hall, **{of: "no"})
    client = hall.client(hall.lead)
    page = client.get(f"/h/{hand.code}/decide/").content.decode()
    assert "Never conceded" in page
    assert f'value="{of}"' not in page
    before = hand.entry_count
    answer = client.post(
        f"/h/{hand.code}/decide/concede/", form(hand, of=of, place="", reason="It will be fine")
    )
    assert answer.status_code == 409
    assert "is critical and never conceded" in answer.content.decode()
    hand.refresh_from_db()
    assert hand.entry_count == before


def test_an_entry_that_got_past_the_page_counts_for_nothing(hall: Hall) -> None:
    of = severity(hall, "critical")
    hand = refused(hall, **{of: "no"})
    append(
        hand, [New(kind="conceded", what={"of": of, "place": "", "reason": "forced in"})], person=hall.lead
    )
    ask(hand, hall.inspector)
    assert known(hand).inspection().item(of).is_open
    assert hand.standing == Standing.TO_PUT_RIGHT


@pytest.mark.parametrize("reason", ["", "   ", "ok", "x" * 1_900])
def test_a_reason_that_says_nothing_or_too_much_is_asked_for_again(hall: Hall, reason: str) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    answer = hall.client(hall.lead).post(
        f"/h/{hand.code}/decide/concede/", form(hand, of=of, place="", reason=reason)
    )
    assert answer.status_code == 200
    assert 'role="alert"' in answer.content.decode()
    assert not Entry.objects.filter(hand=hand, kind="conceded").exists()


def test_what_is_good_unknown_or_not_looked_at_is_not_conceded(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    client = hall.client(hall.lead)
    others = [c.id for c in known(hand).protocol.characteristics if c.severity == "major"]
    good = next(o for o in others if o != of and known(hand).inspection().item(o).status == "conforms")
    ahead = next(
        c.id
        for c in known(hand).protocol.characteristics
        if c.hold_point == "strung" and c.severity == "major"
    )
    for wrong in (good, ahead, "no-such-check", "cord-lengths-compatible"):
        answer = client.post(
            f"/h/{hand.code}/decide/concede/", form(hand, of=wrong, place="", reason="because")
        )
        assert answer.status_code == 409, wrong
    fresh = hall.hand(code="R-77")
    answer = client.post(f"/h/{fresh.code}/decide/concede/", form(fresh, of=of, place="", reason="because"))
    assert "has not been looked at and still can be" in answer.content.decode()
    assert not Entry.objects.filter(kind="conceded").exists()


def test_two_leads_at_once_the_second_looks_again(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    mine = form(hand, reason="cuff cracked as well", sure="yes")
    theirs = form(hand, of=of, place="", reason="Spare comes tomorrow")
    client = hall.client(hall.lead)
    assert client.post(f"/h/{hand.code}/decide/concede/", theirs).status_code == 303
    answer = client.post(f"/h/{hand.code}/decide/scrap/", mine)
    assert answer.status_code == 409
    assert "meanwhile" in answer.content.decode()
    hand.refresh_from_db()
    assert hand.standing != Standing.SCRAPPED


def test_a_concession_taken_back_opens_the_item_again(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    services.concede(
        hand, of=of, place="", reason="Spare comes tomorrow", seen_count=hand.entry_count, person=hall.lead,
        client_id="a" * 32,
    )  # fmt: skip
    seq = Entry.objects.get(hand=hand, kind="conceded").seq
    client = hall.client(hall.lead)
    told = form(hand, seq=seq)
    for _ in range(2):
        assert client.post(f"/h/{hand.code}/decide/take-back/", told).status_code == 303
    assert known(hand, hold_point="parts").inspection().item(of).is_open
    hand.refresh_from_db()
    assert client.post(f"/h/{hand.code}/decide/take-back/", form(hand, seq=1)).status_code == 400


def test_a_step_done_too_early_shows_the_substitute_checks_and_the_way_on(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    protocol = known(hand).protocol
    step = next(s for s in protocol.steps if s.after == "strung" and s.hides)
    append(hand, [New(kind="did", what={"what": step.id, "at": "strung"})], person=hall.builder)
    page = hall.client(hall.lead).get(f"/h/{hand.code}/decide/").content.decode()
    assert f"Done too early: {step.title}" in page
    assert "Ways on" in page
    assert "Or take the step back" in page
    hidden = known(hand).inspection()
    open_hidden = next(
        i for i in hidden.items if i.called in hidden.out_of_order[0].hidden and i.severity != "critical"
    )
    answer = hall.client(hall.lead).post(
        f"/h/{hand.code}/decide/concede/",
        form(hand, of=open_hidden.id, place=open_hidden.place, reason="Seen by two builders before"),
    )
    assert answer.status_code == 303
    assert not known(hand).inspection().item(open_hidden.id, open_hidden.place).is_open


def test_scrapping_takes_two_steps_and_a_reason(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.lead)
    first = client.post(f"/h/{hand.code}/decide/scrap/", form(hand, reason="cuff cracked twice"))
    assert first.status_code == 200
    assert "cannot be taken back" in first.content.decode()
    hand.refresh_from_db()
    assert hand.standing != Standing.SCRAPPED
    none = client.post(f"/h/{hand.code}/decide/scrap/", form(hand, reason=" ", sure="yes"))
    assert 'role="alert"' in none.content.decode()
    told = form(hand, reason="cuff cracked twice", sure="yes")
    for _ in range(2):
        assert client.post(f"/h/{hand.code}/decide/scrap/", told).status_code == 303
    hand.refresh_from_db()
    assert (hand.standing, hand.blocked_by) == (Standing.SCRAPPED, "cuff cracked twice")
    assert Entry.objects.filter(hand=hand, kind="scrapped").count() == 1
    assert "Nothing is left to decide" in client.get(f"/h/{hand.code}/decide/").content.decode()


def test_a_released_hand_is_neither_conceded_nor_scrapped(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="released", what={"decided": 1, "open": [], "conceded": []})], person=hall.lead)
    client = hall.client(hall.lead)
    assert (
        client.post(f"/h/{hand.code}/decide/scrap/", form(hand, reason="too late", sure="yes")).status_code
        == 409
    )
    assert client.post(f"/h/{hand.code}/decide/look-again/", form(hand)).status_code == 409


def test_sent_back_it_waits_to_be_looked_at(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    told = form(hand)
    for _ in range(2):
        assert hall.client(hall.lead).post(f"/h/{hand.code}/decide/look-again/", told).status_code == 303
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED
    assert Entry.objects.filter(hand=hand, kind="asked").count() == 1


def test_what_was_computed_is_named_and_not_offered(hall: Hall, no_workers: Callable[[], None]) -> None:
    hand = hall.hand(at="strung")
    hall.answer_all(hand, "strung", worked_rest_angle=27.0, lowered_rest_angle=27.5)
    ask(hand, hall.inspector)
    no_workers()
    page = hall.client(hall.lead).get(f"/h/{hand.code}/decide/").content.decode()
    assert "<svg" in page
    assert "style=" not in page
    assert "<style" not in page
    assert re.search(r"The hand rests at 30", page)


@pytest.mark.parametrize(
    "path", ["decide/concede/", "decide/take-back/", "decide/look-again/", "decide/scrap/"]
)
def test_deciding_is_the_leads_and_never_done_by_opening_an_address(hall: Hall, path: str) -> None:
    hand = hall.hand()
    for person in (hall.inspector, hall.builder, hall.fitter):
        assert hall.client(person).post(f"/h/{hand.code}/{path}", form(hand)).status_code == 403
    assert hall.client().post(f"/h/{hand.code}/{path}", form(hand)).status_code == 302
    assert hall.client(hall.lead).get(f"/h/{hand.code}/{path}").status_code == 405
    assert hall.client(hall.inspector).get(f"/h/{hand.code}/decide/").status_code == 403
    assert Entry.objects.filter(hand=hand).count() == 1


def test_forms_that_are_none_are_refused(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.lead)
    for told in (
        {},
        form(hand, seen_count="x"),
        form(hand, client_id="y"),
        form(hand, of="a" * 10_000, place=""),
    ):
        assert client.post(f"/h/{hand.code}/decide/concede/", told).status_code in (400, 409)
    assert client.get("/h/XXXXXX/decide/").status_code in (400, 404)


def test_the_core_service_refuses_too_when_the_record_has_grown(hall: Hall) -> None:
    hand = hall.hand()
    count = hand.entry_count
    append(hand, [New(kind="noted", what={"text": "wait"})], person=hall.builder)
    with pytest.raises(MovedOn):
        services.scrap(hand, reason="cuff cracked", seen_count=count, person=hall.lead, client_id="b" * 32)
    with pytest.raises(OutOfRange):
        services.scrap(hand, reason="", seen_count=hand.entry_count, person=hall.lead, client_id="c" * 32)


def test_a_reason_with_markup_is_shown_as_text(hall: Hall) -> None:
    of = severity(hall, "major")
    hand = refused(hall, **{of: "no"})
    client = hall.client(hall.lead)
    client.post(
        f"/h/{hand.code}/decide/concede/",
        form(hand, of=of, place="", reason="<script>alert(1)</script>\u202e fine"),
    )
    for path in (f"/h/{hand.code}/decide/", "/day/report/"):
        page = client.get(path).content.decode()
        assert "<script>alert" not in page
        assert "&lt;script&gt;" in page


def test_its_queries_do_not_grow_with_what_is_open(hall: Hall, django_assert_max_num_queries: Any) -> None:
    hand = hall.hand(at="strung")
    client = hall.client(hall.lead)
    client.get(f"/h/{hand.code}/decide/")
    hall.answer_all(hand, "strung")
    with django_assert_max_num_queries(MOST_QUERIES):
        client.get(f"/h/{hand.code}/decide/")
