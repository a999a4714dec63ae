"""Photos beside a yes or no: the parts on the mat, the cuff, a bend. They show and ask; the person answers."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from bench.hall import Hall
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.looking.answering import known
from handsel.bench.measuring import saying
from handsel.bench.measuring.kinds import job_kind, kind_for
from handsel.bench.measuring.models import Measurement
from handsel.data.load_protocol import load_protocol
from handsel.vision.parts.looking import PartsSeen
from handsel.vision.parts.seen import Ask, PartMissing, PartSeen, State

ID = "a" * 32
JSON = {"headers": {"accept": "application/json"}}
Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


@pytest.fixture
def hand(hall: Hall) -> Hand:
    """A hand whose parts lie on the table."""
    return hall.hand()


def plastic(*, line: bool) -> bytes:
    """A sheet of green plastic, close, with the grain of a print, and a pale line across it if asked for."""
    rng = np.random.default_rng(3)
    shades = np.full((700, 900, 3), (30, 120, 60), dtype=float) + rng.normal(0, 5, (700, 900, 1))
    shades += np.linspace(-12, 12, 900)[None, :, None]
    if line:
        shades[344:350, 180:720] += (95, 70, 85)
    out = io.BytesIO()
    Image.fromarray(np.clip(shades, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


def read(hall: Hall, hand: Hand, no_workers: Workers, kind: str, of: str, data: bytes, **more: str) -> Any:
    client = hall.client(hall.inspector)
    form = {
        "photo": SimpleUploadedFile("a.jpg", data),
        "client_id": ID,
        "hand": hand.code,
        "measure": kind,
        "of": of,
    }
    sent = client.post("/photos/", form | more, **JSON)
    assert sent.status_code == 202, sent.content
    no_workers()
    return client.get(f"/measured/{kind}/{ID}/", **JSON).json()


def answer(hall: Hall, hand: Hand, of: str, **fields: Any) -> dict[str, Any]:
    entry = {"kind": "observed", "by": hall.inspector.number, "client_id": "e" * 32, "of": of, "photo": ID,
             "protocol": hand.protocol_id} | fields  # fmt: skip
    reply = hall.client(hall.inspector).post(
        f"/h/{hand.code}/answers/", json.dumps({"entries": [entry]}), content_type="application/json", **JSON
    )
    found: dict[str, Any] = reply.json()["results"][0]
    return found


def test_the_protocols_own_checks_are_known_to_what_helps_them() -> None:
    protocol = load_protocol("wrist-hand-1")
    kinds = {c.id: kind_for(c) for c in protocol.characteristics if kind_for(c)}
    assert kinds == {
        "kit-complete": "parts", "cuff-symmetric": "cuff", "cuff-no-white-line": "bend", "joint-no-white-line": "bend",
        "worked-rest-angle": "angle", "lowered-rest-angle": "angle",
    }  # fmt: skip
    assert {job_kind(k) for k in ("parts", "cuff", "bend")} == {"measure-slow"}


def test_a_pale_line_is_marked_for_the_person_to_confirm_and_the_record_keeps_what_was_said(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers, "bend", "cuff-no-white-line", plastic(line=True))
    assert told["state"] == "measured", told
    (mark,) = told["seen"]["marks"]
    assert mark["id"] == "1"
    assert hall.client(hall.inspector).get(told["overlay"]).status_code == 200
    result = answer(
        hall, hand, "cuff-no-white-line", answer="no", measured=told["key"], marks=[["1", "confirmed"]]
    )
    assert result["state"] == "stored", result
    what = Entry.objects.get(hand=hand, seq=result["seq"]).what
    assert what["marks"] == [["1", "confirmed"]]
    assert what["saw"] == "1 pale line marked by photo"
    assert known(hand).inspection().item("cuff-no-white-line").status == "does not conform"


def test_the_photo_does_not_overrule_the_person(hall: Hall, hand: Hand, no_workers: Workers) -> None:
    told = read(hall, hand, no_workers, "bend", "cuff-no-white-line", plastic(line=True))
    result = answer(
        hall, hand, "cuff-no-white-line", answer="yes", measured=told["key"], marks=[["1", "dismissed"]]
    )
    assert result["state"] == "stored", result
    assert known(hand).inspection().item("cuff-no-white-line").status == "conforms"


def test_on_an_even_bend_nothing_is_marked_and_the_person_is_told_to_look(
    hall: Hall, hand: Hand, no_workers: Workers
) -> None:
    told = read(hall, hand, no_workers, "bend", "joint-no-white-line", plastic(line=False))
    if told["state"] == "refused":  # an even sheet may show nothing to tell whether it is sharp
        assert told["do"]
    else:
        assert told["seen"]["marks"] == []
        assert "Look for yourself" in told["seen"]["head"] or "cannot tell" in told["seen"]["head"]


@pytest.mark.parametrize(
    ("kind", "of", "more"),
    [("cuff", "cuff-symmetric", {"width_mm": "71.4"}), ("parts", "kit-complete", {"bar_mm": "100"})],
)
def test_a_photo_that_shows_neither_cuff_nor_mat_is_refused_with_what_to_do(
    hall: Hall, hand: Hand, no_workers: Workers, kind: str, of: str, more: dict[str, str]
) -> None:
    told = read(hall, hand, no_workers, kind, of, plastic(line=False), **more)
    assert told["state"] == "refused", told
    assert told["cause"] not in ("", "not a usable photo")
    assert told["reason"]
    assert told["do"]
    asked = Measurement.objects.get().asked
    assert [asked[k] for k in more] == [float(v) for v in more.values()]
    if kind == "cuff":
        assert asked["most_mm"] == 3.0
    result = answer(hall, hand, of, answer="yes", measured=told["key"])
    assert "nothing could be read" in result["what"]
    assert (
        answer(hall, hand, of, answer="yes")["state"] == "stored"
    )  # with the picture, by the person's own eyes


def part(state: State, **more: Any) -> PartSeen:
    told: dict[str, Any] = {
        "state": state, "names": ("thumb_proximal",), "title": "thumb, proximal part", "confidence": 0.98,
        "x_mm": 10.0, "y_mm": 20.0, "length_mm": 41.0, "u_length_mm": 0.2, "scale_ratio": 1.0, "u_scale_ratio": 0.004,
        "flat_side_down": True, "reason": "", "ask": None, "outline_px": (),
    }  # fmt: skip
    return PartSeen(**(told | more))


def kit(*seen: PartSeen, missing: tuple[PartMissing, ...] = (), sentence: str = "") -> PartsSeen:
    return PartsSeen(
        design="linden", scale_ratio=1.1, side="right", mat="A3", seen=seen, missing=missing, expected_count=2,
        print_ratio=1.0, u_print_ratio=0.002, print_told_by=("the paper's edges",), print_is_wrong=False,
        marker_count=14, tilt_deg=3.0, px_per_mm=5.0, u_height_ratio=0.01, picture_px=(4000, 3000), notes=(),
        sentence=sentence,
    )  # fmt: skip


def test_a_part_in_anothers_stead_stops_the_kit_before_anything_is_strung() -> None:
    sentence = "This kit has one too many of finger, proximal part, where thumb, proximal part should be."
    gone = PartMissing(names=("thumb_proximal",), title="thumb, proximal part", count=1, may_be_there=False)
    said = saying.of_parts(kit(part(State.RIGHT), part(State.EXTRA), missing=(gone,), sentence=sentence))
    assert said["stop"] == said["head"] == sentence
    assert [r["status"] for r in said["rows"]] == ["not seen", "does not conform", "conforms"]
    assert said["rows"][1]["words"].startswith("2. Thumb")  # the number on the picture


def test_what_cannot_be_told_asks_for_the_caliper_and_stops_nothing() -> None:
    ask = Ask(what="measure it over the knuckle", expected_mm=20.0, otherwise_mm=18.5)
    said = saying.of_parts(
        kit(part(State.UNTOLD, reason="two parts fit it", ask=ask), sentence="1 cannot be told.")
    )
    assert said["stop"] == ""
    (row,) = said["rows"]
    assert row["status"] == "undecided"
    assert "20.0 mm if it is right, 18.5 mm if not" in row["small"]


def test_another_scale_is_told_with_its_doubt() -> None:
    said = saying.of_parts(kit(part(State.OTHER_SCALE, scale_ratio=0.913, u_scale_ratio=0.004), sentence="x"))
    assert "91.3 ± 0.8 % of the ordered size (k = 2)" in said["rows"][0]["small"]
    assert said["stop"]


THUMB = PartMissing(names=("thumb_proximal",), title="thumb, proximal part", count=1, may_be_there=False)
PALM = PartMissing(names=("palm",), title="palm", count=1, may_be_there=False)


def test_a_kit_on_two_photos_misses_only_what_is_on_neither() -> None:
    first = saying.of_parts(
        kit(part(State.RIGHT, names=("palm",), title="palm"), missing=(THUMB,), sentence="a")
    )
    rest = saying.of_parts(kit(part(State.RIGHT), missing=(PALM,), sentence="b"))
    said = saying.of_kit([first, rest])
    assert said["head"] == "On 2 photos together: 2 right."
    assert [r["status"] for r in said["rows"]] == ["conforms", "conforms"]
    assert said["stop"] == ""
    neither = saying.of_kit([rest, rest])
    assert "1 not seen" in neither["head"]
    assert "too many, or photographed twice" in neither["head"]
    assert neither["rows"][0]["words"] == "Palm: on none of the photos"


def test_a_stop_on_one_of_two_photos_is_a_stop() -> None:
    wrong = saying.of_parts(kit(part(State.MIRRORED), missing=(PALM,), sentence="1 for the other hand."))
    fine = saying.of_parts(kit(part(State.RIGHT, names=("palm",), title="palm"), sentence="b"))
    assert saying.of_kit([wrong, fine])["stop"] == "1 for the other hand."


def test_photos_of_one_kit_are_told_together_and_one_of_another_hand_is_not(hall: Hall, hand: Hand) -> None:
    from django.utils import timezone

    from handsel.bench.measuring import telling
    from handsel.bench.photos.models import Photo

    other = hall.hand(code="R-022")
    first = saying.of_parts(
        kit(part(State.RIGHT, names=("palm",), title="palm"), missing=(THUMB,), sentence="a")
    )
    rest = saying.of_parts(kit(part(State.RIGHT), missing=(PALM,), sentence="b"))
    heads = []
    for n, (of, result, asked) in enumerate([(hand, first, {}), (hand, rest, {"rest_of": "photo-00"}),
                                             (other, rest, {"rest_of": "photo-00"})]):  # fmt: skip
        photo = Photo.objects.create(client_id=f"photo-{n:02d}", hand=of, taken_by=hall.inspector,
                                     received_at=timezone.now(), raw_sha256="0" * 64, raw_bytes=1)  # fmt: skip
        m = Measurement.objects.create(
            key=f"parts/{photo.client_id}", kind="parts", photo=photo, hand=of, of="kit-complete", asked=asked,
            asked_by=hall.inspector, asked_at=timezone.now(), state="measured", result=result,
        )  # fmt: skip
        heads.append(telling.told(m)["seen"]["head"])
    assert heads == ["a", "On 2 photos together: 2 right.", "b"]
