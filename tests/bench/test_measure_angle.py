"""Photos of the rest angle: measured by the worker, told to the phone, taken or overruled by the person."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from bench.hall import Hall
from bench.pictures import jpeg_that_claims, saved, scene
from handsel.bench.hands.casebook import case_of, told_of
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.jobs.models import Job
from handsel.bench.looking.answering import known
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.photos import derived, places
from handsel.bench.photos.models import Photo
from handsel.bench.photos.models import State as PhotoState
from handsel.bench.records.verifying import verify

ID, OTHER = "a" * 32, "b" * 32
OF = "worked-rest-angle"
JSON = {"headers": {"accept": "application/json"}}
SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"
GOOD = (SHARED / "clean-03.jpg").read_bytes()  # 30.32 degrees, and it says its focal length
Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


@pytest.fixture
def hand(hall: Hall) -> Hand:
    """A hand that waits for its rest angle."""
    return hall.hand(at="strung")


def send(client: Client, hand: Hand | None, data: bytes = GOOD, client_id: str = ID, **more: Any) -> Any:
    form = {
        "photo": SimpleUploadedFile("a.jpg", data),
        "client_id": client_id,
        "measure": "angle",
        "of": OF,
    } | more
    if hand is not None:
        form["hand"] = hand.code
    return client.post("/photos/", form, **JSON)


def state(client: Client, client_id: str = ID, kind: str = "angle") -> Any:
    return client.get(f"/measured/{kind}/{client_id}/", **JSON)


def read(
    hall: Hall, hand: Hand, no_workers: Workers, data: bytes = GOOD, client_id: str = ID, **more: Any
) -> Any:
    """What is told of a photo once the worker had it."""
    client = hall.client(hall.inspector)
    assert send(client, hand, data, client_id, **more).status_code == 202
    assert state(client, client_id).json()["state"] == "waiting"
    no_workers()
    return state(client, client_id).json()


def answer(hall: Hall, hand: Hand, person: Any = None, **fields: Any) -> dict[str, Any]:
    """Send one observed entry; what became of it."""
    person = person or hall.inspector
    entry = {
        "kind": "observed", "by": person.number, "client_id": "e" * 31 + str(Entry.objects.count() % 10), "of": OF,
        "protocol": hand.protocol_id, "unit": "deg", "method": "photo",
    } | fields  # fmt: skip
    reply = hall.client(person).post(
        f"/h/{hand.code}/answers/", json.dumps({"entries": [entry]}), content_type="application/json", **JSON
    )
    assert reply.status_code == 200, reply.content
    found: dict[str, Any] = reply.json()["results"][0]
    return found


# ---- read, shown, judged --------------------------------------------------------------------------------


def test_a_photo_is_measured_and_told_with_its_doubt_its_picture_and_its_decision(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers)
    assert told["state"] == "measured"
    assert abs(told["value"] - 30.32) < 0.4
    assert 0.98 < told["u"] < 1.1
    assert told["shown"] == f"{told['value']:.1f}°"
    assert told["spread"] == f"± {2 * told['u']:.1f}°"
    assert told["k"] == 2
    assert told["contributions"][0]["name"] == "card turn"
    assert told["judged"]["verdict"] == "undecided"
    assert "30°" in told["judged"]["sentence"] or "30" in told["judged"]["sentence"]
    assert told["judged"]["settle"]
    served = hall.client(hall.builder).get(told["overlay"])
    assert served["Content-Type"] == "image/jpeg"
    m = Measurement.objects.get()
    assert m.pixels == "as sent"
    assert (m.hand, m.of, m.asked_by) == (hand, OF, hall.inspector)


def test_cards_on_printed_pads_are_surer_and_then_the_reading_decides(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers, (SHARED / "clean-08.jpg").read_bytes(), cards="pads")
    assert told["u"] < 0.3
    assert told["judged"] | {"advisories": []} == told["judged"]
    assert told["judged"]["verdict"] == "conforms"
    assert told["judged"]["settle"] == ""


def test_the_lowered_angle_has_no_limit_and_says_so(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    told = read(hall, hand, no_workers, of="lowered-rest-angle")
    assert told["judged"]["verdict"] == "recorded"
    assert "no limit" in told["judged"]["sentence"]


@pytest.mark.parametrize(
    ("name", "cause", "word"),
    [
        ("refuse-01.jpg", "card missing", "card"),
        ("refuse-02.jpg", "card covered", "covered"),
        ("refuse-03.jpg", "hand seen from above", "above"),
    ],
)
def test_a_photo_that_shows_no_angle_is_refused_with_what_to_do(
    hall: Hall, hand: Hand, no_workers: Workers, name: str, cause: str, word: str
) -> None:
    told = read(hall, hand, no_workers, (SHARED / name).read_bytes())
    assert (told["state"], told["cause"]) == ("refused", cause)
    assert word in told["reason"]
    assert told["reason"][0].isupper()
    assert told["do"]
    assert Photo.objects.get(client_id=ID).state == PhotoState.READY  # it stays as evidence
    assert not Photo.objects.filter(client_id__startswith=derived.PREFIX).exists()


def test_measured_from_the_picture_as_kept_it_says_the_same(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    client = hall.client(hall.inspector)
    first = read(hall, hand, no_workers)
    data = GOOD + b"\0"  # the same pixels as another upload, without a wish
    file = SimpleUploadedFile("b.jpg", data)
    client.post("/photos/", {"photo": file, "client_id": OTHER, "hand": hand.code}, **JSON)
    no_workers()
    assert not places.raw(Photo.objects.get(client_id=OTHER)).exists()
    asked = client.post(f"/measured/by/{OTHER}/ask/", {"measure": "angle", "of": OF}, **JSON)
    assert (asked.status_code, asked.json()["state"]) == (202, "waiting")
    no_workers()
    told = state(client, OTHER).json()
    assert Measurement.objects.get(photo__client_id=OTHER).pixels == "as kept"
    assert told["value"] == pytest.approx(first["value"], abs=0.11)
    assert told["u"] == pytest.approx(first["u"], abs=0.03)


def test_the_sent_file_is_gone_once_it_was_measured_and_developed(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    read(hall, hand, no_workers)
    assert [p for p in places.incoming().rglob("*") if p.is_file()] == []
    assert Photo.objects.get(client_id=ID).state == PhotoState.READY


# ---- taken, or overruled --------------------------------------------------------------------------------


def test_a_reading_that_is_taken_stands_with_the_doubt_that_the_bench_worked_out(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers)
    result = answer(hall, hand, value=told["value"], photo=ID, measured=told["key"])
    assert result["state"] == "stored", result
    entry = Entry.objects.get(hand=hand, seq=result["seq"])
    what = entry.what
    assert (what["value"], what["u"], what["photo"], what["measured"]) == (
        told["value"],
        told["u"],
        ID,
        told["key"],
    )
    assert what["u_from"]["card turn"] == pytest.approx(0.99)
    (seen,) = [o for o in case_of(hand, told_of(hand)).observations if o.of == OF]
    assert seen.u == told["u"]
    quantity = known(hand).inspection().item(OF).decision
    assert quantity is not None
    assert quantity.quantity.u == told["u"]


def test_the_traveller_shows_the_picture_with_the_lines_and_the_reading_with_its_doubt(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers)
    answer(hall, hand, value=told["value"], photo=ID, measured=told["key"])
    page = hall.client(hall.inspector).get(f"/h/{hand.code}/").content.decode()
    assert told["overlay"] in page
    assert f"{told['value']:g}° {told['spread']} (k = 2)" in page


def test_sent_twice_it_is_stored_once(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    client = hall.client(hall.inspector)
    assert [send(client, hand).status_code for _ in range(2)] == [202, 202]
    no_workers()
    assert Measurement.objects.count() == 1
    told = state(client).json()
    entry = {"client_id": "f" * 32, "value": told["value"], "photo": ID, "measured": told["key"]}
    first, second = (answer(hall, hand, **entry) for _ in range(2))
    assert (first["state"], second["state"]) == ("stored", "same")
    assert first["seq"] == second["seq"]


def test_a_person_who_reads_otherwise_has_the_last_word_and_both_are_kept(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers)
    seen = answer(hall, hand, client_id="1" * 32, value=told["value"], photo=ID, measured=told["key"])
    own = answer(hall, hand, client_id="2" * 32, value=36.0, method="protractor", photo=ID)
    assert (seen["state"], own["state"]) == ("stored", "stored")
    entries = {e.seq: e.what for e in Entry.objects.filter(hand=hand, kind="observed")}
    assert entries[own["seq"]]["corrects"] == seen["seq"]
    assert entries[seen["seq"]]["value"] == told["value"]
    assert "36" in known(hand).inspection().item(OF).shown
    assert every_chain_holds()


def every_chain_holds() -> bool:
    return not verify().findings


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"value": 41.0}, "something else came"),
        ({"value": None, "readings": [30.0]}, "something else came"),
        ({"method": "protractor"}, "something else came"),
        ({"of": "lowered-rest-angle"}, "another reading"),
        ({"photo": OTHER}, "nothing was read"),
        ({"photo": None}, "nothing was read"),
        ({"measured": "angle/" + "c" * 32}, "nothing was read"),
        ({"marks": [["1", "maybe"]]}, "marked places"),
    ],
)
def test_a_reading_that_is_not_what_the_photo_said_is_not_taken_as_one(
    hall: Hall, hand: Hand, fields: dict[str, Any], word: str
) -> None:
    photo = Photo.objects.create(
        client_id=ID,
        hand=hand,
        taken_by=hall.inspector,
        received_at=hand.begun_at,
        raw_sha256="0" * 64,
        raw_bytes=1,
    )
    Measurement.objects.create(
        key=f"angle/{ID}", kind="angle", photo=photo, hand=hand, of=OF, asked={"cards": "loose"},
        asked_by=hall.inspector, asked_at=hand.begun_at, state=State.MEASURED,
        result={"value": 30.5, "u": 1.0, "contributions": {"card turn": 0.99, "edges": 0.1}},
    )  # fmt: skip
    given = {"value": 30.5, "photo": ID, "measured": f"angle/{ID}"} | fields
    result = answer(hall, hand, **{k: v for k, v in given.items() if v is not None})
    assert result["state"] == "refused"
    assert word in result["what"]
    assert result["do"]


def test_a_refused_photo_is_no_reading(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    told = read(hall, hand, no_workers, (SHARED / "refuse-03.jpg").read_bytes())
    result = answer(hall, hand, value=30.0, photo=ID, measured=told["key"])
    assert "nothing could be read" in result["what"]


def test_a_photo_of_another_hand_is_no_evidence(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    other = hall.hand(code="R-022", at="strung")
    told = read(hall, other, no_workers)
    for fields in ({"measured": told["key"]}, {}):
        result = answer(hall, hand, value=told["value"], photo=ID, **fields)
        assert (result["state"], "another hand" in result["what"]) == ("refused", True)


def test_of_two_readings_that_say_how_sure_they_are_the_surest_is_judged(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    loose = read(hall, hand, no_workers, client_id=ID)
    pads = read(hall, hand, no_workers, GOOD + b"\0", OTHER, cards="pads")
    answer(hall, hand, client_id="1" * 32, value=loose["value"], photo=ID, measured=loose["key"])
    answer(hall, hand, hall.lead, client_id="2" * 32, value=pads["value"], photo=OTHER, measured=pads["key"])
    decision = known(hand).inspection().item(OF).decision
    assert decision is not None
    assert decision.quantity.u == pads["u"] < loose["u"]


# ---- several photos -------------------------------------------------------------------------------------


def together(
    hall: Hall, hand: Hand, photos: str, afresh: str = "yes", of: str = OF, person: Any = None
) -> Any:
    client = hall.client(person or hall.inspector)
    return client.post(
        f"/h/{hand.code}/measured/together/", {"of": of, "photos": photos, "afresh": afresh}, **JSON
    )


def test_cards_put_on_afresh_make_two_photos_surer_and_cards_left_do_not(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    one = read(hall, hand, no_workers)
    read(hall, hand, no_workers, GOOD + b"\0", OTHER)
    us = {}
    for afresh in ("yes", "no"):
        m = together(hall, hand, f"{ID},{OTHER}", afresh)
        assert m.status_code == 202
        no_workers()
        us[afresh] = hall.client(hall.inspector).get(f"/measured/{m.json()['key']}/", **JSON).json()
    assert us["yes"]["u"] == pytest.approx(one["u"] / 2**0.5, abs=0.03)
    assert us["no"]["u"] == pytest.approx(one["u"], abs=0.03)
    result = answer(hall, hand, value=us["yes"]["value"], photo=us["yes"]["photo"], measured=us["yes"]["key"])
    assert result["state"] == "stored", result


def test_photos_of_two_angles_are_not_made_one(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    read(hall, hand, no_workers)
    read(hall, hand, no_workers, (SHARED / "clean-05.jpg").read_bytes(), OTHER)
    m = together(hall, hand, f"{ID},{OTHER}").json()
    no_workers()
    told = hall.client(hall.inspector).get(f"/measured/{m['key']}/", **JSON).json()
    assert (told["state"], told["cause"]) == ("refused", "photos disagree")
    assert told["do"]


def test_only_readings_of_this_hand_and_check_are_put_together(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    other = hall.hand(code="R-022", at="strung")
    read(hall, hand, no_workers)
    read(hall, other, no_workers, GOOD + b"\0", OTHER)
    assert together(hall, hand, f"{ID},{OTHER}").status_code == 400
    assert together(hall, hand, f"{ID},{ID}").status_code == 400
    assert together(hall, hand, f"{ID},{'z' * 32}").status_code == 400
    assert together(hall, hand, "../../etc/passwd,x").status_code == 400
    assert together(hall, hand, f"{ID},{OTHER}", person=hall.builder).status_code == 403
    assert Measurement.objects.filter(kind="angles").count() == 0


# ---- wrong method, wrong person, hostile ----------------------------------------------------------------


def test_by_the_wrong_method_nothing_happens(hall: Hall, hand: Hand) -> None:
    client = hall.client(hall.inspector)
    send(client, hand)
    assert client.post(f"/measured/angle/{ID}/").status_code == 405
    assert client.get(f"/measured/by/{ID}/ask/").status_code == 405
    assert client.get(f"/h/{hand.code}/measured/together/").status_code == 405
    assert client.get(f"/h/{hand.code}/measured/lines/").status_code == 405
    assert Measurement.objects.count() == 1


def test_only_who_may_look_has_photos_measured(hall: Hall, hand: Hand) -> None:
    assert send(hall.client(hall.builder), hand).status_code == 403
    assert not Photo.objects.exists()
    assert send(hall.client(), hand).status_code in (302, 401, 403)
    assert send(hall.client(hall.inspector), hand).status_code == 202
    assert state(hall.client(hall.builder)).status_code == 403
    assert state(hall.client()).status_code in (302, 401)
    assert state(hall.client(hall.fitter)).status_code == 200
    assert (
        hall.client(hall.builder).post(f"/measured/by/{ID}/ask/", {"measure": "angle", "of": OF}).status_code
        == 403
    )


@pytest.mark.parametrize(
    "wish",
    [
        {"measure": "soul"},
        {"of": "../../x"},
        {"of": ""},
        {"cards": "glued"},
        {"bar_mm": "nan"},
        {"bar_mm": "1e9"},
    ],
)
def test_a_wish_that_makes_no_sense_is_refused_before_anything_is_stored(
    hall: Hall, hand: Hand, wish: dict[str, str]
) -> None:
    reply = send(hall.client(hall.inspector), hand, **wish)
    assert reply.status_code == 400
    assert reply.json()["do"]
    assert not Photo.objects.exists()


def test_a_photo_for_a_check_that_is_not_asked_is_kept_as_a_picture(hall: Hall, hand: Hand) -> None:
    assert send(hall.client(hall.inspector), hand, of="no-such-check").status_code == 202
    assert send(hall.client(hall.inspector), hand, client_id=OTHER, of="kit-complete").status_code == 202
    assert Photo.objects.count() == 2
    assert not Measurement.objects.exists()


def test_without_a_hand_nothing_is_measured(hall: Hall) -> None:
    assert send(hall.client(hall.inspector), None).status_code == 400


def test_nobody_sends_a_photo_under_the_name_of_a_drawn_one(hall: Hall, hand: Hand) -> None:
    squat = derived.name_of(ID, "angle")
    assert send(hall.client(hall.inspector), hand, client_id=squat).status_code == 400


@pytest.mark.parametrize(
    "data",
    [
        jpeg_that_claims(20_000, 10_000),
        GOOD[: len(GOOD) // 3],
        saved(scene()),
        saved(Image.new("L", (900, 700), 128)),
        b"\xff\xd8\xff" + b"\0" * 400,
    ],
    ids=["200 megapixels", "cut short", "tiny", "plain grey", "no picture"],
)
def test_hostile_and_broken_photos_are_refused_in_words(
    hall: Hall, hand: Hand, no_workers: Workers, data: bytes
) -> None:
    told = read(hall, hand, no_workers, data)
    assert told["state"] == "refused"
    assert told["reason"]
    assert told["do"]
    assert [p for p in places.incoming().rglob("*") if p.is_file()] == []


def test_an_erased_photo_takes_what_was_drawn_on_it_along(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers)
    lead = hall.client(hall.lead)
    assert lead.get(told["overlay"]).status_code == 200
    lead.post(f"/photos/by/{ID}/erase/", {"because": "a face is in it"})
    assert lead.get(told["overlay"]).status_code == 410
    assert [p for p in places.kept("00").parent.parent.rglob("*.jpg")] == []
    again = state(lead).json()
    assert again["overlay"] == ""
    assert again["value"] == told["value"]  # what was recorded stays


def test_a_photo_erased_before_it_was_read_leaves_nothing(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    client = hall.client(hall.inspector)
    send(client, hand)
    hall.client(hall.lead).post(f"/photos/by/{ID}/erase/", {"because": "by mistake"})
    no_workers()
    assert state(client).json()["state"] == "refused"
    assert list(places.kept("00").parent.parent.rglob("*.jpg")) == []


def test_a_job_that_was_given_up_does_not_keep_the_phone_waiting(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    client = hall.client(hall.inspector)
    send(client, hand)
    Job.objects.filter(kind="measure").update(
        state=Job.FAILED, error={"what": "it stopped", "where": "x", "do": "y"}
    )
    no_workers()
    told = state(client).json()
    assert told["state"] == State.FAILED
    assert told["do"]


def test_the_page_shows_again_what_the_last_photo_said(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    told = read(hall, hand, no_workers)
    page = hall.client(hall.inspector).get(f"/h/{hand.code}/look/").content.decode()
    data = json.loads(page.split('<script id="look-data" type="application/json">')[1].split("</script>")[0])
    checks = {c["of"]: c for g in data["groups"] for c in g["checks"]}
    assert checks[OF]["measure"]["kind"] == "angle"
    assert checks[OF]["measure"]["last"]["value"] == told["value"]
    assert checks["lowered-rest-angle"]["measure"]["last"] is None
    assert "measure" not in checks["thumb-tip-bend"]
