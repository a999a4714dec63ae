"""A label photographed on the first page: read by the worker, led to its hand, and the picture forgotten."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from bench.hall import Hall
from bench.pictures import heic, on_a_bench, png_that_claims, saved, scene
from handsel.bench.hands.codes import SIGNS, check_sign
from handsel.bench.jobs.models import Job
from handsel.bench.photos import labels, places, services
from handsel.bench.photos.models import Photo
from handsel.bench.photos.tidying import sweep

ID = "0123456789abcdef"
JSON = {"headers": {"accept": "application/json"}}
Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


def address(code: str, host: str = "192.168.1.20:8000") -> str:
    """What the square on a label says."""
    return f"http://{host}/l/{code}/"


def send(client: Client, data: bytes, client_id: str = ID) -> Any:
    file = SimpleUploadedFile("IMG_1.jpg", data, content_type="image/jpeg")
    return client.post("/photos/label/", {"photo": file, "client_id": client_id}, **JSON)


def read(hall: Hall, no_workers: Workers, picture: Image.Image | bytes) -> dict[str, Any]:
    """What the page is told in the end; nothing of the picture is left by then."""
    client = hall.client(hall.builder)
    data = picture if isinstance(picture, bytes) else saved(picture, quality=88)
    answer = send(client, data)
    assert (answer.status_code, answer.json()) == (202, {"photo": ID, "state": "stored"})
    no_workers()
    told: dict[str, Any] = client.get(f"/photos/label/{ID}/", **JSON).json()
    assert left() == []
    assert Photo.objects.count() == 0
    return told


def left() -> list[Path]:
    """Files of pictures, anywhere."""
    return [
        p
        for name in ("incoming", "photos")
        for p in (places.incoming().parent / name).rglob("*")
        if p.is_file()
    ]


def other_code(code: str) -> str:
    """A good code of a hand that is not here."""
    body = SIGNS[(SIGNS.index(code[0]) + 1) % len(SIGNS)] + code[1:5]
    return body + check_sign(body)


# ---- read ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"turned_deg": 137},
        {"soft_px": 3},
        {"side_px": 110},
        {"light": 0.12},
        {"size": (3000, 2250), "side_px": 220, "turned_deg": 20},
    ],
    ids=["plain", "turned", "blurred", "small", "dark", "far away"],
)
def test_a_label_leads_to_its_hand(hall: Hall, no_workers: Workers, how: dict[str, Any]) -> None:
    hand = hall.hand()
    told = read(hall, no_workers, on_a_bench(address(hand.code), **how))
    assert told == {"photo": ID, "state": "ready", "code": hand.shown_code, "url": f"/l/{hand.code}/"}
    assert hall.client(hall.builder).get(told["url"]).status_code in (302, 303)


def test_of_an_old_address_only_the_code_counts(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    told = read(hall, no_workers, on_a_bench(f"https://10.9.8.7:8443/l/{hand.code}"))
    assert told["url"] == f"/l/{hand.code}/"


def test_a_heic_and_a_see_through_png_are_read_too(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    picture = on_a_bench(address(hand.code), size=(800, 600), side_px=240)
    client = hall.client(hall.builder)
    for client_id, data in (
        ("heic-file", heic(picture.convert("RGB"))),
        ("see-through", saved(picture.convert("LA"), "PNG")),
    ):
        assert send(client, data, client_id).status_code == 202
        no_workers()
        assert client.get(f"/photos/label/{client_id}/").json()["code"] == hand.shown_code


def test_two_labels_in_one_picture_ask_which(hall: Hall, no_workers: Workers) -> None:
    hands = sorted((hall.hand(code="R-014"), hall.hand(code="R-015")), key=lambda h: h.code)
    told = read(hall, no_workers, on_a_bench(*(address(h.code) for h in hands)))
    assert (told["state"], told["what"]) == ("several", "More than one label is in the picture")
    assert told["hands"] == [{"code": h.shown_code, "url": f"/l/{h.code}/"} for h in hands]


def test_a_foreign_square_beside_the_label_does_not_matter(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    told = read(hall, no_workers, on_a_bench("https://example.org/menu", address(hand.code)))
    assert told["url"] == f"/l/{hand.code}/"


# ---- not read, in words ----------------------------------------------------------------------------------


def test_without_a_square_it_says_to_go_nearer_or_type(hall: Hall, no_workers: Workers) -> None:
    told = read(hall, no_workers, on_a_bench(size=(800, 600)))
    assert (told["state"], told["what"]) == ("refused", "No code was found")
    assert told["do"] == "Go nearer, or type the six characters."


def test_a_foreign_square_is_none_of_our_labels_and_what_it_says_is_not_kept(
    hall: Hall, no_workers: Workers
) -> None:
    told = read(hall, no_workers, on_a_bench("WIFI:T:WPA;S:hall;P:hush-hush;;"))
    assert (told["state"], told["what"]) == ("refused", "This is not one of our labels")
    job = Job.objects.get()
    assert "hush" not in f"{job.payload}{job.result}"


@pytest.mark.parametrize(
    "text",
    ["", "K7M4QX", "https://example.org/", "http://10.0.0.7/l/", "http://10.0.0.7/l/222223/", "http://10.0.0.7/join/222222/",
     "http://10.0.0.7/l/222222/look/", "http://10.0.0.7/?next=/l/2222", "/l/ÄÖÜ\x00/"],
)  # fmt: skip
def test_what_is_no_address_of_a_label_holds_no_code(text: str) -> None:
    assert labels.code_in(text) == ""


@pytest.mark.parametrize("text", ["http://10.0.0.7/l/222222/", "/l/222-222", "HTTP://10.0.0.7/L/222222 "])
def test_an_address_of_a_label_holds_its_code_whatever_stands_before(text: str) -> None:
    assert labels.code_in(text) == "222222"


def test_a_label_of_another_bench_is_told_so(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    told = read(hall, no_workers, on_a_bench(address(other_code(hand.code))))
    assert (told["state"], told["what"]) == ("refused", "No hand on this bench has this code")


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (saved(scene())[:900], "cut short"),
        (png_that_claims(20_000, 20_000), "million pixels"),
        (b"\xff\xd8\xff" + b"no picture at all" * 20, "cannot be read"),
    ],
    ids=["cut short", "enormous", "junk"],
)
def test_a_broken_picture_is_refused_in_words_and_gone(
    hall: Hall, no_workers: Workers, data: bytes, word: str
) -> None:
    told = read(hall, no_workers, data)
    assert told["state"] == "refused"
    assert word in told["what"]
    assert told["do"]


def test_a_picture_lost_on_the_disk_is_told_so(hall: Hall, no_workers: Workers) -> None:
    client = hall.client(hall.builder)
    send(client, saved(scene()))
    for path in left():
        path.write_bytes(b"something else")
    no_workers()
    told = client.get(f"/photos/label/{ID}/").json()
    assert (told["state"], told["what"]) == ("refused", "The picture was lost on the disk")
    assert left() == []


def test_one_that_takes_the_worker_down_each_time_is_given_up_in_words(
    hall: Hall, no_workers: Workers
) -> None:
    client = hall.client(hall.builder)
    send(client, saved(scene()))
    Job.objects.update(state=Job.WORKING, tries=3)
    no_workers()
    told = client.get(f"/photos/label/{ID}/").json()
    assert told["state"] == "refused"
    assert "type the six characters" in told["do"]
    newest_s = left()[0].stat().st_mtime
    assert sweep(newest_s + 2 * 24 * 3600) == 1  # and its file does not stay either


# ---- taken in --------------------------------------------------------------------------------------------


def test_sent_twice_it_is_read_once(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    client = hall.client(hall.builder)
    data = saved(on_a_bench(address(hand.code), size=(800, 600)))
    assert [send(client, data).status_code for _ in range(2)] == [202, 202]
    assert Job.objects.count() == len(left()) == 1
    no_workers()
    again = send(client, data)
    assert (again.status_code, again.json()["code"]) == (202, hand.shown_code)
    assert (Job.objects.count(), left()) == (1, [])


def test_another_picture_under_the_same_id_is_not_taken(hall: Hall) -> None:
    client = hall.client(hall.builder)
    send(client, saved(scene()))
    assert send(client, saved(scene(90, 60))).status_code == 409
    assert len(left()) == 1


def test_another_person_learns_nothing_of_it(hall: Hall) -> None:
    data = saved(scene())
    send(hall.client(hall.builder), data)
    for person in (hall.inspector, hall.lead):
        client = hall.client(person)
        assert client.get(f"/photos/label/{ID}/", **JSON).status_code == 404
        assert send(client, data).status_code == 409
    assert hall.client(hall.builder).get(f"/photos/label/{ID}/").json()["state"] == "stored"


def test_who_is_not_signed_in_is_told_so(hall: Hall) -> None:
    client = hall.client()
    assert send(client, saved(scene())).status_code == 401
    assert client.get(f"/photos/label/{ID}/", **JSON).status_code == 401
    assert (Job.objects.count(), left()) == (0, [])


def test_the_wrong_method_is_refused(hall: Hall) -> None:
    client = hall.client(hall.builder)
    assert client.get("/photos/label/").status_code == 405
    assert client.post(f"/photos/label/{ID}/").status_code == 405
    assert client.get("/photos/label/nobody-sent-it/").status_code == 404


@pytest.mark.parametrize("client_id", ["", "short", "a/b/c/d/e/f", "x" * 65])
def test_a_poor_id_is_not_taken(hall: Hall, client_id: str) -> None:
    assert send(hall.client(hall.builder), saved(scene()), client_id).status_code == 400


def test_what_is_no_photo_is_refused_at_once(hall: Hall) -> None:
    client = hall.client(hall.builder)
    answer = send(client, b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    assert (answer.status_code, "SVG" in answer.json()["what"]) == (415, True)
    assert client.post("/photos/label/", {"client_id": ID}, **JSON).status_code == 400
    assert (Job.objects.count(), left()) == (0, [])


def test_it_is_held_to_the_limits_of_all_photos(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    client = hall.client(hall.builder)
    data = saved(scene())
    with monkeypatch.context() as patched:
        patched.setattr(services, "MOST_BYTES", len(data) - 1)
        assert send(client, data).status_code == 413
    monkeypatch.setattr(services, "MOST_AN_HOUR", 2)
    for n in range(2):
        assert send(client, data, f"the-label-{n}").status_code == 202
    assert send(client, data, "the-label-2").status_code == 429
    assert send(hall.client(hall.inspector), data, "the-label-3").status_code == 202


def test_who_waits_with_a_label_comes_before_photos(hall: Hall) -> None:
    client = hall.client(hall.builder)
    file = SimpleUploadedFile("a.jpg", saved(scene()), content_type="image/jpeg")
    client.post("/photos/", {"photo": file, "client_id": "a-photo-of-a-knot"}, **JSON)
    send(client, saved(scene()))
    order = Job.objects.order_by("-urgency", "queued_at").values_list("key", flat=True)
    assert order[0] == labels.key_of(ID)


def test_the_first_page_offers_it_beside_the_field(hall: Hall) -> None:
    page = hall.client(hall.builder).get("/").content.decode()
    assert 'capture="environment"' in page
    assert 'data-token="' in page
    assert "bench/label-photo.js" in page
