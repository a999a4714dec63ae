"""Photos: taken in as they are, made clean by the worker, shown, refused in words, erased for good."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from bench.hall import Hall
from bench.pictures import (
    SECRET,
    heic,
    jpeg_that_claims,
    markers,
    png_that_claims,
    saved,
    scene,
    two_in_one,
    with_everything,
)
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry
from handsel.bench.jobs.models import Job
from handsel.bench.on_disk import NoRoom
from handsel.bench.photos import apart, decoding, places, services, tidying
from handsel.bench.photos.models import Photo, State
from handsel.bench.photos.sniffing import kind_of

ID = "0123456789abcdef"
JSON = {"headers": {"accept": "application/json"}}
Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


def send(client: Client, data: bytes, client_id: str = ID, name: str = "IMG_1.jpg", **more: Any) -> Any:
    file = SimpleUploadedFile(name, data, content_type="image/jpeg")
    return client.post("/photos/", {"photo": file, "client_id": client_id, **more}, **JSON)


def developed(hall: Hall, no_workers: Workers, data: bytes, client_id: str = ID) -> tuple[Photo, Image.Image]:
    """The photo after the worker, and the picture as it is served."""
    client = hall.client(hall.inspector)
    answer = send(client, data, client_id)
    assert answer.status_code == 202, answer.content
    no_workers()
    told = client.get(f"/photos/by/{client_id}/").json()
    assert told["state"] == "ready", told
    served = client.get(told["url"])
    return Photo.objects.get(client_id=client_id), Image.open(io.BytesIO(served.content))


def refused(hall: Hall, no_workers: Workers, data: bytes) -> dict[str, Any]:
    """What is said of an upload that the worker refuses."""
    client = hall.client(hall.inspector)
    assert send(client, data).status_code == 202
    no_workers()
    told: dict[str, Any] = client.get(f"/photos/by/{ID}/").json()
    assert told["state"] == "refused", told
    assert told["do"]
    assert left(places.incoming()) == []
    assert left(places.incoming().parent / "photos") == []
    return told


def left(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.is_file()]


def near(image: Image.Image, x_ratio: float, y_ratio: float) -> str:
    """Which colour of the scene is there."""
    r, g, b = image.convert("RGB").getpixel((int(image.width * x_ratio), int(image.height * y_ratio)))
    return max((("red", r), ("green", g), ("blue", b)), key=lambda pair: pair[1])[0]


# ---- taken in, made clean, shown -----------------------------------------------------------------------


def test_a_photo_is_acknowledged_when_stored_and_shown_when_developed(
    hall: Hall, no_workers: Workers
) -> None:
    hand = hall.hand()
    client = hall.client(hall.builder)
    answer = send(client, saved(scene()), hand=hand.shown_code)
    assert (answer.status_code, answer.json()) == (202, {"photo": ID, "state": "stored"})
    photo = Photo.objects.get()
    assert (photo.hand, photo.taken_by, photo.kind) == (hand, hall.builder, "jpeg")
    assert places.raw(photo).read_bytes() == saved(scene())
    no_workers()
    told = client.get(f"/photos/by/{ID}/").json()
    assert (told["state"], told["width_px"], told["height_px"]) == ("ready", 120, 80)
    assert left(places.incoming()) == []
    served = client.get(told["url"])
    assert served["Content-Type"] == "image/jpeg"
    assert served["X-Content-Type-Options"] == "nosniff"
    assert served["Content-Disposition"].startswith("inline")
    assert "immutable" in served["Cache-Control"]
    assert client.get(told["small"]).status_code == 200


@pytest.mark.parametrize(
    ("orientation", "corner"),
    [(1, (0.05, 0.05)), (3, (0.95, 0.95)), (6, (0.95, 0.05)), (8, (0.05, 0.95)), (2, (0.95, 0.05))],
)
def test_a_photo_held_any_way_comes_out_upright(
    hall: Hall, no_workers: Workers, orientation: int, corner: tuple[float, float]
) -> None:
    photo, image = developed(hall, no_workers, with_everything(orientation))
    assert near(image, *corner) == "green"
    turned = orientation in (6, 8)
    assert image.size == ((80, 120) if turned else (120, 80))
    assert (photo.source_width_px, photo.source_height_px) == image.size


def test_place_camera_notes_profile_comment_and_preview_are_gone(hall: Hall, no_workers: Workers) -> None:
    raw = with_everything()
    assert SECRET in raw
    photo, image = developed(hall, no_workers, raw)
    for name in (photo.sha256, photo.thumb_sha256):
        data = places.kept(name).read_bytes()
        assert SECRET not in data
        assert set(markers(data)) <= {0xE0, 0xDB, 0xC0, 0xC4}
        again = Image.open(io.BytesIO(data))
        assert dict(again.getexif()) == {}
        assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_the_numbers_that_a_measurement_needs_stay_in_the_row(hall: Hall, no_workers: Workers) -> None:
    photo, _ = developed(hall, no_workers, with_everything(6))
    assert photo.focal_length_mm == pytest.approx(4.27)
    assert photo.focal_length_35mm_mm == 26
    assert photo.digital_zoom_ratio == 2


def test_a_large_photo_is_made_smaller_and_both_sizes_are_known(hall: Hall, no_workers: Workers) -> None:
    photo, image = developed(hall, no_workers, saved(scene(5000, 1000)))
    assert image.size == (4000, 800)
    assert (photo.source_width_px, photo.width_px) == (5000, 4000)
    with Image.open(places.kept(photo.thumb_sha256)) as thumb:
        assert max(thumb.size) == 480


def test_a_second_picture_hidden_behind_the_first_is_gone(hall: Hall, no_workers: Workers) -> None:
    raw = two_in_one()
    assert b"MPF" in raw
    photo, image = developed(hall, no_workers, raw)
    assert image.size == (120, 80)
    assert b"MPF" not in places.kept(photo.sha256).read_bytes()


def test_heic_is_read_and_its_place_is_gone(hall: Hall, no_workers: Workers) -> None:
    exif = Image.Exif()
    exif[0x010F] = SECRET.decode()
    exif[0x0112] = 6
    exif[0x8769] = {0x920A: IFDRational(57, 10)}
    raw = heic(scene(120, 80), exif=exif.tobytes())
    photo, image = developed(hall, no_workers, raw)
    assert photo.kind == "heic"
    assert near(image, 0.95, 0.05) == "green"
    assert image.size == (80, 120)
    assert photo.focal_length_mm == pytest.approx(5.7)
    assert SECRET not in places.kept(photo.sha256).read_bytes()


def test_what_a_file_is_called_counts_for_nothing(hall: Hall, no_workers: Workers) -> None:
    photo, image = developed(hall, no_workers, saved(scene(), "PNG"))
    assert photo.kind == "png"
    assert image.format == "JPEG"


@pytest.mark.parametrize("kind", ["webp", "apng"])
def test_of_a_moving_picture_the_first_frame_is_kept(hall: Hall, no_workers: Workers, kind: str) -> None:
    frames = [scene(), Image.new("RGB", (120, 80), "white"), Image.new("RGB", (120, 80), "black")]
    name = {"webp": "WEBP", "apng": "PNG"}[kind]
    raw = saved(frames[0], name, save_all=True, append_images=frames[1:], duration=100)
    _, image = developed(hall, no_workers, raw)
    assert near(image, 0.9, 0.9) == "blue"
    assert near(image, 0.05, 0.05) == "green"


def test_four_ink_jpegs_are_shown_in_the_same_colours(hall: Hall, no_workers: Workers) -> None:
    _, image = developed(hall, no_workers, saved(scene(mode="CMYK")))
    assert image.mode == "RGB"
    assert [near(image, *at) for at in ((0.05, 0.05), (0.3, 0.9), (0.9, 0.9))] == ["green", "red", "blue"]


def test_sixteen_bit_grey_keeps_its_shades(hall: Hall, no_workers: Workers) -> None:
    image = Image.new("I;16", (40, 20), 32896)
    image.paste(65535, (20, 0, 40, 20))
    _, shown = developed(hall, no_workers, saved(image, "PNG"))
    dark, light = shown.convert("L").getpixel((5, 10)), shown.convert("L").getpixel((35, 10))
    assert abs(dark - 128) <= 3
    assert light >= 253


def test_what_is_see_through_becomes_white(hall: Hall, no_workers: Workers) -> None:
    image = scene(mode="RGBA")
    image.putalpha(0)
    _, shown = developed(hall, no_workers, saved(image, "PNG"))
    assert min(shown.getpixel((60, 40))) >= 250


def test_a_broken_colour_profile_does_not_lose_the_photo(hall: Hall, no_workers: Workers) -> None:
    _, image = developed(hall, no_workers, saved(scene(), icc_profile=b"no profile at all" * 20))
    assert near(image, 0.9, 0.9) == "blue"


def test_a_zip_hidden_behind_a_photo_is_not_kept(hall: Hall, no_workers: Workers) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("page.html", "<script>alert(1)</script>")
    photo, _ = developed(hall, no_workers, saved(scene()) + packed.getvalue())
    data = places.kept(photo.sha256).read_bytes()
    assert b"PK\x03\x04" not in data
    assert b"script" not in data


# ---- refused -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "SVG"),
        (b"<!doctype html><title>x</title>", "web page"),
        (b"PK\x03\x04rest", "zip"),
        (b"GIF89a\x01\x00\x01\x00", "GIF"),
        (b"%PDF-1.7", "PDF"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom", "film"),
        (b"\x00\x00\x00\x20ftypavif\x00\x00\x00\x00avifmif1miaf", "not taken here"),
        (b"just words", "no kind of picture"),
    ],
)
def test_what_is_no_photo_is_refused_at_once_whatever_it_calls_itself(
    hall: Hall, data: bytes, word: str
) -> None:
    client = hall.client(hall.inspector)
    for _ in range(2):
        answer = send(client, data)
        assert answer.status_code == 415
        assert word in answer.json()["what"]
    assert Photo.objects.get().state == State.REFUSED
    assert client.get(f"/photos/by/{ID}/").json()["state"] == "refused"
    assert left(places.incoming()) == []
    assert not Job.objects.exists()


def test_an_empty_file_is_refused(hall: Hall) -> None:
    answer = send(hall.client(hall.inspector), b"")
    assert answer.status_code in (400, 415)
    assert left(places.incoming()) == []


@pytest.mark.parametrize(
    "data",
    [png_that_claims(20_000, 10_000), jpeg_that_claims(16_000, 12_500), png_that_claims(2_000_000, 200)],
    ids=["png-200-megapixel", "jpeg-200-megapixel", "png-very-wide"],
)
def test_more_pixels_than_the_limit_are_refused_by_the_header_alone(
    hall: Hall, no_workers: Workers, data: bytes
) -> None:
    assert len(data) < 2_000_000
    assert "million pixels" in refused(hall, no_workers, data)["reason"]


@pytest.mark.parametrize("share", [0.05, 0.3, 0.9])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIC"])
def test_a_file_cut_short_is_refused(hall: Hall, no_workers: Workers, kind: str, share: float) -> None:
    image = Image.effect_noise((200, 150), 60).convert("RGB")
    whole = heic(image) if kind == "HEIC" else saved(image, kind)
    refused(hall, no_workers, whole[: max(40, int(len(whole) * share))])


def test_a_text_bomb_in_a_png_is_refused_or_left_out(hall: Hall, no_workers: Workers) -> None:
    import struct
    import zlib

    bomb = b"note\0\0" + zlib.compress(b"a" * 300_000_000, 9)
    chunk = struct.pack(">I", len(bomb)) + b"zTXt" + bomb + struct.pack(">I", zlib.crc32(b"zTXt" + bomb))
    whole = saved(scene(), "PNG")
    refused(hall, no_workers, whole[:33] + chunk + whole[33:])


def test_a_decoder_that_hangs_is_stopped(
    hall: Hall, no_workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "WALL_S", 0.001)
    assert "took longer" in refused(hall, no_workers, saved(scene()))["reason"]


def test_a_file_changed_on_the_disk_before_its_turn_is_refused(hall: Hall, no_workers: Workers) -> None:
    client = hall.client(hall.inspector)
    send(client, saved(scene()))
    places.raw(Photo.objects.get()).write_bytes(saved(scene(60, 60)))
    no_workers()
    assert "lost or changed" in client.get(f"/photos/by/{ID}/").json()["reason"]


def test_too_many_bytes_are_refused(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "MOST_BYTES", 200_000)
    client = hall.client(hall.inspector)
    noise = saved(Image.effect_noise((600, 600), 90).convert("RGB"), quality=100)
    assert len(noise) > 250_000
    answer = send(client, noise)
    assert (answer.status_code, "MB" in answer.json()["do"]) == (413, True)
    assert not Photo.objects.exists()
    assert left(places.incoming()) == []


def test_a_form_that_hides_its_size_is_cut_off_while_it_is_read(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "MOST_BYTES", 100_000)
    answer = send(hall.client(hall.inspector), saved(scene()) + b"\0" * 150_000)
    assert answer.status_code == 413


def test_a_full_disk_is_said_in_words_and_leaves_nothing(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    client = hall.client(hall.inspector)
    usage = type("Usage", (), {"free": 100_000})
    monkeypatch.setattr(services.shutil, "disk_usage", lambda path: usage)
    answer = send(client, saved(scene()))
    assert answer.status_code == 507
    assert "full" in answer.json()["what"]
    assert not Photo.objects.exists()
    assert left(places.incoming()) == []


def test_a_disk_that_fills_while_it_is_written_leaves_nothing(
    hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("handsel.bench.on_disk.os.fsync", full)
    answer = send(hall.client(hall.inspector), saved(scene()))
    assert answer.status_code == 507
    assert not Photo.objects.exists()
    assert left(places.incoming()) == []


def test_a_disk_that_is_full_for_the_worker_keeps_the_upload_for_later(
    hall: Hall, no_workers: Workers, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(hall.client(hall.inspector), saved(scene()))
    with monkeypatch.context() as patched:
        patched.setattr(decoding, "told_apart", lambda *a: {"disk": 28})
        with pytest.raises(NoRoom):
            decoding.run({"photo": Photo.objects.get().pk})
        no_workers()
    photo = Photo.objects.get()
    assert (photo.state, places.raw(photo).exists()) == (State.STORED, True)
    no_workers()  # which start anew, and so try again
    photo.refresh_from_db()
    assert photo.state == State.READY


def test_there_is_a_generous_limit_for_each_person(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "MOST_AN_HOUR", 2)
    client = hall.client(hall.inspector)
    sent = [send(client, saved(scene()), f"{n:016d}").status_code for n in range(3)]
    assert sent == [202, 202, 429]
    assert send(client, saved(scene()), f"{0:016d}").status_code == 202  # what is known is not counted again
    assert send(hall.client(hall.builder), saved(scene()), "b" * 16).status_code == 202


# ---- sent twice, wrong method, wrong person ------------------------------------------------------------


def test_sent_twice_it_is_stored_once(hall: Hall, no_workers: Workers) -> None:
    client = hall.client(hall.inspector)
    answers = [send(client, saved(scene())) for _ in range(2)]
    assert [a.status_code for a in answers] == [202, 202]
    assert Photo.objects.count() == Job.objects.count() == len(left(places.incoming())) == 1
    no_workers()
    assert send(client, saved(scene())).json()["state"] == "ready"
    assert left(places.incoming()) == []


def test_the_same_id_with_other_bytes_is_refused(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    send(client, saved(scene()))
    answer = send(client, saved(scene(90, 90)))
    assert answer.status_code == 409
    assert Photo.objects.count() == len(left(places.incoming())) == 1


@pytest.mark.parametrize(
    "client_id", ["", "short", "x" * 65, "../../../etc/passwd", "a b c d e f g h", "é" * 20]
)
def test_an_id_of_another_form_is_refused(hall: Hall, client_id: str) -> None:
    assert send(hall.client(hall.inspector), saved(scene()), client_id).status_code == 400
    assert not Photo.objects.exists()


def test_a_photo_for_a_hand_that_is_not_here_is_refused(hall: Hall) -> None:
    client = hall.client(hall.inspector)
    assert send(client, saved(scene()), hand="K7M4Q2").status_code in (400, 404)
    assert send(client, saved(scene()), hand="222222").status_code == 404
    assert not Photo.objects.exists()


def test_a_form_without_a_photo_is_refused(hall: Hall) -> None:
    answer = hall.client(hall.inspector).post("/photos/", {"client_id": ID}, **JSON)
    assert answer.status_code == 400


def test_nobody_sends_or_sees_photos_without_signing_in(hall: Hall, no_workers: Workers) -> None:
    stranger = hall.client()
    assert send(stranger, saved(scene())).status_code == 401
    assert not Photo.objects.exists()
    photo, _ = developed(hall, no_workers, saved(scene()))
    for path in (f"/photos/{photo.sha256}.jpg", f"/photos/by/{ID}/", "/photos/all/"):
        assert stranger.get(path).status_code == 302
    assert stranger.post(f"/photos/by/{ID}/erase/", {"because": "x"}).status_code == 302
    photo.refresh_from_db()
    assert photo.state == State.READY


def test_a_page_of_another_site_cannot_send_one(hall: Hall) -> None:
    client = hall.client(hall.inspector, enforce_csrf_checks=True)
    assert send(client, saved(scene())).status_code == 403
    assert not Photo.objects.exists()


@pytest.mark.parametrize("method", ["get", "put", "delete", "patch"])
def test_photos_are_sent_by_post_only(hall: Hall, method: str) -> None:
    assert getattr(hall.client(hall.inspector), method)("/photos/").status_code == 405


def test_pictures_are_only_read(hall: Hall, no_workers: Workers) -> None:
    photo, _ = developed(hall, no_workers, saved(scene()))
    client = hall.client(hall.lead)
    assert client.post(f"/photos/{photo.sha256}.jpg").status_code == 405
    assert client.post(f"/photos/by/{ID}/").status_code == 405
    assert client.get(f"/photos/by/{ID}/erase/").status_code == 405
    assert client.get(f"/photos/{'0' * 64}.jpg").status_code == 404
    assert client.get("/photos/by/neverseen1/").status_code == 404


@pytest.mark.parametrize("path", ["/photos/../handsel.sqlite3", "/photos/%2e%2e/secret.jpg", "/photos/A.jpg"])
def test_no_address_leads_out_of_the_folder(hall: Hall, path: str) -> None:
    assert hall.client(hall.lead).get(path).status_code == 404


# ---- pages and erasing ---------------------------------------------------------------------------------


def test_the_lead_erases_a_picture_and_the_record_stays(hall: Hall, no_workers: Workers) -> None:
    hand = hall.hand()
    append(hand, [New(kind="noted", what={"text": "see photo", "photo": ID})], person=hall.inspector)
    photo, _ = developed(hall, no_workers, saved(scene()))
    twice, _ = developed(hall, no_workers, saved(scene()), "f" * 16)
    assert twice.sha256 == photo.sha256
    files = [places.kept(photo.sha256), places.kept(photo.thumb_sha256)]
    assert all(f.exists() for f in files)
    client = hall.client(hall.lead)
    for _ in range(2):  # sent twice
        assert client.post(f"/photos/by/{ID}/erase/", {"because": "shows a face"}).status_code == 302
    assert not any(f.exists() for f in files)
    assert client.get(f"/photos/{photo.sha256}.jpg", **JSON).status_code == 410
    photo.refresh_from_db()
    assert (photo.state, photo.erased_by, photo.erased_because) == (State.ERASED, hall.lead, "shows a face")
    page = client.get(f"/photos/by/{ID}/", headers={"accept": "text/html"}).content.decode()
    assert "erased" in page
    assert hall.lead.called in page
    assert Entry.objects.get(hand=hand, kind="noted").what["photo"] == ID


def test_only_the_lead_erases_and_says_why(hall: Hall, no_workers: Workers) -> None:
    photo, _ = developed(hall, no_workers, saved(scene()))
    path = f"/photos/by/{ID}/erase/"
    assert hall.client(hall.inspector).post(path, {"because": "x"}).status_code == 403
    page = hall.client(hall.lead).post(path, {"because": ""})
    assert page.status_code == 200
    assert "Why it goes" in page.content.decode()
    photo.refresh_from_db()
    assert photo.state == State.READY


def test_a_photo_erased_before_its_turn_is_never_developed(hall: Hall, no_workers: Workers) -> None:
    send(hall.client(hall.inspector), saved(scene()))
    services.erase(Photo.objects.get(), person=hall.lead, because="wrong one")
    no_workers()
    assert Photo.objects.get().state == State.ERASED
    assert left(places.incoming()) + left(places.incoming().parent / "photos") == []


def test_the_lead_sees_all_photos_and_others_do_not(hall: Hall, no_workers: Workers) -> None:
    developed(hall, no_workers, saved(scene()))
    send(hall.client(hall.builder), b"no photo", "c" * 16)
    page = hall.client(hall.lead).get("/photos/all/").content.decode()
    assert "2 photos" in page
    assert "Refused" in page
    assert hall.client(hall.inspector).get("/photos/all/").status_code == 403


def test_what_a_crash_left_behind_goes_after_a_day(hall: Hall) -> None:
    send(hall.client(hall.inspector), saved(scene()))
    orphan = places.incoming() / "left.raw"
    orphan.write_bytes(b"x")
    now = orphan.stat().st_mtime
    assert tidying.sweep(now) == 0
    assert tidying.sweep(now + 2 * tidying.STALE_S) == 1
    assert left(places.incoming()) == [places.raw(Photo.objects.get())]


def test_every_state_can_be_read_as_json(hall: Hall, no_workers: Workers) -> None:
    photo, _ = developed(hall, no_workers, saved(scene()))
    told = json.loads(hall.client(hall.fitter).get(f"/photos/by/{ID}/").content)
    assert told["small"] == f"/photos/{photo.thumb_sha256}.jpg"


@pytest.mark.parametrize(
    ("start", "kind"),
    [
        (b"\xff\xd8\xff\xe1", "jpeg"),
        (b"\xff\xd8", ""),
        (b"RIFF\x00\x00\x00\x00WEBP", "webp"),
        (b"RIFF\x00\x00\x00\x00WAVE", ""),
        (b"\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic", "heic"),
        (b"", ""),
    ],
)
def test_a_kind_is_told_by_the_first_bytes(start: bytes, kind: str) -> None:
    assert kind_of(start) == kind
