"""The screens of photos that are read, for everybody: a screen reader, a glove, a small phone, the dark."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from bench.hall import Hall
from bench.pictures import saved, scene
from browser.conftest import Phone, needed
from browser.hall_server import SIZES
from browser.looking import go_through, open_hand, question
from browser.photographing import READABLE, REFUSED, at_the_worked_angle, photograph, reading_workers
from browser.test_accessibility import AXE, looked_at
from handsel.bench.hands.models import Hand
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.on_disk import write_whole
from handsel.bench.photos import derived, places
from handsel.bench.photos.models import Photo

AWAY = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "404")
STOP = "This kit has one too many of index finger, proximal part, where thumb, proximal part should be."
SEEN: dict[str, dict[str, Any]] = {
    "parts": {
        "head": STOP, "stop": STOP, "marks": [], "notes": ["The mat is printed at 97.0 % of its size."],
        "rows": [{"words": "Thumb, proximal part: not seen", "small": "", "status": "not seen"},
                 {"words": "4. Index finger, proximal part: one too many", "small": "", "status": "does not conform"},
                 {"words": "1. Palm: right", "small": "", "status": "conforms"}],
    },
    "bend": {
        "head": "1 pale line to look at.", "stop": "", "rows": [], "notes": [],
        "marks": [{"id": "1", "words": "1. A pale line, like whitening", "yes": "It stays", "no": "It is none"}],
    },
}  # fmt: skip


@pytest.fixture(autouse=True)
def _bench(hall: Hall, settings: Any, tmp_path: Path) -> Iterator[None]:
    settings.DATA, settings.PHOTOS = tmp_path, tmp_path / "photos"
    with reading_workers():
        yield


@pytest.fixture(scope="module")
def axe() -> str:
    """The checks, as text."""
    return Path(needed(str(AXE) if AXE.exists() else None, "axe-core")).read_text(encoding="utf-8")


def seen(hall: Hall, hand: Hand, kind: str, of: str) -> None:
    """A photo that was read before, put on record as the worker does."""
    data, now = saved(scene(640, 480)), timezone.now()
    photo = Photo.objects.create(
        client_id=kind * 4, hand=hand, taken_by=hall.inspector, received_at=now, raw_sha256="0" * 64, raw_bytes=1,
        state="refused",
    )  # fmt: skip
    from hashlib import sha256

    name = sha256(data).hexdigest()
    write_whole(places.kept(name), [data])
    derived.keep(photo, kind, name, size=len(data), at=now)
    Measurement.objects.create(
        key=f"{kind}/{photo.client_id}", kind=kind, photo=photo, hand=hand, of=of, asked={}, asked_by=hall.inspector,
        asked_at=now, state=State.MEASURED, result=SEEN[kind], overlay_sha256=name, took_ms=5,
    )  # fmt: skip


def fine(page: Page, axe: str, said: str) -> list[str]:
    page.wait_for_timeout(400)
    wrong = looked_at(page, axe, said)
    for size in ("laptop", "phone"):
        page.set_viewport_size(SIZES[size])
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        wrong += [f"{said}: {over} px to scroll sideways, {size}"] if over > 0 else []
    return wrong


def test_reading_an_angle_and_drawing_lines(hall: Hall, phone: Phone, axe: str) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    wrong = fine(page, axe, "before a photo")
    photograph(page, READABLE)
    expect(page.locator(".measure .reading")).to_be_visible(timeout=60_000)
    wrong += fine(page, axe, "read")
    photograph(page, REFUSED)
    expect(page.locator("#draw-lines")).to_be_visible(timeout=60_000)
    wrong += fine(page, axe, "refused")
    page.click("#draw-lines")
    expect(page.locator(".lines-stage.is-ready")).to_be_visible()
    wrong += fine(page, axe, "lines")
    assert not wrong, "\n".join(wrong)


def test_what_a_photo_saw_beside_a_question(hall: Hall, phone: Phone, axe: str) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    page.click("#held")
    page.locator("summary", has_text="Let a photo count them").click()
    wrong = fine(page, axe, "asked for a photo of the mat")
    seen(hall, hand, "parts", "kit-complete")
    seen(hall, hand, "bend", "cuff-no-white-line")
    open_hand(page, hand)
    page.click("#held")
    expect(page.locator(".measure .notice-stop")).to_contain_text("where thumb, proximal part should be")
    wrong += fine(page, axe, "parts seen")
    go_through(page, until=lambda p: "white line" in question(p))
    page.check("#mark-1-confirmed")
    wrong += fine(page, axe, "bend seen")
    assert not wrong, "\n".join(wrong)
