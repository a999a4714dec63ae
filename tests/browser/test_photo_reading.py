"""Photos at the rest angle: read and taken, refused and taken again, overruled, two of them, and without a network."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from bench.hall import Hall
from browser.conftest import Phone
from browser.looking import all_sent, eventually, question, stored
from browser.photographing import (
    READABLE,
    REFUSED,
    at_the_worked_angle,
    photograph,
    reading_workers,
)
from handsel.bench.hands.models import Hand
from handsel.bench.measuring.models import Measurement, State

OF = "worked-rest-angle"
AWAY = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "404")  # asked after before it arrived


@pytest.fixture(autouse=True)
def _bench(hall: Hall, settings: Any, tmp_path: Path) -> Iterator[None]:
    settings.DATA, settings.PHOTOS = tmp_path, tmp_path / "photos"
    with reading_workers():
        yield


def readings(hand: Hand) -> list[dict[str, Any]]:
    """What is on record of the worked angle, oldest first."""
    return [e.what for e in stored(hand, "observed") if e.what.get("of") == OF]


def shown(page: Page) -> str:
    expect(page.locator(".measure .reading")).to_be_visible(timeout=60_000)
    return page.inner_text(".measure .reading")


def test_a_photo_is_shown_with_its_lines_and_taken(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    photograph(page, READABLE)
    text = shown(page)
    found = re.fullmatch(r"(\d+\.\d)°\s+± (\d\.\d)° \(k = 2\)", text)
    assert found, text
    assert abs(float(found[1]) - 30.32) < 0.45
    assert "k = 2" in page.inner_text(".measure")
    expect(page.locator(".seen-picture")).to_have_js_property("naturalWidth", 1600)
    expect(page.locator(".judged-word")).to_contain_text("Undecided")
    expect(page.locator(".judged-settle")).to_contain_text("Soonest")
    expect(page.locator("#keep-number")).to_have_text(f"Take {found[1]}°")
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    all_sent(page)
    (what,) = readings(hand)
    assert (what["value"], what["method"]) == (float(found[1]), "photo")
    assert what["measured"].startswith("angle/")
    assert what["u"] * 2 == pytest.approx(float(found[2]), abs=0.06)


def test_a_refused_photo_says_why_and_another_one_is_read(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    photograph(page, REFUSED)
    expect(page.locator(".measure .notice-warning")).to_contain_text("card", timeout=60_000)
    expect(page.locator("#draw-lines")).to_be_visible()
    photograph(page, READABLE)
    first = shown(page)
    assert first.startswith(("30.", "29."))
    photograph(page, REFUSED)
    page.click("#photo-before", timeout=60_000)  # what shows nothing takes nothing away
    assert shown(page) == first
    expect(page.locator("#keep-number")).to_have_text(re.compile(r"^Take (30|29)\."))


def test_ones_own_reading_counts_and_the_photos_is_kept_beside_it(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    photograph(page, READABLE)
    shown(page)
    page.fill("#number", "36")
    expect(page.locator("#keep-number")).to_have_text("Keep mine instead")
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    all_sent(page)
    seen, own = readings(hand)
    assert (seen["method"], own["method"], own["value"]) == ("photo", "protractor", 36.0)
    assert own["corrects"] == next(e.seq for e in stored(hand, "observed") if e.what == seen)
    assert own["photo"] == seen["photo"]


def test_two_photos_with_cards_put_on_afresh_are_surer_than_one(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    photograph(page, READABLE)
    one = float(shown(page).split("±")[1].split("°")[0])
    photograph(page, READABLE)
    page.click("#afresh-yes", timeout=60_000)
    expect(page.locator(".measure")).to_contain_text("2 photos together", timeout=60_000)
    assert float(shown(page).split("±")[1].split("°")[0]) == pytest.approx(one / 2**0.5, abs=0.11)
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    all_sent(page)
    assert readings(hand)[0]["measured"].startswith("angles/")


def test_without_the_network_the_photo_waits_and_the_angle_is_typed(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    all_sent(page)
    page.context.set_offline(True)
    photograph(page, READABLE)
    expect(page.locator(".being-read")).to_contain_text("waits on this phone")
    page.fill("#number", "35.5")
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    assert question(page)
    assert not Measurement.objects.exists()
    page.context.set_offline(False)
    expect(page.locator("#look-above")).to_contain_text("The photo was read", timeout=60_000)
    all_sent(page)
    (own,) = readings(hand)
    m = Measurement.objects.get()
    assert (own["value"], own["photo"]) == (35.5, m.photo.client_id)
    assert m.state == State.MEASURED
    page.get_by_role("button", name="See it").click()
    assert shown(page).startswith(("30.", "29."))


def test_a_page_that_is_opened_again_still_has_the_reading(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    photograph(page, READABLE)
    before = shown(page)
    all_sent(page)
    at_the_worked_angle(page, hand)
    assert shown(page) == before
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    eventually(lambda: len(readings(hand)) == 1)
