"""Lines drawn on a photo: worked out by the bench, told with their doubt, taken only as what they are."""

from __future__ import annotations

import json
from typing import Any

import pytest

from bench.hall import Hall
from handsel.bench.hands.casebook import case_of, told_of
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.looking.answering import known
from handsel.bench.measuring.models import Measurement
from handsel.bench.people.models import Person
from handsel.vision.rest_angle.two_lines import TwoLines, angle_of_lines

OF, PHOTO = "worked-rest-angle", "a" * 32
JSON = {"headers": {"accept": "application/json"}}
ONE = {"palm": [[1000, 800], [1600, 800]], "cuff": [[900, 790], [400, 427]]}
LINES = {"size": [2000, 1500], "drawn": [ONE]}


@pytest.fixture
def hand(hall: Hall) -> Hand:
    """A hand that waits for its rest angle."""
    return hall.hand(at="strung")


def expected(lines: dict[str, Any] = LINES) -> Any:
    drawn = [
        TwoLines(**{name: tuple(tuple(point) for point in one[name]) for name in ("palm", "cuff")})
        for one in lines["drawn"]
    ]  # fmt: skip
    return angle_of_lines(drawn, size_px=tuple(lines["size"]))


def ask(hall: Hall, hand: Hand, body: Any, person: Person | None = None) -> Any:
    text = body if isinstance(body, bytes) else json.dumps(body)
    return hall.client(person or hall.inspector).post(
        f"/h/{hand.code}/measured/lines/", text, content_type="application/json", **JSON
    )


def answer(hall: Hall, hand: Hand, **fields: Any) -> dict[str, Any]:
    entry = {
        "kind": "observed", "by": hall.inspector.number, "client_id": "e" * 32, "of": OF, "unit": "deg",
        "protocol": hand.protocol_id, "method": "photo", "photo": PHOTO, "value": round(expected().rest_angle_deg, 1),
        "lines": LINES,
    } | fields  # fmt: skip
    reply = hall.client(hall.inspector).post(
        f"/h/{hand.code}/answers/",
        json.dumps({"entries": [{k: v for k, v in entry.items() if v is not None}]}),
        content_type="application/json",
        **JSON,
    )
    found: dict[str, Any] = reply.json()["results"][0]
    return found


def test_drawn_lines_are_told_as_angle_doubt_and_decision_and_nothing_is_recorded(
    hall: Hall, hand: Hand
) -> None:
    before = hand.entry_count
    told = ask(hall, hand, {"of": OF, "lines": LINES}).json()
    assert told["value"] == round(expected().rest_angle_deg, 1) == pytest.approx(36.0, abs=0.2)
    assert told["u"] == pytest.approx(expected().u_rest_angle_deg, abs=0.006)
    assert told["u"] > 1.5  # larger than with cards
    assert told["judged"]["verdict"] in ("conforms", "undecided")
    assert {c["name"] for c in told["contributions"]} == set(expected().contributions)
    hand.refresh_from_db()
    assert hand.entry_count == before
    assert not Measurement.objects.exists()


def test_lines_go_on_record_with_the_doubt_that_the_bench_works_out(hall: Hall, hand: Hand) -> None:
    result = answer(hall, hand)
    assert result["state"] == "stored", result
    what = Entry.objects.get(hand=hand, seq=result["seq"]).what
    assert what["lines"] == LINES
    assert what["u"] == pytest.approx(expected().u_rest_angle_deg, abs=0.006)
    assert sum(u * u for u in what["u_from"].values()) == pytest.approx(what["u"] ** 2, rel=0.02)
    (seen,) = [o for o in case_of(hand, told_of(hand)).observations if o.of == OF]
    assert seen.u == what["u"]
    decision = known(hand).inspection().item(OF).decision
    assert decision is not None
    assert decision.quantity.u == what["u"]


def test_sent_twice_lines_are_stored_once(hall: Hall, hand: Hand) -> None:
    assert [answer(hall, hand)["state"] for _ in range(2)] == ["stored", "same"]


def test_lines_drawn_afresh_count_together(hall: Hall, hand: Hand) -> None:
    twice = LINES | {"drawn": [ONE, ONE]}
    result = answer(hall, hand, lines=twice)
    what = Entry.objects.get(hand=hand, seq=result["seq"]).what
    assert what["u"] < expected().u_rest_angle_deg


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"value": 45.0}, "the lines make"),
        ({"photo": None}, "not read from lines"),
        ({"method": "protractor"}, "not read from lines"),
        ({"of": "thumb-tip-bend", "method": ""}, "not read from lines"),
        ({"measured": "angle/" + "c" * 32}, "both"),
        ({"lines": LINES | {"size": [100, 100]}}, "outside"),
        ({"lines": LINES | {"drawn": [ONE | {"palm": [[5, 5], [6, 5]]}]}}, "too short"),
        ({"lines": LINES | {"drawn": []}}, "not understood"),
        ({"lines": LINES | {"drawn": [ONE] * 9}}, "not understood"),
        ({"lines": LINES | {"size": [0, 5]}}, "not understood"),
        ({"lines": LINES | {"drawn": [ONE | {"palm": [[5, 5], [6, "x"]]}]}}, "not understood"),
        ({"lines": LINES | {"colour": "red"}}, "not understood"),
        ({"lines": "two"}, "not understood"),
    ],
)
def test_lines_that_are_none_or_say_something_else_are_refused(
    hall: Hall, hand: Hand, fields: dict[str, Any], word: str
) -> None:
    result = answer(hall, hand, **fields)
    assert result["state"] == "refused"
    assert word in result["what"]
    assert result["do"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b'{"of": "x"}',
        b'{"of": "x", "lines": {"size": [1e999, 2], "drawn": []}}',
        b"\xff\xfe\x00",
        {"of": OF, "lines": LINES | {"drawn": [ONE | {"cuff": [[1, 1], [1, 1]]}]}},
        {"of": OF, "lines": LINES | {"drawn": [ONE | {"cuff": [[-1, 1], [500, 1]]}]}},
    ],
)
def test_hostile_lines_are_answered_in_words(hall: Hall, hand: Hand, body: Any) -> None:
    reply = ask(hall, hand, body)
    assert 400 <= reply.status_code < 500
    assert reply.json()["do"]


def test_more_than_anybody_draws_is_not_read(hall: Hall, hand: Hand) -> None:
    assert ask(hall, hand, b"[" * 30_000).status_code == 413


def test_only_who_may_look_asks_and_only_by_post(hall: Hall, hand: Hand) -> None:
    assert ask(hall, hand, {"of": OF, "lines": LINES}, hall.builder).status_code == 403
    assert hall.client(hall.inspector).get(f"/h/{hand.code}/measured/lines/").status_code == 405
    assert ask(hall, hand, {"of": "no-such-check", "lines": LINES}).json().get("judged") is None
