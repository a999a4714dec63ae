"""Signing in, switching on a shared phone, signing out, the first start."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from bench.hall import Hall
from handsel.bench.people import limits, phone
from handsel.bench.people.models import Person
from handsel.bench.people.passphrases import as_kept, bits, new_passphrase, words
from handsel.bench.people.services import add_person, change_rights, first_lead, renew_secret

SIGN_IN = "/sign-in/"


def signed_in(client: Client) -> str:
    """The number of whoever is signed in, as the session has it."""
    pk = client.session.get("_auth_user_id")
    return "" if pk is None else Person.objects.get(pk=pk).called


# ---- passphrases -------------------------------------------------------------------------------


def test_a_passphrase_is_six_plain_words_worth_sixty_bits() -> None:
    assert bits() >= 60
    assert len(set(words())) == 1024
    assert all(w.isascii() and w.isalpha() and w.islower() and 3 <= len(w) <= 10 for w in words())
    made = new_passphrase().split()
    assert len(made) == 6
    assert set(made) <= set(words())


def test_two_passphrases_differ() -> None:
    assert len({new_passphrase() for _ in range(50)}) == 50


def test_case_dashes_and_spaces_do_not_count() -> None:
    assert as_kept("  Acorn-RIVER,stone \n") == "acorn river stone"


# ---- the lead's passphrase ------------------------------------------------------------------------


@pytest.fixture
def words_of_lead(hall: Hall) -> str:
    """The lead's passphrase."""
    return renew_secret(hall.lead)


def test_the_lead_signs_in_with_six_words_and_goes_on_to_the_wanted_page(
    hall: Hall, words_of_lead: str
) -> None:
    client = hall.client()
    response = client.post(SIGN_IN, {"words": words_of_lead.upper().replace(" ", "-"), "next": "/people/"})
    assert (response.status_code, response["Location"]) == (303, "/people/")
    assert signed_in(client) == hall.lead.called


def test_wrong_words_sign_nobody_in_and_say_nothing_of_who_leads(hall: Hall, words_of_lead: str) -> None:
    client = hall.client()
    response = client.post(SIGN_IN, {"words": "acorn acorn acorn acorn acorn acorn"})
    assert response.status_code == 200
    assert "not a lead" in response.content.decode()
    assert hall.lead.called not in response.content.decode()
    assert signed_in(client) == ""


def test_an_empty_passphrase_never_fits(hall: Hall) -> None:
    # A person without a secret has an unusable password; nothing typed may match it.
    client = hall.client()
    for typed in ("", " ", "-", "!"):
        client.post(SIGN_IN, {"words": typed})
        assert signed_in(client) == ""


def test_a_fitters_number_is_no_passphrase(hall: Hall) -> None:
    pin = renew_secret(hall.fitter)
    client = hall.client()
    client.post(SIGN_IN, {"words": pin})
    assert signed_in(client) == ""


def test_a_new_session_key_is_made_at_sign_in(hall: Hall, words_of_lead: str) -> None:
    client = hall.client()
    session = client.session
    session["planted"] = "by somebody else"
    session.save()
    before = client.cookies["handsel"].value if "handsel" in client.cookies else session.session_key
    client.cookies["handsel"] = session.session_key
    client.post(SIGN_IN, {"words": words_of_lead})
    assert signed_in(client)
    assert client.cookies["handsel"].value not in (before, session.session_key)


def test_nobody_is_sent_to_another_site_after_sign_in(hall: Hall, words_of_lead: str) -> None:
    for evil in (
        "https://example.org/",
        "//example.org",
        "/\\example.org",
        "javascript:alert(1)",
        "\t//example.org",
    ):
        client = hall.client()
        response = client.post(SIGN_IN, {"words": words_of_lead, "next": evil})
        assert response["Location"] == "/", evil


def test_after_five_wrong_tries_even_the_right_words_wait(hall: Hall, words_of_lead: str) -> None:
    client = hall.client(REMOTE_ADDR="192.0.2.7")
    for _ in range(5):
        client.post(SIGN_IN, {"words": "acorn"})
    response = client.post(SIGN_IN, {"words": words_of_lead})
    assert response.status_code == 429
    assert "Wait 30 seconds" in response.content.decode()
    assert signed_in(client) == ""


def test_another_phone_does_not_wait_for_the_first_ones_guesses(hall: Hall, words_of_lead: str) -> None:
    guesser, other = hall.client(REMOTE_ADDR="192.0.2.7"), hall.client(REMOTE_ADDR="192.0.2.8")
    for _ in range(6):
        guesser.post(SIGN_IN, {"words": "acorn"})
    other.post(SIGN_IN, {"words": words_of_lead})
    assert signed_in(other)


def test_many_phones_guessing_make_all_wait_but_not_the_leads_own_computer(
    hall: Hall, words_of_lead: str
) -> None:
    for n in range(20):
        hall.client(REMOTE_ADDR=f"192.0.2.{n + 10}").post(SIGN_IN, {"words": "acorn"})
    late = hall.client(REMOTE_ADDR="192.0.2.99").post(SIGN_IN, {"words": words_of_lead})
    assert late.status_code == 429
    own = hall.client(REMOTE_ADDR="127.0.0.1")
    own.post(SIGN_IN, {"words": words_of_lead})
    assert signed_in(own)


def test_the_wait_ends(hall: Hall, words_of_lead: str, monkeypatch: pytest.MonkeyPatch) -> None:
    client = hall.client(REMOTE_ADDR="192.0.2.7")
    for _ in range(5):
        client.post(SIGN_IN, {"words": "acorn"})
    now = limits.time()
    monkeypatch.setattr(limits, "time", lambda: now + 31)
    client.post(SIGN_IN, {"words": words_of_lead})
    assert signed_in(client)


def test_waits_double_and_stay_within_bounds() -> None:
    waits = [limits.OF_ADDRESS.wait_s(n) for n in range(12)]
    assert waits[:7] == [0, 0, 0, 0, 0, 30, 60]
    assert max(waits) == 300
    assert limits.OF_ALL.wait_s(10_000) == 60


def test_right_words_give_the_tries_back(hall: Hall, words_of_lead: str) -> None:
    client = hall.client(REMOTE_ADDR="192.0.2.7")
    for _ in range(3):
        for _ in range(4):
            client.post(SIGN_IN, {"words": "acorn"})
        client.post(SIGN_IN, {"words": words_of_lead})
        assert signed_in(client)
        client.logout()


def test_a_lead_who_was_sent_away_stays_out(hall: Hall, words_of_lead: str) -> None:
    Person.objects.filter(pk=hall.lead.pk).update(is_active=False)
    client = hall.client()
    client.post(SIGN_IN, {"words": words_of_lead})
    assert signed_in(client) == ""


def test_a_new_passphrase_ends_the_old_one_and_every_sign_in(hall: Hall, words_of_lead: str) -> None:
    client = hall.client()
    client.post(SIGN_IN, {"words": words_of_lead})
    assert client.get("/people/").status_code == 200
    new = renew_secret(Person.objects.get(pk=hall.lead.pk))
    assert client.get("/people/").status_code == 302
    assert hall.client().post(SIGN_IN, {"words": words_of_lead}).status_code == 200
    assert hall.client().post(SIGN_IN, {"words": new}).status_code == 303


# ---- a lost sign-in ----------------------------------------------------------------------------------


def test_a_lost_sign_in_comes_back_to_its_page(hall: Hall) -> None:
    client = hall.client()
    response = client.get("/people/?x=1&y=2")
    assert response["Location"] == "/sign-in/?next=/people/%3Fx%3D1%26y%3D2"
    page = client.get(response["Location"]).content.decode()
    assert 'value="/people/?x=1&amp;y=2"' in page
    assert "kept on this phone are not lost" in page


def test_the_phone_still_knows_its_people_when_the_session_is_gone(hall: Hall) -> None:
    client = joined(hall, hall.inspector)
    del client.cookies["handsel"]
    page = client.get(SIGN_IN, {"next": "/h/ABCDEF/look/"}).content.decode()
    assert hall.inspector.called in page
    assert "Answers on this phone are kept" in page
    response = client.post("/switch/", {"number": hall.inspector.number, "next": "/h/ABCDEF/look/"})
    assert response["Location"] == "/h/ABCDEF/look/"
    assert signed_in(client) == hall.inspector.called


# ---- shared phones -----------------------------------------------------------------------------------


def joined(hall: Hall, *people: Person) -> Client:
    """A phone on which these have signed in, the last one now."""
    client = hall.client()
    for person in people:
        _note(client, person)
    return client


def _note(client: Client, person: Person) -> None:
    """Sign in as a phone does after a join code, with all cookies."""
    from handsel.bench.people.passes import new_pass

    lead = Person.objects.get(is_lead=True, number=1)
    role = "fit" if person.may_fit else "inspect" if person.may_inspect else "build"
    _, token = new_pass(role, by=lead)
    told: dict[str, Any] = {"number": person.number}
    if person.has_secret:
        told["secret"] = renew_secret(person)
    assert client.post(f"/join/{token}/", told).status_code == 303


def test_a_shared_phone_switches_in_two_taps(hall: Hall) -> None:
    client = joined(hall, hall.inspector, hall.builder)
    assert signed_in(client) == hall.builder.called
    page = client.get("/switch/", {"next": "/people/"}).content.decode()  # the first tap
    assert f'value="{hall.inspector.number}"' in page
    client.post("/switch/", {"number": hall.inspector.number})  # the second
    assert signed_in(client) == hall.inspector.called
    assert f'value="{hall.builder.number}"' in client.get("/switch/").content.decode()


def test_switching_makes_a_new_session(hall: Hall) -> None:
    client = joined(hall, hall.inspector, hall.builder)
    before = client.cookies["handsel"].value
    client.post("/switch/", {"number": hall.inspector.number})
    assert client.cookies["handsel"].value != before


def test_a_phone_switches_only_to_people_who_signed_in_on_it(hall: Hall) -> None:
    client = joined(hall, hall.builder)
    for number in (hall.inspector.number, hall.lead.number, 999, "x", "", "1 or 1=1"):
        assert client.post("/switch/", {"number": number}).status_code == 200
        assert signed_in(client) == hall.builder.called


def test_a_made_up_phone_cookie_is_worth_nothing(hall: Hall) -> None:
    client = hall.client()
    client.cookies[phone.COOKIE] = f"{hall.lead.number}:x:y"
    assert client.get("/switch/").status_code == 200
    client.post("/switch/", {"number": hall.lead.number})
    assert signed_in(client) == ""


def test_a_fitter_types_the_number_after_a_quarter_of_an_hour(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = joined(hall, hall.fitter)
    pin = renew_secret(
        Person.objects.get(pk=hall.fitter.pk)
    )  # known to the test; ends the sign-in on the phone
    client = hall.client()
    from handsel.bench.people.passes import new_pass

    for person, role, told in ((hall.fitter, "fit", {"secret": pin}), (hall.builder, "build", {})):
        _, token = new_pass(role, by=hall.lead)
        client.post(f"/join/{token}/", {"number": person.number} | told)
    assert client.post("/switch/", {"number": hall.fitter.number}).status_code == 303  # at once: two taps
    client.post("/switch/", {"number": hall.builder.number})
    later = timezone.now() + timedelta(minutes=16)
    monkeypatch.setattr(phone.timezone, "now", lambda: later)
    asked = client.post("/switch/", {"number": hall.fitter.number})
    assert asked.status_code == 200
    assert "four digits" in asked.content.decode()
    assert signed_in(client) == hall.builder.called
    wrong = client.post("/switch/", {"number": hall.fitter.number, "secret": "x"})
    assert (wrong.status_code, signed_in(client)) == (403, hall.builder.called)
    assert client.post("/switch/", {"number": hall.fitter.number, "secret": pin}).status_code == 303
    assert signed_in(client) == hall.fitter.called


def test_a_number_ends_after_ten_wrong_tries_even_with_patience(hall: Hall) -> None:
    pin = renew_secret(hall.fitter)
    from django.core.cache import cache

    from handsel.bench.people.signing import WrongSecret, check_secret

    for _ in range(10):
        cache.clear()  # as if the wait had been waited
        with pytest.raises(WrongSecret):
            check_secret(Person.objects.get(pk=hall.fitter.pk), "nonsense", "192.0.2.7")
    cache.clear()
    with pytest.raises(WrongSecret, match="ended"):
        check_secret(Person.objects.get(pk=hall.fitter.pk), pin, "192.0.2.7")
    new = renew_secret(Person.objects.get(pk=hall.fitter.pk))
    check_secret(Person.objects.get(pk=hall.fitter.pk), new, "192.0.2.7")


def test_signing_out_takes_the_person_off_the_phone(hall: Hall) -> None:
    client = joined(hall, hall.inspector, hall.builder)
    assert client.get("/sign-out/").status_code == 200
    assert signed_in(client) == hall.builder.called  # looking at the page changes nothing
    client.post("/sign-out/")
    assert signed_in(client) == ""
    page = client.get("/switch/").content.decode()
    assert f'value="{hall.builder.number}"' not in page
    assert f'value="{hall.inspector.number}"' in page
    client.post("/switch/", {"number": hall.builder.number})
    assert signed_in(client) == ""


def test_somebody_sent_away_can_neither_stay_nor_be_switched_to(hall: Hall) -> None:
    client = joined(hall, hall.inspector, hall.builder)
    Person.objects.filter(pk=hall.builder.pk).update(is_active=False)
    assert client.get("/").status_code == 302
    client.post("/switch/", {"number": hall.builder.number})
    assert client.get("/").status_code == 302


def test_signing_out_twice_does_no_harm(hall: Hall) -> None:
    client = joined(hall, hall.builder)
    assert client.post("/sign-out/").status_code == 303
    assert client.post("/sign-out/").status_code == 303


# ---- the first start -----------------------------------------------------------------------------------


def test_the_first_start_makes_one_lead_and_says_the_words_once(db: None) -> None:
    words_told = first_lead()
    assert words_told is not None
    assert first_lead() is None
    assert Person.objects.filter(is_lead=True).count() == 1
    client = Client()
    client.post(SIGN_IN, {"words": words_told})
    assert signed_in(client) == "lead 1"


def test_at_the_computer_itself_one_press_makes_the_lead(db: None) -> None:
    client = Client(SERVER_NAME="localhost")
    assert client.get(SIGN_IN)["Location"] == "/first/"
    assert "Do you lead this day?" in client.get("/first/").content.decode()
    assert Person.objects.count() == 0  # looking makes nobody
    page = client.post("/first/")
    assert page.status_code == 200
    assert signed_in(client) == "lead 1"
    shown = page.content.decode().split('<p class="passphrase">')[1].split("</p>")[0]
    assert Client().post(SIGN_IN, {"words": shown}).status_code == 303


def test_the_first_start_happens_once(db: None) -> None:
    client = Client(SERVER_NAME="localhost")
    client.post("/first/")
    again = Client(SERVER_NAME="localhost").post("/first/")
    assert again.status_code == 409
    assert "passphrase" in again.content.decode()
    assert 'class="passphrase"' not in again.content.decode()
    assert Person.objects.count() == 1


def test_from_another_device_the_first_start_is_refused(db: None) -> None:
    for client in (
        Client(REMOTE_ADDR="192.0.2.7"),
        Client(REMOTE_ADDR="192.0.2.7", SERVER_NAME="localhost"),
        Client(REMOTE_ADDR="127.0.0.1", SERVER_NAME="192.0.2.1"),
    ):
        assert client.post("/first/").status_code == 403
        assert Person.objects.count() == 0


def test_behind_a_proxy_nobody_counts_as_sitting_at_the_computer(db: None, settings: Any) -> None:
    settings.HTTPS = True
    assert Client(SERVER_NAME="localhost").post("/first/").status_code == 403
    assert Person.objects.count() == 0


def test_the_words_from_the_window_work_until_somebody_presses_first(db: None) -> None:
    words_told = first_lead()
    assert words_told is not None
    Client(SERVER_NAME="localhost").post("/first/")
    assert Client().post(SIGN_IN, {"words": words_told}).status_code == 200
    assert Person.objects.count() == 1


def test_making_somebody_a_lead_gives_them_words_and_ends_their_sign_ins(hall: Hall) -> None:
    client = joined(hall, hall.builder)
    told = change_rights(
        Person.objects.get(pk=hall.builder.pk), is_lead=True, may_inspect=True, may_build=True, may_fit=True
    )
    assert told is not None
    assert len(told.split()) == 6
    assert client.get("/").status_code == 302


def test_nobody_starts_with_a_secret_that_could_be_known(db: None) -> None:
    for rights in ({"is_lead": True}, {"may_fit": True}, {}):
        assert not add_person(**rights).has_usable_password()
