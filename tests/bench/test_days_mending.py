"""Mending what was written about a hand: kept on record, refused where it would make another hand of it."""

from __future__ import annotations

from typing import Any

import pytest

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.records.verifying import verify

ID = "c" * 32


def form(**different: Any) -> dict[str, Any]:
    written = {
        "client_id": ID,
        "recipient_code": "R-014",
        "side": "right",
        "scale_percent": "110",
        "target_rest_angle_deg": "",
        "latex": "",
    }
    return written | different


def changes(hand: Hand) -> list[tuple[Any, Any, Any]]:
    found = Entry.objects.filter(hand=hand, kind="changed").order_by("seq")
    return [(e.what["field"], e.what["old"], e.what["new"]) for e in found]


def test_what_was_wrong_is_changed_and_the_old_value_stays_on_record(hall: Hall) -> None:
    hand = hall.hand()
    said = form(
        recipient_code="r-015", scale_percent="105", side="left", target_rest_angle_deg="40", latex="no"
    )
    assert hall.client(hall.lead).post(f"/h/{hand.code}/about/", said).status_code == 303
    hand.refresh_from_db()
    now = (hand.recipient_code, hand.side, hand.scale_ratio, hand.target_rest_angle_deg, hand.latex_sensitive)
    assert now == ("R-015", "left", 1.05, 40.0, False)
    assert changes(hand) == [
        ("recipient_code", "R-014", "R-015"),
        ("side", "right", "left"),
        ("scale_ratio", 1.1, 1.05),
        ("target_rest_angle_deg", None, 40.0),
        ("latex_sensitive", None, False),
    ]
    assert not verify().findings


def test_sent_twice_or_unchanged_it_is_changed_once(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.lead)
    for _ in range(2):
        client.post(f"/h/{hand.code}/about/", form(recipient_code="R-015"))
    client.post(f"/h/{hand.code}/about/", form(recipient_code="R-015", client_id="d" * 32))
    assert changes(hand) == [("recipient_code", "R-014", "R-015")]


@pytest.mark.parametrize("wrong", [{"side": "left"}, {"scale_percent": "100"}])
def test_a_hand_that_was_looked_at_does_not_become_another(hall: Hall, wrong: dict[str, str]) -> None:
    hand = hall.hand(at="dry-fit")
    reply = hall.client(hall.lead).post(f"/h/{hand.code}/about/", form(**wrong))
    assert reply.status_code == 200
    assert "begin a new hand" in reply.content.decode()
    assert changes(hand) == []


@pytest.mark.parametrize("wrong", [{"recipient_code": "Anna"}, {"scale_percent": "500"}, {"client_id": "x"}])
def test_nonsense_is_told_and_nothing_changed(hall: Hall, wrong: dict[str, str]) -> None:
    hand = hall.hand()
    assert hall.client(hall.lead).post(f"/h/{hand.code}/about/", form(**wrong)).status_code == 200
    assert changes(hand) == []


def test_another_rest_angle_asks_for_a_new_decision(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    assert hand.standing == Standing.TO_FIT
    hall.client(hall.lead).post(f"/h/{hand.code}/about/", form(target_rest_angle_deg="40"))
    hand.refresh_from_db()
    assert hand.standing == Standing.ASKED


def test_a_scrapped_hand_is_left_alone(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "dropped"})], person=hall.lead)
    hall.client(hall.lead).post(f"/h/{hand.code}/about/", form(recipient_code="R-015"))
    hand.refresh_from_db()
    assert (hand.recipient_code, changes(hand)) == ("R-014", [])


def test_only_the_lead_mends(hall: Hall) -> None:
    hand = hall.hand()
    for person in (hall.builder, hall.inspector, hall.fitter):
        assert hall.client(person).post(f"/h/{hand.code}/about/", form()).status_code == 403
    assert hall.client(hall.lead).put(f"/h/{hand.code}/about/").status_code == 405
