"""Finding a hand by its label, its recipient's code or its serial."""

from __future__ import annotations

from typing import Any

import pytest

from bench.hall import Hall

MOST_QUERIES = 4


@pytest.mark.parametrize("way", ["code", "shown", "lower", "address", "recipient", "serial", "start"])
def test_one_hit_is_opened_at_once(hall: Hall, way: str) -> None:
    hand = hall.hand(code="R-014")
    hall.hand(code="R-99")
    typed = {
        "code": hand.code,
        "shown": hand.shown_code,
        "lower": f" {hand.shown_code.lower()} ",
        "address": f"http://192.168.1.5:8000/l/{hand.code}/",
        "recipient": "r-014",
        "serial": hand.serial.lower(),
        "start": hand.code[:5],
    }[way]
    answer = hall.client(hall.builder).get("/search/", {"q": typed})
    assert (answer.status_code, answer["Location"]) == (303, f"/l/{hand.code}/")


def test_several_hits_are_listed_and_none_is_said(hall: Hall) -> None:
    left, right = hall.hand(code="R-014", side="left"), hall.hand(code="R-014", side="right")
    client = hall.client(hall.inspector)
    page = client.get("/search/", {"q": "R-014"}).content.decode()
    assert left.shown_code in page
    assert right.shown_code in page
    assert "No hand has that" in client.get("/search/", {"q": "R-7"}).content.decode()
    assert "No hand has that" not in client.get("/search/").content.decode()


def test_a_whole_match_comes_before_beginnings(hall: Hall) -> None:
    hand = hall.hand(code="R-1")
    hall.hand(code="R-10")
    answer = hall.client(hall.lead).get("/search/", {"q": "R-1"})
    assert answer["Location"] == f"/l/{hand.code}/"


def test_its_queries_do_not_grow_with_the_hits(hall: Hall, django_assert_max_num_queries: Any) -> None:
    for _ in range(8):
        hall.hand(code="R-5")
    client = hall.client(hall.lead)
    with django_assert_max_num_queries(MOST_QUERIES):
        client.get("/search/", {"q": "R-5"})


@pytest.mark.parametrize(
    "q", ["%", "_", "<script>", "'", "/", "---", "\u202e", "x" * 10_000, "\x00", "//a//"]
)
def test_whatever_is_typed_is_no_error_and_no_markup(hall: Hall, q: str) -> None:
    hall.hand()
    hall.hand()
    page = hall.client(hall.lead).get("/search/", {"q": q})
    assert page.status_code == 200
    assert '<script>"' not in page.content.decode()
    assert 'value="<script>' not in page.content.decode()


def test_it_is_for_who_is_signed_in_and_for_reading(hall: Hall) -> None:
    assert hall.client().get("/search/").status_code == 302
    assert hall.client(hall.lead).post("/search/").status_code == 405
