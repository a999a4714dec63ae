"""Whatever is sent to whichever address by whomever: an answer in words, and never a mistake of the program."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as tries
from hypothesis import strategies as st

from bench.hall import Hall, good_entries, passed
from bench.pictures import saved, scene
from bench.routes import Route, field_names, routes
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.looking.answering import ask
from handsel.bench.people.passes import new_pass
from handsel.bench.photos.services import take_in
from handsel.bench.work.services import order_cards

PEOPLE = ("nobody", "builder", "inspector", "fitter", "lead")
ONCE = "0123456789abcdef0123456789abcdef"
# Work queued so that an answer is there when it is asked for, and who is signed in: no record of a hand.
NO_RECORD = ("jobs.Job", "sessions.Session")


@dataclass(kw_only=True)
class Busy:
    """A day with hands at every stage, and the values that its addresses take."""

    hall: Hall
    hands: dict[str, Hand]
    token: str
    seq: int  # of an open rework card
    photo: str
    figures: tuple[str, str]
    sessions: dict[str, str]  # of who is signed in

    @property
    def cards(self) -> Hand:
        return self.hands["to put right"]

    def fill(self, hand: Hand | None = None) -> Callable[[str, str], str]:
        """Values that lead somewhere."""
        values = {
            "code": (hand or self.cards).code,
            "seq": str(self.seq),
            "token": self.token,
            "number": str(self.hall.builder.number),
            "pk": "1",
            "step": "assembled",
            "client_id": self.photo,
            "fingerprint": "0" * 64,
            "protocol": self.figures[0],
            "design": self.figures[1],
            "fault": "shallow",
            "kind": "angle",
        }

        def fill(converter: str, name: str) -> str:
            return values.get(name, "1" if converter == "int" else "some-thing")

        return fill


def at_stage(hall: Hall, code: str, hold_point: str) -> Hand:
    """A hand at a hold point, or past all of them: by decisions alone, which is quick and odd enough."""
    hand = hall.hand(code=code)
    for stage in protocol_kept(hand.protocol_id).hold_points:
        if stage.id == hold_point:
            break
        append(hand, [New(kind="decided", what=passed(hand, stage.id))], person=hall.inspector)
    return hand


@pytest.fixture
def busy(hall: Hall, tmp_path: Path, settings: Any) -> Busy:
    """Everything that can be there, is there."""
    settings.DATA, settings.PHOTOS = tmp_path, tmp_path / "photos"
    hands = {"building": hall.hand(code="R-001")}
    hands["asked"] = asked = at_stage(hall, "R-002", "strung")
    append(asked, [New(kind="asked", what={"hold_point": "strung"})], person=hall.builder)
    hands["looking"] = looking = at_stage(hall, "R-003", "dry-fit")
    append(looking, good_entries(looking, "dry-fit")[:7], person=hall.inspector)
    hands["to put right"] = bad = hall.hand(code="R-004")
    hall.answer_all(bad, "parts", kit_complete="no")
    ask(bad, hall.inspector)
    (card,) = order_cards(bad, person=hall.inspector, client_id="c" * 32)
    hands["for the lead"] = broken = hall.hand(code="R-005")
    hall.answer_all(broken, "parts", cuff_no_cracks="no", no_pores="no")
    ask(broken, hall.inspector)
    hands["ready to fit"] = at_stage(hall, "R-006", "fitting")
    for name in ("to release", "released", "handed over"):
        hands[name] = done = at_stage(hall, f"R-1{len(hands):02d}", "")
        release = {"decided": done.entry_count, "open": [], "conceded": [], "head_before": done.head_sha256,
                   "design": done.design_id, "protocol": done.protocol_id, "cautions_version": "1"}  # fmt: skip
        given = {"language": "en", "to": "carer", "cautions_gone_through": True, "call": "the organisation"}
        if name != "to release":
            append(done, [New(kind="released", what=release)], person=hall.fitter)
        if name == "handed over":
            append(done, [New(kind="handed-over", what=given)], person=hall.fitter)
    hands["scrapped"] = gone = hall.hand(code="R-010")
    append(gone, [New(kind="scrapped", what={"reason": "porous"})], person=hall.lead)
    photo, _ = take_in(
        SimpleUploadedFile("a.jpg", saved(scene())), client_id="p" * 32, person=hall.builder, hand=bad
    )
    _, token = new_pass("build", by=hall.lead)
    return Busy(
        hall=hall,
        hands=hands,
        token=token,
        seq=card.seq,
        photo=photo.client_id,
        figures=(bad.protocol_id, bad.design_id),
        sessions={w: hall.client(getattr(hall, w)).cookies["handsel"].value for w in PEOPLE[1:]},
    )


def browser(busy: Busy, who: str, **kwargs: Any) -> Client:
    """A client that answers mistakes of the program with 500, as a server would; nobody signs in anew."""
    client = Client(raise_request_exception=False, **kwargs)
    if who != "nobody":
        client.cookies["handsel"] = busy.sessions[who]
    return client


# ---- what holds for every answer ----------------------------------------------------------------------


def sound(response: Any, said: object) -> None:
    """No mistake of the program, no inside of it shown, nothing left out that protects the browser."""
    trouble = getattr(response, "exc_info", None)
    if response.status_code >= 500 and trouble is not None:
        raise AssertionError(f"{said}: {response.status_code}") from trouble[1]
    assert response.status_code < 500, said
    content = b"".join(response.streaming_content) if response.streaming else response.content
    for inside in (b"Traceback (most recent call last)", b"bench/views", b"site-packages"):
        assert inside not in content, (said, inside)
    headers = response.headers
    assert "default-src 'self'" in headers.get("Content-Security-Policy", ""), said
    assert "unsafe" not in headers["Content-Security-Policy"], said
    assert headers.get("X-Content-Type-Options") == "nosniff", said
    assert headers.get("X-Frame-Options") == "DENY", said
    assert headers.get("Referrer-Policy") == "same-origin", said
    if 300 <= response.status_code < 400 and response.status_code != 304:
        assert re.match(r"/(?![/\\])", headers["Location"]), (said, headers["Location"])
    if content and response.status_code not in (304, 204):
        assert headers.get("Content-Type", "").split(";")[0] in (
            "text/html", "text/css", "application/json", "application/pdf", "image/jpeg", "text/plain", "text/csv",
            "application/zip", "application/toml", "model/3mf",
        ), (said, headers.get("Content-Type"))  # fmt: skip


def on_record() -> dict[str, Any]:
    """Everything that is stored, as it can be compared; asked for in SQL, a thousand times over."""
    told: dict[str, Any] = {}
    with connection.cursor() as cursor:
        for label, question in _questions().items():
            cursor.execute(question)
            told[label] = sorted(cursor.fetchall(), key=repr)
    told["files"] = sorted(str(p.relative_to(settings.DATA)) for p in Path(settings.DATA).rglob("*"))
    return told


@cache
def _questions() -> dict[str, str]:
    """For each table, everything that is in it, but for long texts that nothing changes alone."""
    quoted, questions = connection.ops.quote_name, {}
    for model in apps.get_models():
        if model._meta.label in NO_RECORD or not model._meta.managed:
            continue
        columns = [quoted(f.column) for f in model._meta.concrete_fields if f.attname not in ("record", "text")]
        questions[model._meta.label] = f"SELECT {', '.join(columns)} FROM {quoted(model._meta.db_table)}"
    return questions


def changed(before: dict[str, Any]) -> list[str]:
    """Which tables, or the files, are not as they were."""
    after = on_record()
    return [label for label in before | after if before.get(label) != after.get(label)]


# ---- by table: every address, every method, everybody ---------------------------------------------------


def named(route: Route) -> str:
    return route.name


def test_every_address_is_found_and_says_whom_it_is_for() -> None:
    names = [r.name for r in routes()]
    assert {"/", "/h/<code>/", "/h/<code>/answers/", "/photos/<fingerprint>.jpg"} <= set(names)
    assert len(names) == len(set(names)) > 60
    assert [r.name for r in routes() if r.rights is None] == []
    assert {"client_id", "recipient_code", "reason", "photo", "part", "places"} <= set(field_names())


@pytest.mark.parametrize("who", PEOPLE)
def test_looking_at_every_page_of_every_hand_changes_nothing(busy: Busy, who: str) -> None:
    before, opened = on_record(), 0
    client = browser(busy, who)
    for route in routes():
        of_hand = any(name == "code" for _, name in route.places)
        own = list(busy.hands.values()) if of_hand and not route.name.endswith(".pdf") else [None]
        for hand in own:
            path = route.path(busy.fill(hand))
            response = client.get(path)
            sound(response, (who, path))
            opened += response.status_code == 200
        for method in ("HEAD", "OPTIONS"):
            sound(client.generic(method, route.path(busy.fill())), (method, route.name))
        assert changed(before) == [], (who, route.name)
    assert opened >= {"nobody": 20, "lead": 150}.get(who, 50)  # pages were seen, and not only refusals


def test_who_lacks_the_right_gets_nowhere_whatever_the_method(busy: Busy) -> None:
    before = on_record()
    for who in PEOPLE:
        client = browser(busy, who)
        person = None if who == "nobody" else getattr(busy.hall, who)
        for route, method in product(routes(), ("GET", "POST", "DELETE")):
            rights = route.rights or ()
            if not rights or (person is not None and any(person.may(r) for r in rights)):
                continue
            path = route.path(busy.fill())
            for accept, shut in (("text/html", (302, 403)), ("application/json", (401, 403))):
                response = client.generic(method, path, headers={"Accept": accept})
                sound(response, (who, method, path))
                assert response.status_code == shut[person is not None], (who, method, path)
    assert changed(before) == []


def test_methods_that_no_page_has_are_refused_and_store_nothing(busy: Busy) -> None:
    before = on_record()
    client = browser(busy, "lead")
    for route, method in product(routes(), ("PUT", "PATCH", "DELETE", "TRACE", "PROPFIND")):
        response = client.generic(method, route.path(busy.fill()), b"x=1")
        sound(response, (method, route.name))
        assert response.status_code in (404, 405), (method, route.name, response.status_code)
    assert changed(before) == []


def test_a_form_from_another_site_is_refused_everywhere(busy: Busy) -> None:
    before = on_record()
    for who in PEOPLE:
        client = browser(busy, who, enforce_csrf_checks=True)
        for route in routes():
            path = route.path(busy.fill())
            response = client.post(path, {"client_id": ONCE, "text": "x", "sure": "yes", "do": "send away"})
            sound(response, (who, path))
            assert response.status_code in (302, 403, 405, 401), (who, path, response.status_code)
    assert changed(before) == []


def test_an_empty_form_is_answered_in_words_at_every_address_of_every_hand(busy: Busy) -> None:
    for who in PEOPLE[1:]:
        client = browser(busy, who)
        for route in routes():
            of_hand = any(name == "code" for _, name in route.places)
            for hand in busy.hands.values() if of_hand else [None]:
                path = route.path(busy.fill(hand))
                with transaction.atomic():  # each from the same start: nothing of the one before is kept
                    sound(client.post(path), (who, path))
                    sound(client.post(path, {"client_id": ONCE}), (who, path))
                    transaction.set_rollback(True)


HOSTILE_HOSTS = (
    "evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "evil.example:80", "[::1", "[]", ":80", "",
    "127.0.0.1:99999999", "127.0.0.1:x", "a" * 5000, "\u0661\u0662", "127.1", "0x7f000001", "testserver/../x",
    "testserver\t", "test server", "testserver,evil.example", "[::ffff:127.0.0.1]:80", "::1", "%00", "<script>",
)  # fmt: skip


PAGES = ("/", "/wall/", "/papers/", "/sign-in/", "/static/bench/handsel.css", "/nowhere/", "/h/x/", "/ready/")
FORWARDED = {
    "X-Forwarded-Host": "evil.example",
    "X-Forwarded-Proto": "https",
    "X-Forwarded-For": "127.0.0.1, ::1",
    "Forwarded": "host=evil.example",
    "X-Original-URL": "/day/",
    "X-HTTP-Method-Override": "DELETE",
}


def test_no_name_in_the_address_line_gets_a_foreign_name_into_a_page(busy: Busy) -> None:
    client = browser(busy, "lead")
    for path, host in product(PAGES, HOSTILE_HOSTS):
        response = client.get(path, HTTP_HOST=host)
        sound(response, (path, host))
        assert b"evil.example" not in response.getvalue(), (path, host)
    for path in PAGES:
        response = client.get(path, headers=FORWARDED)
        sound(response, path)
        assert b"evil.example" not in response.getvalue(), path


ANSWERS = (
    b"", b"{", b"[]", b"null", b"NaN", b'{"entries": NaN}', b'{"entries": [1]}', b'{"entries": {}}', b"\xff\xfe",
    b'{"entries": [{"kind": "observed", "value": 1e400}]}', b'{"entries": [{"kind": "observed", "value": NaN}]}',
    b'{"entries": [' + b"[" * 100_000 + b"]" * 100_000 + b"]}", b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
    b'{"entries": [{"kind": "noted", "kind": "put-down", "client_id": "a", "client_id": "bbbbbbbbbbbbbbbb"}]}',
    b'{"entries": [' + b'{"kind":"put-down"},' * 150 + b'{"kind":"put-down"}]}',
    b'{"entries": [{"kind": "withdrawn", "client_id": "cccccccccccccccc", "undoes": "\\ud800"}]}',
    b'{"entries": [{"kind": "noted", "text": "\\ud800\\u0000", "client_id": "dddddddddddddddd", "by": 1}]}',
    b'{"entries": [{"client_id": ' + b"9" * 5000 + b"}]}", b'{"entries": "' + b"x" * 2_000_000 + b'"}',
)  # fmt: skip


KINDS = (
    "application/json",
    "text/plain",
    "multipart/form-data; boundary=x",
    "application/x-www-form-urlencoded; charset=utf-7",
    "",
)


def test_a_damaged_batch_of_answers_is_refused_in_words_and_stores_nothing(busy: Busy) -> None:
    before = on_record()
    client = browser(busy, "inspector")
    path = f"/h/{busy.hands['looking'].code}/answers/"
    for body in ANSWERS:
        for kind in KINDS:
            response = client.generic(
                "POST", path, body, content_type=kind, headers={"Accept": "application/json"}
            )
            sound(response, (body[:60], kind))
            told = json.loads(response.content)
            assert told.get("what") or all(r["what"] for r in told["results"]), (body[:60], told)
    for length in ("", "0", "-1", "9" * 12):  # what is no number, the server refuses before anybody reads it
        sound(
            client.generic("POST", path, b"{}", content_type="application/json", CONTENT_LENGTH=length),
            length,
        )
    assert changed(before) == []


# ---- by chance ------------------------------------------------------------------------------------------

NASTY = (
    "", " ", "0", "-1", "1", "2", "99999999999999999999999999", "1e400", "NaN", "-Infinity", "1,5", "\u0661\u0662",
    "\u00b2", "\u2170", "yes", "no", "on", "off", "left", "right", "both", "both-hands", "carer", "recipient", "en",
    "observed", "assembled", "turn-screws-in", "kit-complete", "index", "R-014", "R-014 left 110", "110", "36.5",
    "parts", "strung", "fitting", "live", "next", "build", "card-1", "card-\u0663", "look", "name", "rights", "lead",
    "send away", "let in again", "new secret", "end sign-ins", "forget name", "is_lead", "may_fit", "../../etc/passwd",
    "//evil.example/", "/\\evil.example", "javascript:alert(1)", "http://evil.example:8000", "192.168.1.5:8000",
    "12:30", "25:61", "a\r\nSet-Cookie: x=1", "\x00", "a\x00b", "\ud7ff\u202e\u0622", "\U0001f590" * 40, "x" * 3000,
    "'; DROP TABLE hands_entry; --", "<script>alert(1)</script>", "{{ 7*7 }}{% debug %}", "%s%n%(x)s", "\ufeff",
    "wrist-hand-1", "linden", "a4", "letter", ONCE, "0" * 32, "0" * 64,
)  # fmt: skip
FILES = (
    b"",
    b"\xff\xd8\xff",
    b"GIF89a",
    b"%PDF-1.7",
    b"<svg xmlns='x'/>",
    b"\x00" * 5000,
    b"id = [",
    b"x" * 50_000,
)
METHODS = ("GET", "POST", "POST", "POST", "HEAD", "PUT", "OPTIONS")


@dataclass(frozen=True, kw_only=True)
class Try:
    """One request, as chance makes it."""

    who: str
    route: Route
    stage: str
    method: str
    places: tuple[str | None, ...]
    query: tuple[tuple[str, str], ...]
    form: tuple[tuple[str, str], ...]
    body: bytes | None
    content_type: str
    file: bytes | None
    headers: tuple[tuple[str, str], ...]
    cookies: tuple[tuple[str, str], ...]
    raw_path: bytes | None


values = st.one_of(st.sampled_from(NASTY), st.text(max_size=30))
pairs = st.lists(st.tuples(st.sampled_from(field_names()), values), max_size=6).map(tuple)
deep: st.SearchStrategy[Any] = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), values),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from((*field_names(), "entries", "kind")), inner),
    ),
    max_leaves=12,
)
latin = st.text(alphabet=st.characters(max_codepoint=255, exclude_characters="\r\n"), max_size=40)
tries_at_random = st.builds(
    Try,
    who=st.sampled_from(PEOPLE),
    route=st.sampled_from(routes()),
    stage=st.sampled_from(["building", "asked", "looking", *Standing.values]),
    method=st.sampled_from(METHODS),
    places=st.tuples(*[st.one_of(st.none(), st.none(), values)] * 3),
    query=pairs,
    form=pairs,
    body=st.one_of(st.none(), st.none(), st.binary(max_size=200), deep.map(lambda d: json.dumps(d).encode())),
    content_type=st.sampled_from(
        ["application/json", "text/html", "multipart/form-data", "multipart/form-data; boundary=" + "b" * 300, "",
         "application/x-www-form-urlencoded; charset=utf-16", "application/x-www-form-urlencoded; charset=no-such"]
    ),  # fmt: skip
    file=st.one_of(st.none(), st.none(), st.sampled_from(FILES)),
    headers=st.lists(
        st.one_of(
            st.tuples(st.just("HX-Request"), st.sampled_from(["true", "false", "\xff"])),
            st.tuples(st.just("Accept"), st.sampled_from(["application/json", "text/html", "*/*;q=\xff", "\x00"])),
            st.tuples(st.sampled_from(["Accept-Language", "Accept-Encoding", "If-Modified-Since", "If-None-Match",
                                       "Range", "Referer", "Origin", "User-Agent", "X-Forwarded-For", "HX-Target",
                                       "HX-Current-URL", "Cookie", "X-CSRFToken", "Expect"]), latin),
        ),
        max_size=3,
    ).map(tuple),  # fmt: skip
    cookies=st.lists(
        st.tuples(st.sampled_from(["handsel", "handsel-form", "handsel-phone", "messages", "x"]), values), max_size=2
    ).map(tuple),
    raw_path=st.one_of(st.none(), st.none(), st.none(), st.binary(max_size=80)),
)  # fmt: skip


def send(busy: Busy, t: Try) -> tuple[Any, str]:
    """Send it, and say what was sent."""
    client = browser(busy, t.who)
    for name, value in t.cookies:
        if name != "handsel":  # that one keeps the person signed in
            client.cookies[name] = value.encode("ascii", "backslashreplace").decode()
    given, hand = iter(t.places), busy.hands.get(t.stage, busy.cards)
    good = busy.fill(hand)

    def fill(converter: str, name: str) -> str:
        chosen = next(given, None)
        return good(converter, name) if chosen is None else chosen

    path = t.route.path(fill)
    bytes_of_path = path.encode("utf-8", "replace") if t.raw_path is None else b"/" + t.raw_path
    more: dict[str, Any] = {"PATH_INFO": bytes_of_path.decode("latin-1")}
    data: Any = {}
    for name, value in (*t.form, ("client_id", ONCE)):
        data.setdefault(name, []).append(value)
    if t.file is not None:
        for name in ("photo", "file"):
            data[name] = SimpleUploadedFile("x.toml" if name == "file" else "x.jpg", t.file)
    query = {}
    for name, value in t.query:
        query.setdefault(name, []).append(value)
    said = f"{t.who} {t.method} {path!r} ?{t.query} {t.form} {t.headers}"
    headers = {k: v for k, v in t.headers if not (k == "Cookie" and t.who != "nobody")}
    if t.method == "POST" and t.body is None:
        return client.post("/", data, query_params=query, headers=headers, **more), said
    return client.generic(
        t.method, "/", t.body or b"", content_type=t.content_type, query_params=query, headers=headers, **more
    ), said  # fmt: skip


# A request has a dozen parts; making a failing one smaller takes longer than reading it.
NO_SHRINKING = (Phase.explicit, Phase.generate)


def hold(busy: Busy, t: Try) -> None:
    """One try, from the same start as every other."""
    with transaction.atomic():
        before = on_record() if t.method in ("GET", "HEAD", "OPTIONS", "PUT") else None
        response, said = send(busy, t)
        sound(response, said)
        if before is not None:
            assert changed(before) == [], said
        transaction.set_rollback(True)


@given(t=tries_at_random)
@tries(max_examples=200, suppress_health_check=list(HealthCheck), derandomize=True, phases=NO_SHRINKING)
def test_what_chance_sends_is_answered_in_words(busy: Busy, t: Try) -> None:
    hold(busy, t)


@pytest.mark.slow
@given(t=tries_at_random)
@tries(max_examples=1_000, suppress_health_check=list(HealthCheck), derandomize=True, phases=NO_SHRINKING)
def test_a_lot_of_what_chance_sends_is_answered_in_words(busy: Busy, t: Try) -> None:
    hold(busy, t)
