"""Starting, filling in, closing and reopening a day."""

from __future__ import annotations

import threading
from datetime import time

import pytest
from django.db import connections
from django.test import Client
from django.utils import timezone

from bench.hall import Hall
from handsel.bench import hosts
from handsel.bench.days.models import Day
from handsel.bench.days.queries import current_day
from handsel.bench.days.services import read_address, start_day
from handsel.bench.people.services import add_person
from handsel.errors import OutOfRange

LEADS_ONLY = ("/day/", "/day/start/", "/day/close/", "/day/details/", "/day/protocol/", "/day/hands/new/")
POST_ONLY = ("/day/reopen/", "/day/hands/several/", "/day/lots/", "/day/lots/1/", "/day/protocol/move/")


@pytest.fixture
def lead(db: None) -> Client:
    """A lead before the first day."""
    client = Client()
    client.force_login(add_person(is_lead=True))
    return client


def test_one_tap_starts_a_day_with_defaults(lead: Client) -> None:
    assert "Start the day" in lead.get("/day/").content.decode()
    answer = lead.post("/day/start/")
    day = Day.objects.get()
    assert (answer.status_code, answer["Location"]) == (303, "/day/hands/new/")
    assert day.title.startswith("Build day, ")
    assert str(timezone.localtime(day.opened_at).year) in day.title
    assert (day.protocol.name, day.design.name) == ("wrist-hand-1", "linden")


def test_started_twice_it_is_one_day(lead: Client) -> None:
    lead.post("/day/start/")
    lead.post("/day/start/")
    assert Day.objects.count() == 1


def test_two_leads_who_start_at_once_get_the_same_day(shared_hall: Hall) -> None:
    Day.objects.update(closed_at=timezone.now())
    gate = threading.Barrier(2)
    made: list[int] = []

    def start() -> None:
        gate.wait()
        made.append(start_day().pk)
        connections.close_all()

    threads = [threading.Thread(target=start) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(made)) == 1
    assert Day.objects.filter(closed_at=None).count() == 1


@pytest.mark.parametrize("path", LEADS_ONLY)
def test_the_day_is_the_leads(hall: Hall, path: str) -> None:
    for person in (hall.inspector, hall.builder, hall.fitter):
        assert hall.client(person).get(path).status_code == 403
    assert hall.client().get(path).status_code == 302
    assert hall.client(hall.lead).get(path).status_code in (200, 303)


@pytest.mark.parametrize("path", POST_ONLY)
def test_what_writes_is_not_done_by_opening_an_address(hall: Hall, path: str) -> None:
    assert hall.client(hall.lead).get(path).status_code == 405
    assert hall.client(hall.builder).post(path).status_code == 403


def test_a_form_from_elsewhere_changes_nothing(hall: Hall) -> None:
    client = hall.client(hall.lead, enforce_csrf_checks=True)
    assert client.post("/day/close/").status_code == 403
    hall.day.refresh_from_db()
    assert hall.day.closed_at is None


def test_details_are_kept_and_a_name_counts_from_then_on(hall: Hall) -> None:
    client = hall.client(hall.lead)
    told = {
        "title": "Spring day",
        "place": "Millbrook library",
        "closes": "17:30",
        "address": "Bench.local:8000",
    }
    assert client.post("/day/details/", told).status_code == 303
    day = Day.objects.get()
    assert (day.title, day.place, day.address) == (
        "Spring day",
        "Millbrook library",
        "http://bench.local:8000",
    )
    assert day.closes_at is not None
    assert timezone.localtime(day.closes_at).time() == time(17, 30)
    assert hosts.answers_to("bench.local:8000")
    assert "http://bench.local:8000" in client.get("/papers/").content.decode()


def test_a_number_as_address_adds_no_name(hall: Hall) -> None:
    names = hosts.set_names()
    told = {"title": "x", "place": "", "closes": "", "address": "192.168.1.5:8000"}
    hall.client(hall.lead).post("/day/details/", told)
    assert Day.objects.get().address == "http://192.168.1.5:8000"
    assert hosts.set_names() == names


@pytest.mark.parametrize(
    "typed",
    ["javascript:alert(1)", "http://a b", "http://user:pw@host", "host/path", "http://[::1", "x:99999999", "-bad-",
     "http://host?q=1", "ftp://host", "h" * 190],
)  # fmt: skip
def test_what_is_no_address_is_refused_in_words(hall: Hall, typed: str) -> None:
    with pytest.raises(OutOfRange, match="is no address"):
        read_address(typed)
    told = {"title": "x", "place": "", "closes": "", "address": typed}
    page = hall.client(hall.lead).post("/day/details/", told)
    assert page.status_code == 200
    assert "is no address" in page.content.decode()
    assert Day.objects.get().address == ""


@pytest.mark.parametrize(
    ("typed", "read"),
    [("192.168.1.5:8000", "http://192.168.1.5:8000"), ("https://Bench.lan/", "https://bench.lan"),
     ("http://[fe80::1]:80", "http://[fe80::1]:80")],
)  # fmt: skip
def test_an_address_has_one_way_of_writing(typed: str, read: str) -> None:
    assert read_address(typed) == read


def test_closing_says_what_is_open_and_begins_nothing_more(hall: Hall) -> None:
    hall.hand(code="R-001")
    client = hall.client(hall.lead)
    assert "1 hand not finished" in client.get("/day/close/").content.decode()
    client.post("/day/close/")
    closed_at = Day.objects.get().closed_at
    assert closed_at is not None
    client.post("/day/close/")
    assert Day.objects.get().closed_at == closed_at
    assert client.get("/day/hands/new/").status_code == 409
    assert "is closed" in client.get("/day/hands/new/").content.decode()


def test_a_closed_day_is_opened_again_but_not_beside_another(hall: Hall) -> None:
    client = hall.client(hall.lead)
    client.post("/day/close/")
    client.post("/day/reopen/")
    assert Day.objects.get().closed_at is None
    client.post("/day/close/")
    client.post("/day/start/")
    second = current_day()
    assert second is not None
    assert second.pk != hall.day.pk
    client.post("/day/close/")
    Day.objects.filter(pk=hall.day.pk).update(closed_at=None)
    Day.objects.filter(pk=second.pk).update(opened_at=timezone.now())
    # The open one is the day, whatever came later; and a second cannot be opened beside it.
    assert current_day() == hall.day


def test_hostile_texts_are_shown_as_text(hall: Hall) -> None:
    client = hall.client(hall.lead)
    evil = "<script>alert(1)</script>\u202eevil"
    told = {"title": evil, "place": evil, "closes": "", "address": ""}
    client.post("/day/details/", told)
    for path in (
        "/day/",
        "/wall/",
        "/day/details/",
        "/papers/",
        "/day/close/",
        "/day/report/",
        "/day/hands/new/",
    ):
        assert "<script>alert" not in client.get(path).content.decode(), path
    assert client.get("/papers/day-report.pdf").status_code == 200


@pytest.mark.parametrize("field", ["title", "place", "address"])
def test_ten_kilobytes_in_a_field_are_refused(hall: Hall, field: str) -> None:
    told = {"title": "x", "place": "", "closes": "", "address": ""} | {field: "a" * 10_000}
    page = hall.client(hall.lead).post("/day/details/", told)
    assert page.status_code == 200
    assert "at most" in page.content.decode()
