"""The lead's glance: every hand, what needs the lead first, quick however many there are."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from bench.hall import Hall, good_entries
from handsel.bench.days.wording import span_words
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.codes import new_code
from handsel.bench.hands.models import Hand, Standing

MOST_QUERIES = 12
STAGES = ("parts", "dry-fit", "strung", "finished", "fitting")


def codes_in(page: str) -> list[str]:
    """Codes of the list, in its order."""
    return re.findall(r'id="row-(\w{6})"', page)


def put(hand: Hand, standing: str, minutes: float, **other: Any) -> None:
    """Set where a hand stands and for how long, as if it had come there."""
    since = timezone.now() - timedelta(minutes=minutes)
    Hand.objects.filter(pk=hand.pk).update(standing=standing, since=since, **other)


def many(hall: Hall, count: int, *, start: int = 0) -> None:
    """Hands at every standing and hold point, without records."""
    now = timezone.now()
    Hand.objects.bulk_create(
        Hand(
            code=new_code(), day=hall.day, serial=f"B-{n:05d}", recipient_code=f"R-{n}", side="left", scale_ratio=1.1,
            design=hall.day.design, protocol=hall.day.protocol, begun_at=now, standing=Standing.values[n % 10],
            hold_point=STAGES[n % 5], since=now - timedelta(minutes=n % 90),
            head_sha256=f"{n:064x}",
        )
        for n in range(start, start + count)
    )  # fmt: skip


def test_what_needs_the_lead_comes_first_then_what_waits_longest(hall: Hall) -> None:
    names = ("bench", "waits short", "waits long", "waits longer", "lead", "done")
    hands = {name: hall.hand(code=f"R-{n}") for n, name in enumerate(names)}
    put(hands["bench"], "building", 90)
    put(hands["waits short"], "asked", 5)
    put(hands["waits long"], "asked", 25)
    put(hands["waits longer"], "ready to fit", 40)
    put(hands["lead"], "for the lead", 1, blocked_by="a part cracked")
    put(hands["done"], "released", 300)
    page = hall.client(hall.lead).get("/day/").content.decode()
    order = ["lead", "waits longer", "waits long", "bench", "waits short", "done"]
    assert codes_in(page) == [hands[name].code for name in order]
    assert "a part cracked" in page
    assert f"/h/{hands['lead'].code}/decide/" in page
    assert page.count("waited is-long") == 2


def test_a_hand_that_somebody_has_is_not_said_to_wait(hall: Hall) -> None:
    hand = hall.hand()
    put(hand, "to put right", 50, held_by=hall.builder)
    page = hall.client(hall.lead).get("/day/").content.decode()
    assert "builder 3" in page
    assert "waited is-long" not in page


def test_two_people_who_saw_it_differently_are_shown_to_the_lead(hall: Hall) -> None:
    quiet, hand = hall.hand(code="R-1"), hall.hand(code="R-2")
    put(quiet, "asked", 60)
    saw = {"of": "kit-complete", "place": ""}
    append(hand, [New(kind="observed", what=saw | {"answer": "no"})], person=hall.inspector)
    client = hall.client(hall.lead)
    assert "two people differ" not in client.get("/day/").content.decode()
    append(hand, [New(kind="observed", what=saw | {"answer": "yes"})], person=hall.lead)
    page = client.get("/day/").content.decode()
    assert "two people differ: Every part on the kit list" in page
    assert codes_in(page) == [hand.code, quiet.code]
    seq = hand.entry_count
    append(hand, [New(kind="withdrawn", what={"seq": seq, "reason": "slip"})], person=hall.lead)
    assert "two people differ" not in client.get("/day/").content.decode()


def test_taps_faster_than_a_look_are_said_without_blame(hall: Hall) -> None:
    hand = hall.hand()
    quick = [
        New(kind=n.kind, what=n.what | {"from": "screen", "tap_ms": 150})
        for n in good_entries(hand, "parts")
        if "answer" in n.what
    ][:6]
    append(hand, quick, person=hall.inspector)
    page = hall.client(hall.lead).get("/day/").content.decode()
    assert "inspector 2 gave 6 answers within 0.9 s" in page


@pytest.mark.parametrize(
    ("typed", "fits"),
    [("R-77", "R-77"), ("cracked", "R-78"), ("left R-79", "R-79"), ("to put right", "R-78"), ("Ada", "R-77")],
)
def test_typing_shows_only_what_fits(hall: Hall, typed: str, fits: str) -> None:
    hands = {code: hall.hand(code=code, side="left") for code in ("R-77", "R-78", "R-79")}
    hall.inspector.name = "Ada"
    hall.inspector.save()
    put(hands["R-77"], "looking", 1, held_by=hall.inspector)
    put(hands["R-78"], "to put right", 1, blocked_by="cuff cracked")
    page = hall.client(hall.lead).get("/day/", {"q": typed}).content.decode()
    assert codes_in(page) == [hands[fits].code]


def test_a_label_code_is_found_with_its_hyphen(hall: Hall) -> None:
    hand = hall.hand()
    hall.hand(code="R-2")
    page = hall.client(hall.lead).get("/day/", {"q": hand.shown_code.lower()}).content.decode()
    assert codes_in(page) == [hand.code]


def test_nothing_is_sent_when_nothing_has_changed(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.lead)
    page = client.get("/day/").content.decode()
    found = re.search(r'name="mark" value="(\w+)"', page)
    assert found is not None
    asked = {"part": "live", "mark": found[1]}
    assert client.get("/day/", asked).status_code == 204
    append(hand, [New(kind="asked", what={"hold_point": "parts"})], person=hall.builder)
    fresh = client.get("/day/", asked)
    assert fresh.status_code == 200
    assert "<html" not in fresh.content.decode()
    assert "waiting to be looked at" in fresh.content.decode()


def test_a_fragment_for_somebody_signed_out_leads_to_signing_in(hall: Hall) -> None:
    answer = hall.client().get("/day/", {"part": "live"}, headers={"HX-Request": "true"})
    assert answer.status_code == 204
    assert answer["HX-Redirect"].startswith("/sign-in/")


def test_the_number_of_queries_does_not_grow_with_the_hands(
    hall: Hall, django_assert_max_num_queries: Any
) -> None:
    client = hall.client(hall.lead)
    many(hall, 30)
    client.get("/day/")
    with django_assert_max_num_queries(MOST_QUERIES):
        client.get("/day/")
    many(hall, 400, start=30)
    for asked in ({}, {"page": "2"}, {"page": "99999"}, {"q": "R-4"}, {"part": "live"}):
        with django_assert_max_num_queries(MOST_QUERIES):
            assert client.get("/day/", asked).status_code == 200


@pytest.mark.parametrize("page", ["0", "-1", "x", "9" * 30, "\u0663", "1.5", ""])
def test_an_odd_page_number_is_the_first_or_the_last_page(hall: Hall, page: str) -> None:
    many(hall, 61)
    answer = hall.client(hall.lead).get("/day/", {"page": page})
    assert answer.status_code == 200
    assert len(codes_in(answer.content.decode())) in (1, 60)


@pytest.mark.parametrize("q", ["<script>", "%", "_" * 10_000, "'; drop", "\u202e\u0000x", "((((", "a " * 200])
def test_whatever_is_typed_the_page_comes(hall: Hall, q: str) -> None:
    hall.hand()
    page = hall.client(hall.lead).get("/day/", {"q": q})
    assert page.status_code == 200
    assert 'value="<script>' not in page.content.decode()


def test_practice_hands_are_not_among_them(hall: Hall) -> None:
    hand = hall.hand()
    Hand.objects.filter(pk=hand.pk).update(practice="loop-long")
    assert "No hand has begun yet" in hall.client(hall.lead).get("/day/").content.decode()


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0.5, "now"), (1, "1 min"), (59.9, "59 min"), (65, "1 h 05"), (1440, "1 day"), (4400, "3 days")],
)
def test_waiting_is_said_in_few_words(minutes: float, said: str) -> None:
    assert span_words(timedelta(minutes=minutes)) == said
