"""Beginning hands: one after another, and several from pasted lines."""

from __future__ import annotations

import secrets

import pytest

from bench.hall import Hall
from handsel.bench.days.beginning import read_lines
from handsel.bench.hands.models import Entry, Hand
from handsel.errors import OutOfRange


def one(**other: str) -> dict[str, str]:
    """What the form of one hand sends."""
    return {
        "client_id": secrets.token_hex(16),
        "recipient_code": "R-014",
        "side": "left",
        "scale_percent": "110",
    } | other


def test_side_scale_and_code_are_enough_and_the_next_hand_follows(hall: Hall) -> None:
    client = hall.client(hall.lead)
    answer = client.post("/day/hands/new/", one(), follow=True)
    hand = Hand.objects.get()
    assert (hand.recipient_code, hand.side, hand.scale_ratio) == ("R-014", "left", 1.1)
    page = answer.content.decode()
    assert hand.shown_code in page
    assert "The next hand" in page
    assert f'name="hands" value="{hand.code}"' in page


def test_sent_twice_one_hand_is_begun(hall: Hall) -> None:
    client = hall.client(hall.lead)
    told = one()
    first = client.post("/day/hands/new/", told)
    again = client.post("/day/hands/new/", told)
    assert first["Location"] == again["Location"]
    assert Hand.objects.count() == 1


def test_what_may_follow_later_may_also_come_at_once(hall: Hall) -> None:
    hall.client(hall.lead).post("/day/hands/new/", one(target_rest_angle_deg="40", latex="no"))
    hand = Hand.objects.get()
    assert (hand.target_rest_angle_deg, hand.latex_sensitive) == (40.0, False)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("recipient_code", "Maria", "not of the form R-014"),
        ("recipient_code", "", "required"),
        ("recipient_code", "<b>R-1</b>", "not of the form"),
        ("side", "middle", "not one of the available choices"),
        ("scale_percent", "1.1", "greater than or equal to 10"),
        ("scale_percent", "60", "this design goes from"),
        ("scale_percent", "NaN", "Enter a number"),
        ("scale_percent", "1e999", "less than or equal to 400"),
        ("client_id", "short", "Load it again"),
        ("target_rest_angle_deg", "400", "less than or equal to 90"),
    ],
)
def test_what_cannot_be_meant_is_said_and_nothing_is_begun(
    hall: Hall, field: str, value: str, said: str
) -> None:
    answer = hall.client(hall.lead).post("/day/hands/new/", one(**{field: value}))
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert Hand.objects.count() == 0


def test_several_hands_from_lines_written_in_many_ways(hall: Hall) -> None:
    lines = "R-014 left 110\n\nr-015; right; 125 %\nR-016\tL\t90\nR-017,r,100.5"
    client = hall.client(hall.lead)
    told = {"client_id": secrets.token_hex(16), "lines": lines}
    page = client.post("/day/hands/several/", told, follow=True)
    hands = [(h.recipient_code, h.side, h.scale_ratio) for h in Hand.objects.order_by("pk")]
    assert hands == [
        ("R-014", "left", 1.1),
        ("R-015", "right", 1.25),
        ("R-016", "left", 0.9),
        ("R-017", "right", 1.005),
    ]
    assert "4 hands begun" in page.content.decode()
    client.post("/day/hands/several/", told)
    assert Hand.objects.count() == 4


@pytest.mark.parametrize(
    "line",
    ["R-014 left", "R-014 110 left", "R-014 left 1.10", "R-014 left 9999", "R-014 both 110", "x" * 10_000],
)
def test_one_line_that_cannot_be_read_begins_nothing(hall: Hall, line: str) -> None:
    answer = hall.client(hall.lead).post(
        "/day/hands/several/", {"client_id": secrets.token_hex(16), "lines": f"R-001 left 100\n{line}"}
    )
    assert "Line 2" in answer.content.decode()
    assert Hand.objects.count() == Entry.objects.count() == 0


def test_a_line_that_the_design_refuses_takes_the_others_back(hall: Hall) -> None:
    told = {"client_id": secrets.token_hex(16), "lines": "R-001 left 100\nR-002 left 300"}
    page = hall.client(hall.lead).post("/day/hands/several/", told).content.decode()
    assert "Hand 2 (R-002): the scale is 300 %" in page
    assert Hand.objects.count() == Entry.objects.count() == 0


def test_too_many_lines_are_refused_before_any_is_read() -> None:
    with pytest.raises(OutOfRange, match="201 lines"):
        read_lines("R-001 left 100\n" * 201)


def test_an_address_that_names_hands_in_odd_ways_shows_none(hall: Hall) -> None:
    client = hall.client(hall.lead)
    for said in ("1-2-3", "999999999999999999999-1", "\u0661-\u0662", ",,,", "<x>", "-"):
        assert client.get("/day/hands/new/", {"begun": said}).status_code == 200
