"""Practice: a hand with a known fault, looked at in the real flow, counting nowhere."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.test import Client

from bench.hall import Hall
from handsel.bench.hands import practice
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.people.services import add_person
from handsel.data.load_practice import PracticeFault, practice_faults
from handsel.inspection.rules import NumberRule

ONCE = "0123456789abcdef0123456789abcdef"


def words(response: Any) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())))


def begun(hall: Hall, client: Client, client_id: str = ONCE) -> Hand:
    response = client.post("/practice/begin/", {"client_id": client_id})
    assert response.status_code == 303
    return Hand.objects.get(code=response["Location"].split("/")[2])


def with_fault(hall: Hall, monkeypatch: pytest.MonkeyPatch, id: str) -> Hand:
    """A practice hand of the inspector with this very fault."""
    fault = next(f for f in practice_faults(protocol_kept(hall.day.protocol_id)) if f.id == id)
    monkeypatch.setattr(practice, "_another_fault", lambda person, protocol: fault)
    return practice.begin(hall.inspector, client_id=ONCE)


def answered(hall: Hall, hand: Hand, fault: PracticeFault, *, blind: bool = False) -> None:
    """Everything of the hold point, as the card says it or with every answer good."""
    protocol = protocol_kept(hand.protocol_id)
    bad = {} if blind else {(s.of, s.place): s.answer for s in fault.shows}
    news = []
    for c in protocol.characteristics:
        if c.hold_point != fault.hold_point:
            continue
        for place in protocol.places(c.per):
            what: dict[str, Any] = {
                "of": c.id,
                "place": place,
                "from": "screen",
                "protocol": hand.protocol_id,
            }
            if isinstance(c.rule, NumberRule):
                what |= {"value": fault.readings[c.id], "unit": c.rule.unit}
            else:
                what["answer"] = bad.get((c.id, place)) or c.rule.accepted[0]
            news.append(New(kind="observed", what=what))
    append(hand, news, person=hall.inspector)


def test_a_newcomer_is_told_how_it_goes_and_takes_a_hand(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    assert "Something is wrong with it: find it" in words(client.get("/practice/"))
    hand = begun(hall, client)
    assert hand.practice
    assert hand.hold_point == practice.fault_of(hand).hold_point
    assert "It counts nowhere" in words(client.get(f"/practice/{hand.code}/"))
    assert practice.fault_of(hand).was not in words(client.get(f"/practice/{hand.code}/"))


def test_taken_twice_it_is_one_and_an_unfinished_one_is_gone_on_with(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    hand = begun(hall, client)
    assert begun(hall, client) == hand
    assert begun(hall, client, ONCE[::-1]) == hand
    assert Hand.objects.exclude(practice="").count() == 1
    assert "Go on with yours" in words(client.get("/practice/"))
    assert begun(hall, hall.client(hall.lead), "e" * 32) != hand


def test_the_screens_are_the_real_ones_with_a_card_of_what_is_seen(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = with_fault(hall, monkeypatch, "loops-long")
    page = hall.client(hall.inspector).get(f"/practice/{hand.code}/look/").content.decode()
    assert 'id="look-data"' in page
    assert "practice.js" in page
    found = re.search(r'id="practice-told" type="application/json">(.*?)</script>', page)
    assert found is not None
    told = json.loads(found[1])
    assert told["numbers"]["worked-rest-angle"] == "27°"
    assert "Both finger loops are too long" not in page


@pytest.mark.parametrize(
    "id", ["sharp-edge", "tips-swapped", "cord-through-gap", "loops-long", "thumb-cord-short"]
)
def test_answered_as_the_card_says_all_of_it_is_found(
    hall: Hall, no_workers: Callable[[], None], monkeypatch: pytest.MonkeyPatch, id: str
) -> None:
    hand = with_fault(hall, monkeypatch, id)
    fault = practice.fault_of(hand)
    answered(hall, hand, fault)
    client = hall.client(hall.inspector)
    assert client.post(f"/practice/{hand.code}/ask/")["Location"] == f"/practice/{hand.code}/done/"
    if id == "loops-long":
        assert "being worked out" in words(client.get(f"/practice/{hand.code}/done/"))
        assert "You found it" in words(client.get(f"/practice/{hand.code}/?now=1"))
    no_workers()
    assert client.get(f"/practice/{hand.code}/done/")["Location"] == f"/practice/{hand.code}/"
    text = words(client.get(f"/practice/{hand.code}/"))
    assert "You found it" in text
    assert fault.was in text
    assert "Missed" not in text
    assert practice.outcome(hand).too_much == ()
    hand.refresh_from_db()
    assert hand.hold_point == fault.hold_point, "it did not pass"
    hall.inspector.refresh_from_db()
    assert hall.inspector.practised_at is not None


def test_tapped_through_blindly_what_was_missed_is_said(
    hall: Hall, no_workers: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = with_fault(hall, monkeypatch, "cord-through-gap")
    fault = practice.fault_of(hand)
    answered(hall, hand, fault, blind=True)
    append(
        hand,
        [New(kind="observed", what={"of": "six-knots", "place": "", "answer": "no"})],
        person=hall.inspector,
    )
    hall.client(hall.inspector).post(f"/practice/{hand.code}/ask/")
    no_workers()
    text = words(hall.client(hall.inspector).get(f"/practice/{hand.code}/"))
    assert "Not all of it was found" in text
    found = practice.outcome(hand)
    assert found.missed == ("Each cord leaves by the hole behind its knuckle, not by the gap (ring)",)
    assert [x.split(":")[0] for x in found.too_much] == ["There are six knots"]


def test_a_number_written_otherwise_than_it_was_read_is_said(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    hand = with_fault(hall, monkeypatch, "loops-long")
    what = {"of": "worked-rest-angle", "place": "", "value": 72.0, "unit": "deg"}
    append(hand, [New(kind="observed", what=what)], person=hall.inspector)
    found = practice.outcome(hand)
    assert found.missed
    assert "you read 27°, and wrote 72°" in found.otherwise[0]


def test_a_second_one_has_another_fault(hall: Hall) -> None:
    had = set()
    for turn in range(len(practice_faults(protocol_kept(hall.day.protocol_id)))):
        hand = practice.begin(hall.inspector, client_id=f"{turn:032d}")
        had.add(hand.practice)
        decided = {
            "hold_point": practice.fault_of(hand).hold_point,
            "whole": "not decided yet",
            "sentence": "-",
        }
        append(hand, [New(kind="decided", what=decided)], person=hall.inspector)
    assert len(had) == len(practice_faults(protocol_kept(hall.day.protocol_id)))
    assert practice.begin(hall.inspector, client_id="f" * 32).practice in had, "then from the beginning"


def test_builders_are_told_whom_to_ask(hall: Hall) -> None:
    client = hall.client(hall.builder)
    assert "Ask the lead to let you inspect" in words(client.get("/practice/"))
    assert client.post("/practice/begin/", {"client_id": ONCE}).status_code == 403


def test_a_real_hand_is_no_practice_hand(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.inspector)
    for path in ("", "look/", "done/"):
        response = client.get(f"/practice/{hand.code}/{path}")
        assert response.status_code == 409
        assert "no practice hand" in response.content.decode()
    assert client.post(f"/practice/{hand.code}/ask/").status_code == 409


def test_without_a_day_there_is_nothing_to_practise_on(hall: Hall) -> None:
    hall.day.closed_at = hall.day.opened_at
    hall.day.save()
    response = hall.client(hall.inspector).post("/practice/begin/", {"client_id": ONCE})
    assert response.status_code == 409
    assert "no day is open" in response.content.decode()


@pytest.mark.parametrize("path", ["/practice/", "/practice/begin/"])
def test_it_is_for_people_who_are_signed_in(hall: Hall, path: str) -> None:
    assert hall.client().post(path, {"client_id": ONCE}).status_code in (302, 405)
    assert hall.client().get(path).status_code in (302, 405)


def test_the_wrong_method(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    hand = begun(hall, client)
    assert client.get("/practice/begin/").status_code == 405
    assert client.post("/practice/").status_code == 405
    assert client.get(f"/practice/{hand.code}/ask/").status_code == 405
    assert client.post(f"/practice/{hand.code}/look/").status_code == 405


def test_somebody_who_cannot_inspect_may_still_read_how_it_ended(hall: Hall) -> None:
    hand = begun(hall, hall.client(hall.inspector))
    other = add_person(may_build=True)
    assert hall.client(other).get(f"/practice/{hand.code}/").status_code == 200
