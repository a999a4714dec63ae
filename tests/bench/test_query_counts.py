"""How often a page asks the database must not grow: not with the hands of a day, not with a hand's record."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand

FEW, MORE = 2, 9
OF_A_DAY = (
    "/",
    "/day/",
    "/day/?part=live&q=R-0",
    "/wall/",
    "/wall/?part=live",
    "/search/?q=R-0",
    "/search/?q=R-999",
)
OF_A_HAND = ("", "look/", "answer/", "answer/state/", "build/")
MOST = 10  # any of these pages


def count(ask: Callable[[], object]) -> int:
    """Queries of one call, made once before: texts and the like are remembered from then on."""
    ask()
    with CaptureQueriesContext(connection) as asked:
        ask()
    return len(asked)


def opens(client: Client, url: str) -> Callable[[], None]:
    def ask() -> None:
        assert client.get(url).status_code == 200, url

    return ask


def some_hands(hall: Hall, first: int, end: int) -> None:
    """Hands at several stations, asked for, refused, held by somebody."""
    for n in range(first, end):
        hand = hall.hand(code=f"R-{n:03d}", at="dry-fit" if n % 2 else "parts")
        kind, what = (("asked", {"hold_point": hand.hold_point}), ("taken", {"to": "build"}))[n % 3 == 0]
        append(hand, [New(kind=kind, what=what)], person=hall.builder)


@pytest.mark.parametrize("url", OF_A_DAY)
def test_a_page_of_the_day_asks_as_often_with_many_hands(hall: Hall, url: str) -> None:
    client = hall.client(hall.lead)
    some_hands(hall, 1, 1 + FEW)
    few = count(opens(client, url))
    some_hands(hall, 1 + FEW, 1 + MORE)
    assert count(opens(client, url)) == few <= MOST


@pytest.mark.parametrize("page", OF_A_HAND)
def test_a_page_of_a_hand_asks_as_often_with_a_long_record(hall: Hall, page: str) -> None:
    client, hand = hall.client(hall.lead), hall.hand(at="parts")
    url = f"/h/{hand.code}/{page}"
    append(hand, [New(kind="noted", what={"text": "a scratch"})], person=hall.inspector)
    few = count(opens(client, url))
    hall.answer_all(hand, "parts")
    append(hand, [New(kind="noted", what={"text": f"scratch {n}"}) for n in range(20)], person=hall.inspector)
    assert count(opens(client, url)) == few <= MOST


@pytest.mark.parametrize("page", OF_A_HAND)
def test_a_page_of_a_hand_asks_as_often_with_many_hands_beside_it(hall: Hall, page: str) -> None:
    client, hand = hall.client(hall.lead), hall.hand(at="parts")
    few = count(opens(client, f"/h/{hand.code}/{page}"))
    some_hands(hall, 20, 20 + FEW)
    assert count(opens(client, f"/h/{hand.code}/{page}")) == few


def batch(hall: Hall, hand: Hand, size: int) -> Callable[[], None]:
    """What a phone sends, new each time."""
    client = hall.client(hall.inspector)

    def send() -> None:
        common = {"kind": "noted", "by": hall.inspector.number, "text": "a scratch"}
        entries = [common | {"client_id": secrets.token_hex(16)} for _ in range(size)]
        reply = client.post(
            f"/h/{hand.code}/answers/", json.dumps({"entries": entries}), content_type="application/json"
        )
        assert [r["state"] for r in reply.json()["results"]] == ["stored"] * size

    return send


def test_taking_answers_in_asks_as_often_for_many_as_for_one(hall: Hall) -> None:
    hand = hall.hand()
    one = count(batch(hall, hand, 1))
    hall.answer_all(hand, "parts")
    assert count(batch(hall, hand, 30)) == one <= 12


def test_the_page_of_the_lead_reads_only_records_that_have_grown(hall: Hall) -> None:
    client = hall.client(hall.lead)
    some_hands(hall, 1, 1 + FEW)
    unchanged = count(opens(client, "/day/"))
    hand = Hand.objects.first()
    assert hand is not None
    append(hand, [New(kind="noted", what={"text": "a scratch"})], person=hall.inspector)
    with CaptureQueriesContext(connection) as asked:
        opens(client, "/day/")()
    assert len(asked) == unchanged + 1
