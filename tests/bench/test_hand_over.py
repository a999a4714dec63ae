"""Hand-over: only of a released hand, every caution gone through, in the wearer's language."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest

from bench.hall import Hall
from handsel.bench.fitting.cautions import cautions, languages, tick_ids
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing

ONCE = "0123456789abcdef0123456789abcdef"


def released(hall: Hall, code: str = "R-014") -> Hand:
    """A hand with a release on record; how it comes to that is tested elsewhere."""
    hand = hall.hand(code=code, at="fitting")
    append(hand, [New(kind="released", what={"decided": 1})], person=hall.fitter)
    return hand


def post(hall: Hall, hand: Hand, who: str = "fitter", **data: Any) -> Any:
    given = {
        "client_id": ONCE,
        "language": "en",
        "to": "recipient",
        "call": "the library desk, 555 0100",
        "gone_through": tick_ids(cautions("en")),
    }
    return hall.client(getattr(hall, who)).post(f"/h/{hand.code}/hand-over/", given | data)


def words(response: Any) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))


def is_over(hand: Hand) -> bool:
    hand.refresh_from_db()
    return hand.standing == Standing.HANDED_OVER


def test_handed_over_with_language_cautions_and_whom_to_call(hall: Hall) -> None:
    hand = released(hall)
    assert post(hall, hand, language="de", to="carer").status_code == 303
    assert is_over(hand)
    assert Entry.objects.get(hand=hand, kind="handed-over").what == {
        "language": "de",
        "to": "carer",
        "cautions_gone_through": True,
        "call": "the library desk, 555 0100",
        "cautions_version": cautions("de").sha256[:12],
    }
    assert "It has gone home" in words(hall.client(hall.fitter).get(f"/h/{hand.code}/hand-over/"))


@pytest.mark.parametrize("language", [code for code, _ in languages()])
def test_every_language_shows_every_caution_the_way_it_is_read(hall: Hall, language: str) -> None:
    hand = released(hall)
    page = hall.client(hall.fitter).get(f"/h/{hand.code}/hand-over/?language={language}").content.decode()
    told = cautions(language)
    assert f'dir="{told.direction}"' in page
    assert page.count('name="gone_through"') == len(tick_ids(told))
    for section in told.sections:
        for item in section.items:
            assert item in unescape(page)
    assert (told.draft in unescape(page)) if told.draft else ("draft" not in page)


def test_a_caution_that_was_not_gone_through_keeps_the_hand_here_and_the_ticks(hall: Hall) -> None:
    hand = released(hall)
    ticked = tick_ids(cautions("en"))[:-2]
    response = post(hall, hand, gone_through=ticked)
    assert response.status_code == 200
    assert "2 cautions were not gone through" in words(response)
    page = response.content.decode()
    assert page.count('name="gone_through"') == len(ticked) + 2
    assert len(re.findall(r'name="gone_through"[^>]* checked', page)) == len(ticked)
    assert not is_over(hand)


def test_invented_ticks_do_not_count(hall: Hall) -> None:
    hand = released(hall)
    assert post(hall, hand, gone_through=["not_for-9"] * 40).status_code == 200
    assert not is_over(hand)


def test_without_anybody_to_call_it_stays_here(hall: Hall) -> None:
    hand = released(hall)
    response = post(hall, hand, call="  ")
    assert response.status_code == 200
    assert "whom to call" in words(response)
    assert not is_over(hand)


def test_whom_to_call_is_remembered_for_the_next_hand_of_the_day(hall: Hall) -> None:
    post(hall, released(hall))
    other = released(hall, "R-015")
    assert (
        "the library desk, 555 0100"
        in hall.client(hall.fitter).get(f"/h/{other.code}/hand-over/").content.decode()
    )


def test_sent_twice_it_is_stored_once_and_a_second_time_is_refused(hall: Hall) -> None:
    hand = released(hall)
    assert [post(hall, hand).status_code for _ in range(2)] == [303, 303]
    assert Entry.objects.filter(hand=hand, kind="handed-over").count() == 1
    assert post(hall, hand, client_id=ONCE[::-1]).status_code == 409


@pytest.mark.parametrize("at", ["parts", "fitting"])
def test_a_hand_that_is_not_released_is_not_handed_over(hall: Hall, at: str) -> None:
    hand = hall.hand(at=at)
    response = post(hall, hand)
    assert response.status_code == 409
    assert "Only a released hand is handed over" in words(response)
    assert not is_over(hand)


@pytest.mark.parametrize("language", ["xx", "../en", "en.toml", "/etc/passwd", "x" * 500])
def test_a_language_that_there_is_not(hall: Hall, language: str) -> None:
    hand = released(hall)
    response = hall.client(hall.fitter).get(f"/h/{hand.code}/hand-over/", {"language": language})
    assert "Your new hand" not in words(response) or response.status_code == 200
    assert 'value="en"' in response.content.decode()
    assert post(hall, hand, language=language).status_code == 400
    assert not is_over(hand)


@pytest.mark.parametrize("who", ["inspector", "builder"])
def test_it_is_for_fitters(hall: Hall, who: str) -> None:
    hand = released(hall)
    assert post(hall, hand, who).status_code == 403
    assert hall.client(getattr(hall, who)).get(f"/h/{hand.code}/hand-over/").status_code == 403
    assert hall.client().get(f"/h/{hand.code}/hand-over/").status_code == 302
    assert hall.client(hall.fitter).delete(f"/h/{hand.code}/hand-over/").status_code == 405
    assert not is_over(hand)


# ---- the fitting itself --------------------------------------------------------------------------------


def test_the_fitting_says_when_to_stop_and_how_far_it_is(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    text = words(hall.client(hall.fitter).get(f"/h/{hand.code}/fit/"))
    for told in (
        "licensed professional",
        "20 minutes after it came off",
        "numb",
        "0 of 5",
        "Begin the checks",
    ):
        assert told in text
    response = hall.client(hall.fitter).post(f"/h/{hand.code}/fit/begin/", {"client_id": ONCE})
    assert response["Location"] == f"/h/{hand.code}/look/"
    hand.refresh_from_db()
    assert hand.held_by == hall.fitter


def test_when_it_went_on_and_came_off_is_written_down_with_the_time_to_look(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    client = hall.client(hall.fitter)
    for _ in range(2):
        assert client.post(f"/h/{hand.code}/fit/clock/", {"client_id": ONCE, "what": "on"}).status_code == 303
    assert Entry.objects.filter(hand=hand, kind="noted").count() == 1
    assert "On since" in words(client.get(f"/h/{hand.code}/fit/"))
    client.post(f"/h/{hand.code}/fit/clock/", {"client_id": ONCE[::-1], "what": "off"})
    assert "Look whether marks are gone at" in words(client.get(f"/h/{hand.code}/fit/"))
    assert client.post(f"/h/{hand.code}/fit/clock/", {"client_id": "c" * 32, "what": "up"}).status_code == 400


@pytest.mark.parametrize("path", ["begin", "clock"])
def test_the_fitting_begins_at_its_turn_and_by_a_fitter(hall: Hall, path: str) -> None:
    hand = hall.hand(at="strung")
    url, data = f"/h/{hand.code}/fit/{path}/", {"client_id": ONCE, "what": "on"}
    assert "Not at the fitting yet" in words(hall.client(hall.fitter).get(f"/h/{hand.code}/fit/"))
    assert hall.client(hall.fitter).post(url, data).status_code == 409
    assert hall.client(hall.builder).post(url, data).status_code == 403
    assert hall.client(hall.fitter).get(url).status_code == 405
