"""Joining by the lead's code."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.people import passes
from handsel.bench.people.models import JoinPass, Person
from handsel.bench.people.passes import LASTS, new_pass
from handsel.bench.people.services import renew_secret


def form_of(client: Client, token: str) -> dict[str, str]:
    """The hidden fields of the join page."""
    page = client.get(f"/join/{token}/").content.decode()
    found = re.search(r'name="client_id" value="([0-9a-f]{32})"', page)
    assert found is not None, page
    return {"client_id": found[1]}


def who(client: Client) -> Person | None:
    """Whoever is signed in."""
    pk = client.session.get("_auth_user_id")
    return None if pk is None else Person.objects.get(pk=pk)


def test_a_first_name_is_enough(hall: Hall) -> None:
    _, token = new_pass("both", by=hall.lead)
    client = hall.client()
    page = client.get(f"/join/{token}/").content.decode()
    assert "Stay connected though there is no internet" in page
    assert "builder and inspector" in page
    response = client.post(f"/join/{token}/", form_of(client, token) | {"name": "  Ash\u202e  B "})
    assert (response.status_code, response["Location"]) == (303, "/")
    person = who(client)
    assert person is not None
    assert person.name == "Ash B"
    assert (person.may_build, person.may_inspect, person.may_fit, person.is_lead) == (
        True,
        True,
        False,
        False,
    )


def test_without_a_name_a_number_will_do(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    client = hall.client()
    client.post(f"/join/{token}/", form_of(client, token) | {"name": ""})
    person = who(client)
    assert person is not None
    assert person.shown == f"builder {person.number}"


@pytest.mark.parametrize(
    ("role", "flags"),
    [
        ("build", {"may_build"}),
        ("inspect", {"may_inspect"}),
        ("both", {"may_build", "may_inspect"}),
        ("fit", {"may_fit"}),
        ("lead", {"is_lead", "may_build", "may_inspect", "may_fit"}),
    ],
)
def test_a_code_gives_the_rights_it_was_made_for_and_no_others(
    hall: Hall, role: str, flags: set[str]
) -> None:
    _, token = new_pass(role, by=hall.lead)
    client = hall.client()
    client.post(f"/join/{token}/", form_of(client, token) | {"is_lead": "on", "may_fit": "on"})
    person = who(client)
    assert person is not None
    assert {f for f in ("is_lead", "may_build", "may_inspect", "may_fit") if getattr(person, f)} == flags


def test_a_fitter_sees_a_number_once_and_a_lead_six_words(hall: Hall) -> None:
    for role, pattern in (("fit", r"^\d{4}$"), ("lead", r"^([a-z]+ ){5}[a-z]+$")):
        _, token = new_pass(role, by=hall.lead)
        client = hall.client()
        page = client.post(f"/join/{token}/", form_of(client, token))
        shown = re.search(r'class="passphrase">([^<]+)<', page.content.decode())
        assert shown is not None
        assert re.match(pattern, shown[1])
        person = who(client)
        assert person is not None
        assert person.check_password(shown[1])
        assert shown[1] not in client.get("/").content.decode()


def test_pressed_twice_one_person_joins(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    client = hall.client()
    told = form_of(client, token) | {"name": "Ash"}
    before = Person.objects.count()
    client.post(f"/join/{token}/", told)
    client.post(f"/join/{token}/", told)
    assert Person.objects.count() == before + 1


def test_many_join_with_one_code_while_it_counts(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    people = set()
    for _ in range(12):
        client = hall.client(REMOTE_ADDR="192.0.2.7")  # all behind one router
        client.post(f"/join/{token}/", form_of(client, token))
        person = who(client)
        assert person is not None
        people.add(person.number)
    assert len(people) == 12


def test_a_code_ends_after_ten_minutes(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    given, token = new_pass("build", by=hall.lead)
    client = hall.client()
    told = form_of(client, token)
    JoinPass.objects.filter(pk=given.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    for response in (client.get(f"/join/{token}/"), client.post(f"/join/{token}/", told)):
        assert response.status_code == 404
        assert "no longer counts" in response.content.decode()
    assert who(client) is None


def test_a_code_that_was_ended_stays_ended_even_if_renewed(hall: Hall) -> None:
    given, token = new_pass("build", by=hall.lead)
    lead = hall.client(hall.lead)
    lead.post(f"/people/join/{given.pk}/end/")
    lead.post(f"/people/join/{given.pk}/renew/")
    assert hall.client().get(f"/join/{token}/").status_code == 404


def test_a_code_can_be_renewed_for_ten_minutes_more(hall: Hall) -> None:
    given, token = new_pass("build", by=hall.lead)
    JoinPass.objects.filter(pk=given.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    hall.client(hall.lead).post(f"/people/join/{given.pk}/renew/")
    assert hall.client().get(f"/join/{token}/").status_code == 200
    given.refresh_from_db()
    assert abs(given.expires_at - timezone.now() - LASTS) < timedelta(seconds=5)


def test_a_code_ends_with_the_lead_who_made_it(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    Person.objects.filter(pk=hall.lead.pk).update(is_active=False)
    assert hall.client().get(f"/join/{token}/").status_code == 404


def test_the_database_does_not_know_the_code_itself(hall: Hall) -> None:
    given, token = new_pass("build", by=hall.lead)
    kept = JoinPass.objects.filter(pk=given.pk).values()[0]
    assert token not in str(kept)


def test_guessing_codes_is_slowed_down(hall: Hall) -> None:
    client = hall.client(REMOTE_ADDR="192.0.2.7")
    statuses = [client.get(f"/join/BCDFGHJKL{n}/").status_code for n in range(2, 9)]
    assert statuses == [404] * 5 + [429] * 2


def test_codes_are_hard_to_guess_and_easy_to_type(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    assert re.fullmatch(r"[2-9B-DF-HJ-NP-TV-Z]{10}", token)
    typed = hall.client().get("/join/", {"code": f" {token[:5].lower()}-{token[5:]} "})
    assert (typed.status_code, typed["Location"]) == (303, f"/join/{token}/")


def test_hostile_codes_are_only_wrong(hall: Hall) -> None:
    for n, token in enumerate(("%00", "'or 1=1--", "a" * 5000, "\u202e", "..%2f..")):
        client = hall.client(REMOTE_ADDR=f"192.0.2.{n + 1}")
        assert client.get(f"/join/{token}/").status_code == 404
        assert client.get("/join/", {"code": token}).status_code in (200, 303)


@pytest.mark.parametrize("bad", ["", "xyz", "0" * 31, "G" * 32])
def test_a_form_without_its_hidden_number_is_not_taken(hall: Hall, bad: str) -> None:
    _, token = new_pass("build", by=hall.lead)
    before = Person.objects.count()
    response = hall.client().post(f"/join/{token}/", {"client_id": bad, "name": "Ash"})
    assert response.status_code == 200
    assert Person.objects.count() == before


def test_a_name_that_is_too_long_is_said_so(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    client = hall.client()
    response = client.post(f"/join/{token}/", form_of(client, token) | {"name": "A" * 41})
    assert response.status_code == 200
    assert "40" in response.content.decode()
    assert who(client) is None


def test_who_was_here_before_comes_back_as_the_same_person(hall: Hall) -> None:
    _, token = new_pass("inspect", by=hall.lead)
    client = hall.client()
    assert hall.inspector.called in client.get(f"/join/{token}/").content.decode()
    before = Person.objects.count()
    client.post(f"/join/{token}/", {"number": hall.inspector.number})
    assert who(client) == hall.inspector
    assert Person.objects.count() == before


def test_nobody_comes_back_with_more_rights_than_the_code_gives(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    for person in (hall.inspector, hall.fitter, hall.lead):
        client = hall.client()
        assert client.post(f"/join/{token}/", {"number": person.number}).status_code == 200
        assert who(client) is None


def test_a_fitter_comes_back_only_with_the_number(hall: Hall) -> None:
    pin = renew_secret(hall.fitter)
    _, token = new_pass("fit", by=hall.lead)
    client = hall.client()
    assert "four digits" in client.post(f"/join/{token}/", {"number": hall.fitter.number}).content.decode()
    wrong = client.post(f"/join/{token}/", {"number": hall.fitter.number, "secret": "x" + pin})
    assert (wrong.status_code, who(client)) == (403, None)
    client.post(f"/join/{token}/", {"number": hall.fitter.number, "secret": pin})
    assert who(client) == hall.fitter


def test_a_session_known_before_joining_is_worth_nothing_after(hall: Hall) -> None:
    _, token = new_pass("build", by=hall.lead)
    client = hall.client()
    session = client.session
    session["planted"] = 1
    session.save()
    client.cookies["handsel"] = session.session_key
    client.post(f"/join/{token}/", form_of(client, token))
    assert client.cookies["handsel"].value != session.session_key
    thief = hall.client()
    thief.cookies["handsel"] = session.session_key
    assert thief.get("/").status_code == 302


# ---- the lead's page with the code ---------------------------------------------------------------


def test_the_lead_shows_a_code_that_leads_to_the_join_page(hall: Hall) -> None:
    lead = hall.client(hall.lead, HTTP_HOST="192.0.2.1:8000")
    assert lead.post("/people/join/new/", {"role": "inspect"}).status_code == 303
    page = lead.get("/people/join/").content.decode()
    assert "http://192.0.2.1:8000/join/" in page
    assert "<svg" in page
    shown = re.search(r"typed-code\">([A-Z0-9]{5})-([A-Z0-9]{5})<", page)
    assert shown is not None
    assert passes.open_pass(shown[1] + shown[2]).may_inspect


def test_making_another_code_ends_the_one_before(hall: Hall) -> None:
    lead = hall.client(hall.lead)
    lead.post("/people/join/new/", {"role": "build"})
    lead.post("/people/join/new/", {"role": "inspect"})
    assert JoinPass.objects.filter(ended_at=None).count() == 1


def test_looking_at_the_page_makes_no_code(hall: Hall) -> None:
    hall.client(hall.lead).get("/people/join/")
    assert JoinPass.objects.count() == 0


def test_an_unknown_role_makes_no_code(hall: Hall) -> None:
    assert hall.client(hall.lead).post("/people/join/new/", {"role": "owner"}).status_code == 400
    assert JoinPass.objects.count() == 0


@pytest.mark.parametrize("path", ["/people/join/new/", "/people/join/1/renew/", "/people/join/1/end/"])
def test_codes_change_by_post_only(hall: Hall, path: str) -> None:
    assert hall.client(hall.lead).get(path).status_code == 405
