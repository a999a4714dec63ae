"""Whatever is sent to be measured: an answer in words, never a mistake of the program, and nothing left lying about."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from bench.hall import Hall
from handsel.bench.hands.models import Hand
from handsel.bench.measuring import seeing, working
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.photos import apart
from handsel.bench.photos.developing import NotStored, Refused
from handsel.bench.photos.models import Photo

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"
FEW = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


def small() -> bytes:
    """A readable photo, small enough to be read often."""
    out = io.BytesIO()
    with Image.open(SHARED / "clean-05.jpg") as photo:
        photo.resize((800, 600)).save(out, "JPEG", quality=85, exif=photo.getexif().tobytes())
    return out.getvalue()


PHOTO = small()
cuts = st.builds(lambda n: PHOTO[:n], st.integers(0, len(PHOTO)))


@st.composite
def spoilt(draw: st.DrawFn) -> bytes:
    """The photo with some of its bytes changed, mostly where they say what is what."""
    data = bytearray(PHOTO)
    for _ in range(draw(st.integers(1, 12))):
        reach = draw(st.sampled_from([64, 700, len(data)]))
        data[draw(st.integers(2, reach - 1))] = draw(st.integers(0, 255))
    return bytes(data)


@FEW
@given(
    data=st.one_of(cuts, spoilt(), st.binary(max_size=600)), what=st.sampled_from(["angle", "bend", "cuff"])
)
def test_a_spoilt_file_is_read_or_refused_and_nothing_else(tmp_path: Path, data: bytes, what: str) -> None:
    source = tmp_path / "a.raw"
    source.write_bytes(data)
    try:
        told = seeing.look({"what": what, "width_mm": 80.0, "side": "left"}, source, tmp_path / "o.jpg")
    except (Refused, NotStored, MemoryError) as refused:  # the process tells these as refusals
        told = {"refused": str(refused), "do": getattr(refused, "do", "again")}
    json.dumps(told, allow_nan=False)
    assert ("refused" in told) != ("value" in told or "head" in told)
    if "refused" in told:
        assert told["refused"]
        assert told["do"]
    if "value" in told:
        assert np.isfinite(told["value"])
        assert 0 < told["u"] < 2.5


odd = st.one_of(
    st.text(max_size=20),
    st.sampled_from(["angle", "parts", "worked-rest-angle", "loose", "nan", "1e309", "-1", "\0"]),
)


@FEW
@given(
    fields=st.dictionaries(
        st.sampled_from(["measure", "of", "cards", "width_mm", "bar_mm", "client_id", "hand"]), odd
    ),
    data=st.one_of(st.just(PHOTO[:3000]), st.binary(max_size=80)),
)
def test_odd_wishes_are_answered_in_words(hall: Hall, fields: dict[str, str], data: bytes) -> None:
    client = Client(raise_request_exception=False)
    client.force_login(hall.inspector)
    with transaction.atomic():
        form = {"client_id": "a" * 32, **fields, "photo": SimpleUploadedFile("a.jpg", data)}
        reply = client.post("/photos/", form, headers={"accept": "application/json"})
        assert reply.status_code < 500, reply.content
        assert reply.json().get("state") or reply.json()["do"]
        transaction.set_rollback(True)


@FEW
@given(
    photos=st.text(max_size=200), afresh=odd, of=odd, kind=st.from_regex(r"[a-z]{1,8}", fullmatch=True),
    body=st.one_of(st.binary(max_size=200), st.recursive(
        st.one_of(st.none(), st.integers(), st.floats(), st.text(max_size=5)),
        lambda more: st.one_of(st.lists(more, max_size=4), st.dictionaries(
            st.sampled_from(["of", "lines", "size", "drawn", "palm", "cuff"]), more, max_size=4)), max_leaves=12)),
)  # fmt: skip
def test_odd_questions_are_answered_in_words(
    hall: Hall, photos: str, afresh: str, of: str, kind: str, body: Any
) -> None:
    client = Client(raise_request_exception=False)
    client.force_login(hall.inspector)
    hand = Hand.objects.first() or hall.hand()
    text = body if isinstance(body, bytes) else json.dumps(body).encode()
    replies = [
        client.post(f"/h/{hand.code}/measured/together/", {"photos": photos, "afresh": afresh, "of": of}),
        client.post(f"/h/{hand.code}/measured/lines/", text, content_type="application/json"),
        client.get(f"/measured/{kind}/{'a' * 32}/"),
        client.post(f"/measured/by/{'a' * 32}/ask/", {"measure": of, "of": afresh}),
    ]
    assert [r.status_code for r in replies if r.status_code >= 500] == []
    assert not Measurement.objects.exists()


def test_a_photo_that_takes_too_long_is_refused_and_leaves_nothing(
    hall: Hall, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    monkeypatch.setattr(working, "WALL_S", 0.01)
    client = hall.client(hall.inspector)
    hand = hall.hand(at="strung")
    form = {"photo": SimpleUploadedFile("a.jpg", PHOTO), "client_id": "a" * 32, "hand": hand.code,
            "measure": "angle", "of": "worked-rest-angle"}  # fmt: skip
    assert client.post("/photos/", form).status_code == 202
    m = Measurement.objects.get()
    told = working.run({"measurement": m.pk})
    m.refresh_from_db()
    assert (told["state"], m.state) == (State.REFUSED, State.REFUSED)
    assert "longer than" in m.reason
    assert m.do
    assert list(Path(settings.PHOTOS).rglob("*.*")) == []
    assert Photo.objects.get().state == "stored"  # it is developed all the same, later


def test_a_process_that_waits_reads_the_next_photo_and_another_takes_its_place(tmp_path: Path) -> None:
    source = tmp_path / "a.raw"
    source.write_bytes(PHOTO)
    words = (json.dumps({"what": "angle", "side": "left"}), source, tmp_path / "o.jpg")
    alone = apart.told_apart(working.SEEING, *words)
    try:
        working.stand_by("measure")
        first = apart._waiting[working.SEEING]
        assert apart.told_apart(working.SEEING, *words) == alone
        assert first.returncode == 0
        second = apart._waiting[working.SEEING]
        assert second.pid != first.pid
        second.kill()  # as the system does when memory runs out
        second.wait()
        assert apart.told_apart(working.SEEING, *words) == alone
        third = apart._waiting.pop(working.SEEING)
        third.communicate()  # its input closes, as when its worker is gone
        assert third.returncode == 0
    finally:
        apart.send_home()
    assert apart._waiting == {}
