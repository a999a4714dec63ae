"""The wall: open to all, codes only."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.days.lots import add_lot
from handsel.bench.days.models import Day
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand

MOST_QUERIES = 7


def test_it_is_open_to_all_and_shows_no_name_and_no_recipient(hall: Hall) -> None:
    hall.builder.name = "Wilhelmina"
    hall.builder.save()
    hand = hall.hand(code="R-314")
    append(hand, [New(kind="taken", what={"to": "build"})], person=hall.builder)
    page = hall.client().get("/wall/").content.decode()
    assert hand.shown_code in page
    assert "Wilhelmina" not in page
    assert "R-314" not in page


def test_nothing_can_be_sent_to_it(hall: Hall) -> None:
    assert hall.client(hall.lead).post("/wall/").status_code == 405


def test_before_the_first_day_it_says_so(db: None) -> None:
    assert "No day has begun yet" in Client().get("/wall/").content.decode()


def test_hands_hang_at_their_stations_with_counts(hall: Hall) -> None:
    for n in range(10):
        hall.hand(code=f"R-{n}")
    strung = hall.hand(code="R-50", at="strung")
    page = hall.client().get("/wall/").content.decode()
    assert "<b>10</b>Parts" in page
    assert "<b>1</b>Strung" in page
    assert "and 2 more" in page
    assert page.index("Strung") < page.index(strung.shown_code) < page.index("Finished")


def test_who_waits_long_is_marked(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="asked", what={"hold_point": "parts"})], person=hall.builder)
    assert "is-waiting" not in hall.client().get("/wall/").content.decode()
    Hand.objects.update(since=timezone.now() - timedelta(minutes=21))
    page = hall.client().get("/wall/").content.decode()
    assert re.search(r'is-waiting".*21 min', page, re.DOTALL)


def test_what_runs_short_and_the_time_to_closing(hall: Hall) -> None:
    for name, count in (("Bag C", 2), ("Bag D", 30)):
        add_lot(hall.day, kind="cord", name=name, spares_count=count, person=hall.lead, client_id=name * 4)
    Day.objects.update(closes_at=timezone.now() + timedelta(minutes=95, seconds=20))
    page = hall.client().get("/wall/").content.decode()
    assert "Bag C (2)" in page
    assert "Bag D" not in page
    assert "1 h 35" in page
    Day.objects.update(closes_at=timezone.now() - timedelta(minutes=5))
    assert "closing time is over" in hall.client().get("/wall/").content.decode()


def test_a_hand_once_refused_and_then_passed_is_saved(hall: Hall) -> None:
    saved, never, still = (hall.hand(code=f"R-{n}") for n in range(3))
    Hand.objects.filter(pk=saved.pk).update(was_refused=True, standing="ready to fit")
    Hand.objects.filter(pk=never.pk).update(standing="released")
    Hand.objects.filter(pk=still.pk).update(was_refused=True, standing="to put right")
    page = hall.client().get("/wall/").content.decode()
    assert re.search(r"<b>1</b><span>saved", page)
    assert re.search(r"<b>1</b><span>released", page)


def test_it_sends_nothing_when_nothing_has_changed(hall: Hall) -> None:
    client = hall.client()
    page = client.get("/wall/").content.decode()
    mark = re.search(r'name="mark" value="(\w+)"', page)
    assert mark is not None
    assert client.get("/wall/", {"part": "live", "mark": mark[1]}).status_code == 204
    hall.hand()
    assert client.get("/wall/", {"part": "live", "mark": mark[1]}).status_code == 200


def test_its_queries_do_not_grow_with_the_hands(hall: Hall, django_assert_max_num_queries: Any) -> None:
    for n in range(12):
        hall.hand(code=f"R-{n}")
    with django_assert_max_num_queries(MOST_QUERIES):
        hall.client().get("/wall/")


@pytest.mark.parametrize("name", ["<b>bold</b>", "\u202etxet", "x" * 80])
def test_hostile_names_of_lots_stay_text(hall: Hall, name: str) -> None:
    add_lot(hall.day, kind="cord", name=name, spares_count=0, person=hall.lead, client_id="d" * 32)
    page = hall.client().get("/wall/")
    assert page.status_code == 200
    assert "<b>bold" not in page.content.decode()
