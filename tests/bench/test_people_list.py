"""The lead's list of people, and the first page of everybody."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.people.models import Person
from handsel.bench.people.services import StillNeeded, set_active


def page_of(hall: Hall, person: Person, path: str = "/") -> str:
    """A page as this person sees it."""
    response = hall.client(person).get(path)
    assert response.status_code == 200
    return response.content.decode()


def test_the_list_shows_everybody_with_what_they_may_do(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="taken", what={"to": "build"})], person=hall.builder)
    page = page_of(hall, hall.lead, "/people/")
    for person in (hall.lead, hall.inspector, hall.builder, hall.fitter):
        assert person.called in page
    assert "has 1 hand" in page


def test_rights_change_and_hold_at_once(hall: Hall) -> None:
    builder = hall.client(hall.builder)
    assert builder.get("/people/").status_code == 403
    lead = hall.client(hall.lead)
    lead.post(f"/people/{hall.builder.number}/", {"do": "rights", "right": ["may_build", "may_inspect"]})
    hall.builder.refresh_from_db()
    assert (hall.builder.may_build, hall.builder.may_inspect, hall.builder.is_lead) == (True, True, False)
    assert hall.builder.called == f"inspector {hall.builder.number}"


def test_a_new_fitter_gets_a_number_shown_once(hall: Hall) -> None:
    lead = hall.client(hall.lead)
    page = lead.post(
        f"/people/{hall.builder.number}/", {"do": "rights", "right": ["may_fit"]}
    ).content.decode()
    shown = re.search(r'class="passphrase">(\d{4})<', page)
    assert shown is not None
    hall.builder.refresh_from_db()
    assert hall.builder.check_password(shown[1])
    page = lead.post(f"/people/{hall.builder.number}/", {"do": "rights", "right": ["may_build"]})
    assert page.status_code == 303
    hall.builder.refresh_from_db()
    assert not hall.builder.has_usable_password()


def test_a_forgotten_name_is_gone_and_the_records_stay(hall: Hall) -> None:
    hall.builder.name = "Robin"
    hall.builder.save()
    hand = hall.hand()
    append(hand, [New(kind="noted", what={"text": "stiff"})], person=hall.builder)
    lead = hall.client(hall.lead)
    assert "Robin" in lead.get("/people/").content.decode()
    lead.post(f"/people/{hall.builder.number}/", {"do": "forget name"})
    assert "Robin" not in lead.get("/people/").content.decode()
    for entry in Entry.objects.filter(hand=hand):
        assert b"Robin" not in bytes(entry.record)
    assert Entry.objects.filter(hand=hand, person=hall.builder).exists()


def test_somebody_sent_away_is_let_in_again(hall: Hall) -> None:
    builder, lead = hall.client(hall.builder), hall.client(hall.lead)
    lead.post(f"/people/{hall.builder.number}/", {"do": "send away"})
    assert builder.get("/").status_code == 302
    lead.post(f"/people/{hall.builder.number}/", {"do": "let in again"})
    hall.builder.refresh_from_db()
    assert hall.builder.is_active


def test_the_last_lead_can_neither_go_nor_be_demoted(hall: Hall) -> None:
    lead = hall.client(hall.lead)
    for told in ({"do": "send away"}, {"do": "rights", "right": ["may_build"]}):
        response = lead.post(f"/people/{hall.lead.number}/", told)
        assert "only lead" in response.content.decode()
        hall.lead.refresh_from_db()
        assert hall.lead.is_lead
        assert hall.lead.is_active
    with pytest.raises(StillNeeded):
        set_active(hall.lead, False)


def test_a_lost_phone_is_signed_out_from_afar(hall: Hall) -> None:
    phone = hall.client(hall.builder)
    assert phone.get("/").status_code == 200
    hall.client(hall.lead).post(f"/people/{hall.builder.number}/", {"do": "end sign-ins"})
    assert phone.get("/").status_code == 302


@pytest.mark.parametrize("told", [{}, {"do": "make king"}, {"do": "new secret"}])
def test_what_makes_no_sense_changes_nothing(hall: Hall, told: dict[str, Any]) -> None:
    before = Person.objects.filter(pk=hall.builder.pk).values().get()
    assert hall.client(hall.lead).post(f"/people/{hall.builder.number}/", told).status_code == 400
    assert Person.objects.filter(pk=hall.builder.pk).values().get() == before


def test_a_number_nobody_has_is_not_here(hall: Hall) -> None:
    assert hall.client(hall.lead).get("/people/99/").status_code == 404


# ---- the first page ----------------------------------------------------------------------------------


def test_a_code_typed_in_any_way_leads_to_its_hand(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.builder)
    for typed in (
        hand.code,
        hand.shown_code.lower(),
        f" {hand.code[:3]} {hand.code[3:]} ",
        f"http://x/l/{hand.code}/",
    ):
        response = client.get("/", {"code": typed})
        assert (response.status_code, response["Location"]) == (303, f"/l/{hand.code}/")


def test_a_slip_is_said_in_words_and_what_was_typed_stays(hall: Hall) -> None:
    client = hall.client(hall.builder)
    for typed, said in (
        ("A2B3C4", "No code has a &#x27;A&#x27; in it"),
        ("234", "3 characters"),
        ("<script>alert(1)</script>", "No code has"),
    ):
        page = client.get("/", {"code": typed}).content.decode()
        assert said in page
        assert "<script>alert" not in page
    assert 'value="234"' in client.get("/", {"code": "234"}).content.decode()


def test_a_good_code_of_no_hand_is_said_so(hall: Hall) -> None:
    hand = hall.hand()
    from handsel.bench.hands.codes import check_sign

    other = "22222" if not hand.code.startswith("22222") else "33333"
    page = hall.client(hall.builder).get("/", {"code": other + check_sign(other)}).content.decode()
    assert "No hand on this bench has this code" in page


def stand(hand: Hand, standing: str, minutes: int) -> None:
    """Put a hand into a standing, for lists."""
    Hand.objects.filter(pk=hand.pk).update(
        standing=standing, since=timezone.now() - timedelta(minutes=minutes)
    )


def test_everybody_sees_what_waits_for_them_and_only_that(hall: Hall) -> None:
    hands = {s: hall.hand(code=f"R-{n:03}") for n, s in enumerate(Standing.values, start=1)}
    for standing, hand in hands.items():
        stand(hand, standing, 10)
    wanted = {
        hall.inspector: {Standing.ASKED},
        hall.builder: {Standing.TO_PUT_RIGHT, Standing.BUILDING},
        hall.fitter: {Standing.TO_FIT, Standing.TO_RELEASE, Standing.RELEASED},
    }
    for person, standings in wanted.items():
        page = page_of(hall, person)
        seen = {s for s, hand in hands.items() if hand.shown_code in page}
        assert seen == {str(s) for s in standings}, person.called
    assert hands[Standing.FOR_LEAD].shown_code in page_of(hall, hall.lead)


def test_the_longest_waiting_comes_first_and_ones_own_before_all(hall: Hall) -> None:
    first, second, mine = (hall.hand(code=f"R-{n:03}") for n in (1, 2, 3))
    stand(first, Standing.ASKED, 40)
    stand(second, Standing.ASKED, 5)
    append(mine, [New(kind="taken", what={"to": "look"})], person=hall.inspector)
    page = page_of(hall, hall.inspector)
    order = [page.index(h.shown_code) for h in (mine, first, second)]
    assert order == sorted(order)
    assert "In your hands" in page
    assert page.count(mine.shown_code) == 1


def test_practice_hands_wait_for_nobody(hall: Hall) -> None:
    hand = hall.hand()
    Hand.objects.filter(pk=hand.pk).update(practice="some-fault")
    stand(hand, Standing.ASKED, 5)
    Hand.objects.filter(pk=hand.pk).update(held_by=None)
    assert hand.shown_code not in page_of(hall, hall.inspector)


def test_a_newcomer_is_offered_a_practice_hand_until_one_is_done(hall: Hall) -> None:
    assert "New here?" in page_of(hall, hall.inspector)
    Person.objects.filter(pk=hall.inspector.pk).update(practised_at=timezone.now())
    page = page_of(hall, hall.inspector)
    assert "New here?" not in page
    assert "/practice/" in page


def test_before_the_first_day_the_lead_is_shown_where_to_start(db: None) -> None:
    client = Client(SERVER_NAME="localhost")
    client.post("/first/")
    assert "/day/start/" in client.get("/").content.decode()


def test_the_first_page_asks_a_constant_number_of_questions(
    hall: Hall, django_assert_max_num_queries: Any
) -> None:
    for n in range(6):
        stand(hall.hand(code=f"R-{n:03}"), Standing.ASKED, n)
    client = hall.client(hall.inspector)
    client.get("/")
    with django_assert_max_num_queries(6):
        client.get("/")
