"""What a label's square opens, however its code was typed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.codes import new_code
from handsel.bench.hands.models import Hand, Standing


def goes(hall: Hall, path: str, who: str = "") -> str:
    response = hall.client(getattr(hall, who) if who else None).get(path)
    assert response.status_code == 302, response.content[:300]
    return str(response["Location"])


@pytest.mark.parametrize(
    "typed", [str, str.lower, lambda c: f"{c[:3]}-{c[3:]}", lambda c: f" {c[:3].lower()}-{c[3:]} "]
)
def test_a_code_is_read_as_people_type_it(hall: Hall, typed: Callable[[str], str]) -> None:
    hand = hall.hand()
    assert goes(hall, f"/l/{typed(hand.code)}/") == f"/h/{hand.code}/"


def test_a_passer_by_is_led_to_the_traveller(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    assert goes(hall, f"/l/{hand.code}/") == f"/h/{hand.code}/"


@pytest.mark.parametrize(
    ("standing", "who", "page"),
    [
        (Standing.BUILDING, "builder", "build/"),
        (Standing.BUILDING, "inspector", "look/"),
        (Standing.BUILDING, "lead", "build/"),
        (Standing.BUILDING, "fitter", ""),
        (Standing.ASKED, "inspector", "look/"),
        (Standing.ASKED, "builder", "build/"),
        (Standing.LOOKING, "inspector", "look/"),
        (Standing.TO_PUT_RIGHT, "builder", "build/"),
        (Standing.TO_PUT_RIGHT, "inspector", "answer/"),
        (Standing.FOR_LEAD, "lead", "decide/"),
        (Standing.FOR_LEAD, "builder", "answer/"),
        (Standing.TO_FIT, "fitter", "fit/"),
        (Standing.TO_FIT, "builder", ""),
        (Standing.TO_RELEASE, "fitter", "release/"),
        (Standing.TO_RELEASE, "inspector", ""),
        (Standing.RELEASED, "fitter", "hand-over/"),
        (Standing.HANDED_OVER, "lead", ""),
        (Standing.SCRAPPED, "lead", ""),
    ],
)
def test_everybody_is_led_to_what_they_can_do_now(hall: Hall, standing: str, who: str, page: str) -> None:
    hand = hall.hand(at="strung")
    Hand.objects.filter(pk=hand.pk).update(standing=standing)
    assert goes(hall, f"/l/{hand.code}/", who) == f"/h/{hand.code}/{page}"


def test_a_hand_on_the_fitting_bench_leads_the_fitter_there(hall: Hall) -> None:
    hand = hall.hand(at="fitting")
    append(hand, [New(kind="asked", what={"hold_point": "fitting"})], person=hall.fitter)
    assert goes(hall, f"/l/{hand.code}/", "fitter") == f"/h/{hand.code}/fit/"


def test_a_practice_hand_leads_to_practising(hall: Hall) -> None:
    hand = hall.hand()
    Hand.objects.filter(pk=hand.pk).update(practice="some-fault")
    assert goes(hall, f"/l/{hand.code}/", "inspector") == f"/practice/{hand.code}/"


@pytest.mark.parametrize(
    ("typed", "says"), [("ABC", "has a"), ("222223", "one of its characters is wrong"), ("2", "1 characters")]
)
def test_a_slip_of_the_pen_is_named(hall: Hall, typed: str, says: str) -> None:
    response = hall.client().get(f"/l/{typed}/")
    assert response.status_code == 400
    assert says in response.content.decode()


def test_a_right_code_that_is_on_no_hand_is_not_found_in_words(hall: Hall) -> None:
    response = hall.client().get(f"/l/{new_code()}/")
    assert response.status_code == 404
    assert "no hand has this code" in response.content.decode()


def test_a_label_is_only_read(hall: Hall) -> None:
    assert hall.client(hall.lead).post(f"/l/{hall.hand().code}/").status_code == 405
