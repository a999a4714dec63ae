"""Every page and who may open it, one by one. A page that is not in this table fails the first test."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver

from bench.hall import Hall
from handsel.bench.headers import POLICY
from handsel.bench.people.models import Person
from handsel.bench.people.services import add_person

ALL, ANYONE, LEAD = "open to all", "anyone", "lead"
BUILD, INSPECT, FIT = "build", "inspect", "fit"

# address -> who: the lead may open everything, so it is named only where nobody else may
PAGES: dict[str, tuple[str, ...]] = {
    "": (ANYONE,),
    "sign-in/": (ALL,),
    "switch/": (ALL,),
    "sign-out/": (ALL,),
    "first/": (ALL,),
    "join/": (ALL,),
    "join/<str:token>/": (ALL,),
    "people/": (LEAD,),
    "people/join/": (LEAD,),
    "people/join/new/": (LEAD,),
    "people/join/<int:pk>/renew/": (LEAD,),
    "people/join/<int:pk>/end/": (LEAD,),
    "people/<int:number>/": (LEAD,),
    "day/": (LEAD,),
    "day/start/": (LEAD,),
    "day/close/": (LEAD,),
    "day/reopen/": (LEAD,),
    "day/hands/new/": (LEAD,),
    "day/hands/several/": (LEAD,),
    "day/details/": (LEAD,),
    "day/lots/": (LEAD,),
    "day/lots/<int:pk>/": (LEAD,),
    "day/protocol/": (LEAD,),
    "day/protocol/move/": (LEAD,),
    "day/report/": (LEAD,),
    "wall/": (ALL,),
    "search/": (ANYONE,),
    "l/<str:code>/": (ALL,),
    "h/<str:code>/": (ALL,),
    "h/<str:code>/look/": (INSPECT, FIT),
    "h/<str:code>/answers/": (INSPECT, FIT),
    "h/<str:code>/ask/": (INSPECT, FIT),
    "h/<str:code>/answer/": (ANYONE,),
    "h/<str:code>/answer/state/": (ANYONE,),
    "h/<str:code>/paper/": (INSPECT,),
    "answers/who/": (ALL,),
    "unsent/": (ALL,),
    "^figures/(?P<protocol>[0-9a-f]{64})/(?P<design>[0-9a-f]{64})\\.json$": (ALL,),
    "h/<str:code>/build/": (BUILD,),
    "h/<str:code>/build/step/<slug:step>/": (BUILD,),
    "h/<str:code>/build/did/": (BUILD,),
    "h/<str:code>/build/checks/": (BUILD,),
    "h/<str:code>/build/ask/": (BUILD,),
    "h/<str:code>/build/take/": (BUILD, FIT),
    "h/<str:code>/build/put-down/": (BUILD, FIT),
    "h/<str:code>/build/note/": (ANYONE,),
    "h/<str:code>/build/lot/": (BUILD,),
    "h/<str:code>/order/": (BUILD, INSPECT),
    "h/<str:code>/cards/<int:seq>/": (BUILD, INSPECT, FIT),
    "h/<str:code>/cards/<int:seq>/done/": (BUILD, FIT),
    "h/<str:code>/cards/<int:seq>/cannot/": (BUILD, FIT),
    "h/<str:code>/cards/<int:seq>/drop/": (INSPECT,),
    "h/<str:code>/about/": (LEAD,),
    "h/<str:code>/decide/": (LEAD,),
    "h/<str:code>/decide/concede/": (LEAD,),
    "h/<str:code>/decide/take-back/": (LEAD,),
    "h/<str:code>/decide/look-again/": (LEAD,),
    "h/<str:code>/decide/scrap/": (LEAD,),
    "h/<str:code>/fit/": (FIT,),
    "h/<str:code>/fit/begin/": (FIT,),
    "h/<str:code>/fit/clock/": (FIT,),
    "h/<str:code>/release/": (FIT,),
    "h/<str:code>/hand-over/": (FIT,),
    "h/<str:code>/causes/": (ALL,),
    "h/<str:code>/causes/look/": (INSPECT, BUILD),
    "h/<str:code>/causes/back/": (INSPECT, BUILD),
    "h/<str:code>/causes/begin/": (ANYONE,),
    "day/plan/": (LEAD,),
    "day/plan/again/": (LEAD,),
    "day/plan/goes-by/": (LEAD,),
    "day/learned/": (LEAD,),
    "day/learned/back/": (LEAD,),
    "practice/": (ANYONE,),
    "practice/begin/": (INSPECT,),
    "practice/<str:code>/": (ANYONE,),
    "practice/<str:code>/look/": (INSPECT,),
    "practice/<str:code>/ask/": (INSPECT,),
    "practice/<str:code>/done/": (ANYONE,),
    "photos/": (ANYONE,),
    "photos/label/": (ANYONE,),
    "^photos/label/(?P<client_id>[0-9A-Za-z_-]{1,64})/$": (ANYONE,),
    "photos/all/": (LEAD,),
    "^photos/(?P<fingerprint>[0-9a-f]{64})\\.jpg$": (ANYONE,),
    "^photos/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/$": (ANYONE,),
    "^photos/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/erase/$": (LEAD,),
    "^measured/(?P<kind>[a-z]{1,8})/(?P<client_id>[0-9A-Za-z_-]{1,64})/$": (INSPECT, FIT),
    "^measured/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/ask/$": (INSPECT, FIT),
    "h/<str:code>/measured/lines/": (INSPECT, FIT),
    "h/<str:code>/measured/together/": (INSPECT, FIT),
    "papers/": (LEAD,),
    "papers/grid/": (LEAD,),
    "papers/labels.pdf": (LEAD,),
    "papers/travellers.pdf": (LEAD,),
    "papers/day-report.pdf": (LEAD,),
    "papers/for-photos/": (ANYONE,),
    "papers/cards.pdf": (ANYONE,),
    "papers/mat.pdf": (ANYONE,),
    "papers/card-carrier.3mf": (ANYONE,),
    "h/<str:code>/papers/traveller.pdf": (ANYONE,),
    "h/<str:code>/papers/rework.pdf": (ANYONE,),
    "h/<str:code>/papers/release.pdf": (FIT, INSPECT),
    "h/<str:code>/papers/hand-over.pdf": (FIT, INSPECT),
    "records/": (LEAD,),
    "records/check/": (LEAD,),
    "records/backup/": (LEAD,),
    "records/backups/<str:name>": (LEAD,),
    "records/export.zip": (LEAD,),
    "h/<str:code>/case.toml": (ANYONE,),
    "ready/": (LEAD,),
    "ready/points/": (LEAD,),
    "ready/tick/": (LEAD,),
    "ready/try/": (LEAD,),
    "ready/scale/": (LEAD,),
    "ready/backup/": (LEAD,),
    "ready/scale-bar.pdf": (LEAD,),
    "ready/phone/": (ALL,),
}
# Served to be kept by the browser: their content never changes under their address.
KEPT_BY_BROWSERS = ("^figures/", "^photos/(")


def addresses(patterns: list[Any], before: str = "") -> Iterator[tuple[str, Any]]:
    """Every address of the url configuration, with its view."""
    for pattern in patterns:
        address = before + str(pattern.pattern)
        if hasattr(pattern, "url_patterns"):
            yield from addresses(pattern.url_patterns, address)
        else:
            yield address, pattern.callback


VIEWS = dict(addresses(get_resolver().url_patterns))


def filled(address: str, hall: Hall) -> str:
    """An address with something in each of its places."""
    code = hall.day.hands.order_by("pk").values_list("code", flat=True).first() or "XXXXXX"
    path = re.sub(r"\(\?P<kind>[^)]*\)", "angle", address)
    path = re.sub(r"\(\?P<client_id>[^)]*\)", "a1b2c3", path)
    path = re.sub(r"\(\?P<\w+>\[0-9a-f\]\{64\}\)", "0" * 64, path).replace("\\", "").strip("^$")
    for place, value in (
        ("<str:token>", "BCDFGHJKLM"), ("<int:pk>", "1"), ("<int:number>", str(hall.builder.number)),
        ("<str:code>", code), ("<int:seq>", "1"), ("<slug:step>", "lay-out"), ("<str:name>", "none.zip"),
    ):  # fmt: skip
        path = path.replace(place, value)
    assert not set("<>()^$\\") & set(path), f"{address}: say in `filled` what stands there"
    return f"/{path}"


def test_every_page_is_in_the_table_and_every_line_of_it_is_a_page() -> None:
    assert set(VIEWS) - set(PAGES) == set(), "new pages: say who may open them"
    assert set(PAGES) - set(VIEWS) == set(), "pages that are gone"


def test_every_view_says_itself_who_may_open_it() -> None:
    for address, view in VIEWS.items():
        expected = () if PAGES[address] == (ALL,) else set(PAGES[address])
        said = getattr(view, "handsel_rights", None)
        assert said is not None, address
        assert (set(said) or ()) == expected, address


@pytest.fixture
def people(hall: Hall) -> dict[str, tuple[Person | None, set[str]]]:
    """One of each sort, with the rights that they have."""
    hall.hand()
    gone = add_person(is_lead=True)
    Person.objects.filter(pk=gone.pk).update(is_active=False)
    return {
        "nobody": (None, set()),
        "helper": (add_person(), {ANYONE}),
        "builder": (hall.builder, {ANYONE, BUILD}),
        "inspector": (hall.inspector, {ANYONE, INSPECT}),
        "fitter": (hall.fitter, {ANYONE, FIT}),
        "lead": (hall.lead, {ANYONE, BUILD, INSPECT, FIT, LEAD}),
        "lead who was sent away": (gone, set()),
    }


def put_away(response: Any) -> None:
    """Read a download to its end, as a browser does, so that its file is closed."""
    if response.streaming:
        b"".join(response)


def is_refused(response: Any) -> bool:
    """Whether the gate held this request back: to sign in, or not for this person."""
    if response.status_code == 302 and response["Location"].startswith("/sign-in/"):
        return True
    return response.status_code == 403 and b"This page is for" in b"".join(response)


@pytest.mark.parametrize("method", ["get", "post"])
def test_each_page_opens_for_its_people_and_for_no_others(
    hall: Hall, people: dict[str, tuple[Person | None, set[str]]], method: str
) -> None:
    wrong = []
    for called, (person, rights) in people.items():
        client = hall.client(person)
        for address, who_may in PAGES.items():
            expected = who_may != (ALL,) and not rights & set(who_may)
            if method == "post" and not expected:
                continue  # only that a refused one is refused: what it does is tested where it belongs
            response = getattr(client, method)(filled(address, hall))
            if is_refused(response) != expected or response.status_code >= 500:
                wrong.append(f"{called} at {address}: {response.status_code}, refused: {not expected}")
            put_away(response)
    assert wrong == []


def test_a_script_that_is_not_signed_in_gets_a_plain_answer(hall: Hall) -> None:
    client = hall.client()
    for address in (a for a, who in PAGES.items() if who != (ALL,)):
        response = client.get(filled(address, hall), headers={"accept": "application/json"})
        assert response.status_code == 401, address
        assert "kept" in response.json()["do"]


def test_no_page_takes_a_form_from_another_site(hall: Hall) -> None:
    hall.hand()
    client = Client(enforce_csrf_checks=True)
    client.force_login(hall.lead)
    for address in PAGES:
        for headers in ({}, {"origin": "https://example.org"}, {"x-csrftoken": "a" * 32}):
            response = client.post(
                filled(address, hall), {"do": "send away", "role": "lead"}, headers=headers
            )
            assert response.status_code == 403, address
            assert b"too old" in response.content, address


INLINE = re.compile(
    rb"""<style|\sstyle=|\son[a-z]+=|<script(?![^>]*(?:\ssrc=|type="application/json"))|javascript:""",
    re.IGNORECASE,
)
ELSEWHERE = re.compile(rb"""(?:src|href|action|srcset)=["'](?:https?:)?//""", re.IGNORECASE)


def test_every_answer_carries_its_policy_and_needs_nothing_from_elsewhere(hall: Hall) -> None:
    hall.hand()
    client = hall.client(hall.lead)
    for address in PAGES:
        response = client.get(filled(address, hall))
        told = response.headers
        assert told["Content-Security-Policy"].startswith(POLICY.split(";")[0]), address
        assert "unsafe" not in told["Content-Security-Policy"], address
        assert (told["X-Content-Type-Options"], told["X-Frame-Options"]) == ("nosniff", "DENY"), address
        assert told["Referrer-Policy"] == "same-origin", address
        if not (address.startswith(KEPT_BY_BROWSERS) and response.status_code == 200):
            assert "no-store" in told.get("Cache-Control", ""), address
        if told.get("Content-Type", "").startswith("text/html"):
            content = b"".join(response)
            assert not INLINE.search(content), (address, INLINE.search(content))
            assert not ELSEWHERE.search(content), (address, ELSEWHERE.search(content))
        put_away(response)


def test_a_page_that_is_not_there_carries_the_policy_too(hall: Hall) -> None:
    response = hall.client(hall.lead).get("/nowhere/")
    assert response.status_code == 404
    assert response.headers["Content-Security-Policy"] == POLICY


# ---- by which names it answers -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["192.168.1.5:8000", "10.0.0.7", "localhost:8000", "127.0.0.1", "[::1]:8000"]
)
def test_it_answers_to_numbers_and_its_own_names(hall: Hall, host: str) -> None:
    assert hall.client(HTTP_HOST=host).get("/sign-in/").status_code in (200, 303)


@pytest.mark.parametrize(
    "host", ["example.org", "example.org:8000", "localhost.example.org", "192.168.1.5.example.org", "a b"]
)
def test_it_refuses_names_that_nobody_gave_it(hall: Hall, host: str) -> None:
    response = hall.client(HTTP_HOST=host).get("/sign-in/")
    assert response.status_code == 400
    assert b"Unknown address" in response.content
    assert response.headers.get("Set-Cookie") is None


def test_a_request_that_names_nobody_is_refused(hall: Hall) -> None:
    assert hall.client(HTTP_HOST="").get("/sign-in/").status_code == 400


@pytest.mark.parametrize(
    ("host", "status"),
    [("127.0.0.1:8000", 200), ("localhost", 200), ("192.168.1.5", 400), ("laptop.local", 400)],
)
def test_alone_it_answers_to_this_computer_only(hall: Hall, settings: Any, host: str, status: int) -> None:
    settings.SOLO = True
    assert hall.client(HTTP_HOST=host).get("/").status_code == status


def test_alone_nobody_has_to_sign_in(hall: Hall, settings: Any) -> None:
    settings.SOLO = True
    client = hall.client(HTTP_HOST="localhost")
    for path in ("/", "/day/", "/people/", "/ready/"):
        assert client.get(path).status_code == 200, path
