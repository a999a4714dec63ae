"""Two lines drawn on a photo by finger and by keys, under the glass, taken as the angle that they make."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from bench.hall import Hall
from browser.conftest import Phone
from browser.looking import all_sent, stored
from browser.photographing import REFUSED, at_the_worked_angle, photograph, reading_workers
from handsel.bench.hands.models import Hand

OF = "worked-rest-angle"
AWAY = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "404")


@pytest.fixture(autouse=True)
def _bench(hall: Hall, settings: Any, tmp_path: Path) -> Iterator[None]:
    settings.DATA, settings.PHOTOS = tmp_path, tmp_path / "photos"
    with reading_workers():
        yield


def to_lines(page: Page, hand: Hand) -> None:
    at_the_worked_angle(page, hand)
    photograph(page, REFUSED, by="take-for-lines")
    expect(page.locator(".lines-stage.is-ready")).to_be_visible()
    page.wait_for_timeout(400)  # a new screen takes no tap for a moment


def middle(page: Page, end: int) -> tuple[float, float]:
    box = page.locator(f"#end-{end}").bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page: Page, end: int, dx: float, dy: float) -> None:
    """As a finger does it: down on the ring, along, and up."""
    page.locator(f"#end-{end}").scroll_into_view_if_needed()
    x, y = middle(page, end)
    page.mouse.move(x + 6, y + 6)
    page.mouse.down()
    page.mouse.move(x + 6 + dx / 2, y + 6 + dy / 2, steps=3)
    page.mouse.move(x + 6 + dx, y + 6 + dy, steps=3)
    expect(page.locator(".lines-glass")).to_be_visible()
    page.mouse.up()


def told_deg(page: Page) -> float:
    found = re.match(r"(−?)(\d+\.\d)°", page.inner_text(".lines-reading"))
    assert found, page.inner_text(".lines-reading")
    return float(found[2]) * (-1 if found[1] else 1)


def readings(hand: Hand) -> list[dict[str, Any]]:
    return [e.what for e in stored(hand, "observed") if e.what.get("of") == OF]


def test_lines_are_dragged_under_the_glass_and_their_angle_is_taken(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    to_lines(page, hand)
    expect(page.locator("#keep-lines")).to_be_disabled()
    x, y = middle(page, 3)
    drag(page, 3, 10.0, -60.0)
    moved = middle(page, 3)
    assert (moved[0] - x, moved[1] - y) == pytest.approx((10.0, -60.0), abs=1.5)
    expect(page.locator("#keep-lines")).to_be_disabled()  # the other line lies where nobody put it
    drag(page, 0, -8.0, 4.0)
    expect(page.locator(".lines-glass")).to_be_hidden()
    value = told_deg(page)
    page.click("#keep-lines")
    expect(page.locator("#keep-number")).to_have_text(f"Take {value:.1f}°")
    expect(page.locator(".judged-word")).to_be_visible()
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    all_sent(page)
    (what,) = readings(hand)
    assert (what["value"], what["method"], len(what["lines"]["drawn"])) == (value, "photo", 1)
    assert what["u"] > 1.2


def test_by_keys_alone_and_drawn_twice(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    to_lines(page, hand)
    for _ in range(2):
        page.focus("#end-3")
        for key in ("Shift+ArrowUp", "ArrowUp", "ArrowRight"):
            page.keyboard.press(key)
        expect(page.locator(".lines-glass")).to_be_visible()
        page.focus("#end-1")
        page.keyboard.press("ArrowDown")
        expect(page.locator(".lines-said")).to_contain_text("The lines make", timeout=5_000)
        if page.locator("#lines-afresh").is_visible() and "before" not in page.inner_text("#look"):
            page.focus("#lines-afresh")
            page.keyboard.press("Enter")
    page.focus("#keep-lines")
    page.keyboard.press("Enter")
    expect(page.locator(".measure")).to_contain_text("2 times")
    page.focus("#keep-number")
    page.keyboard.press("Enter")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    all_sent(page)
    assert len(readings(hand)[0]["lines"]["drawn"]) == 2


def test_without_the_network_lines_are_drawn_and_sent_later(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    at_the_worked_angle(page, hand)
    all_sent(page)
    page.context.set_offline(True)
    photograph(page, REFUSED, by="take-for-lines")
    expect(page.locator(".lines-stage.is-ready")).to_be_visible()
    page.wait_for_timeout(400)
    drag(page, 3, 6.0, -50.0)
    drag(page, 0, -8.0, 4.0)
    value = told_deg(page)
    page.click("#keep-lines")
    expect(page.locator("#keep-number")).to_have_text(f"Take {value:.1f}°")
    page.click("#keep-number")
    page.wait_for_function("!document.getElementById('question').textContent.startsWith('The hand rests')")
    assert readings(hand) == []
    page.context.set_offline(False)
    all_sent(page)
    assert readings(hand)[0]["value"] == value


def test_the_phone_and_the_bench_work_out_the_same(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector, expects=AWAY)
    to_lines(page, hand)
    drag(page, 3, 6.0, -50.0)
    drag(page, 0, -8.0, 4.0)
    found = re.match(r"(\d+\.\d)° ± (\d+\.\d)°", page.inner_text(".lines-reading"))
    assert found
    with page.expect_response("**/measured/lines/") as heard:
        page.click("#keep-lines")
    told = heard.value.json()
    assert told["value"] == pytest.approx(float(found[1]), abs=0.051)
    assert 2 * told["u"] == pytest.approx(float(found[2]), abs=0.12)
