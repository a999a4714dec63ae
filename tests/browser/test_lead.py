"""The lead's laptop: a day that keeps itself fresh, and a paper traveller typed in."""

from __future__ import annotations

import time
from collections.abc import Callable

from playwright.sync_api import Page, expect

from bench.hall import Hall
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry

LAPTOP = {"width": 1366, "height": 768}


def test_the_day_refreshes_without_taking_focus_or_scroll(hall: Hall, phone: Callable[..., Page]) -> None:
    hands = [hall.hand(code=f"R-{n}") for n in range(24)]
    page = phone(hall.lead)
    page.goto("/day/")
    page.set_viewport_size(LAPTOP)
    link = page.locator(f"#row-{hands[20].code}")
    link.focus()
    page.evaluate("window.scrollTo(0, 500)")
    append(hands[3], [New(kind="asked", what={"hold_point": "parts"})], person=hall.builder)
    expect(page.locator(f"#row-{hands[3].code}")).to_contain_text("waiting to be looked at", timeout=9_000)
    assert page.evaluate("document.activeElement.id") == f"row-{hands[20].code}"
    assert abs(page.evaluate("window.scrollY") - 500) < 60


def test_typing_filters_the_list_at_once_and_keeps_the_cursor(hall: Hall, phone: Callable[..., Page]) -> None:
    hands = [hall.hand(code=f"R-{n}") for n in (11, 12, 13)]
    page = phone(hall.lead)
    page.goto("/day/")
    page.locator("#q").click()
    page.keyboard.type("R-12", delay=20)
    expect(page.locator(".hand-rows > li")).to_have_count(1)
    expect(page.locator(f"#row-{hands[1].code}")).to_be_visible()
    assert page.evaluate("document.activeElement.id") == "q"
    page.keyboard.press("Control+A")
    page.keyboard.press("Delete")
    expect(page.locator(".hand-rows > li")).to_have_count(3)


def test_a_paper_traveller_is_typed_in_by_keys_alone(hall: Hall, phone: Callable[..., Page]) -> None:
    hand = hall.hand()
    page = phone(hall.inspector)
    page.goto(f"/h/{hand.code}/paper/")
    page.set_viewport_size(LAPTOP)
    begun, keys = time.monotonic(), 0
    while page.evaluate("document.activeElement.classList.contains('typing-box')"):
        numbers = page.evaluate("!document.activeElement.hasAttribute('data-keys')")
        many = page.evaluate(
            "document.activeElement.closest('[data-row]')?.querySelectorAll('.typing-box').length > 1"
        )
        typed = "100" if numbers else "1" if _is_odd(page) else "a" if many else "y"
        page.keyboard.type(typed)
        if numbers:
            page.keyboard.press("Enter")
        keys += len(typed) + numbers
        assert keys < 200
    # A person presses a key in less than half a second, reading from paper: well under a minute.
    assert keys <= 60
    assert page.evaluate("document.activeElement.name") == "decide"
    page.keyboard.press("Enter")
    page.wait_for_url("**/answer/")
    assert Entry.objects.filter(hand=hand, kind="decided").exists()
    assert time.monotonic() - begun < 60


def _is_odd(page: Page) -> bool:
    return bool(page.evaluate("/1/.test(document.activeElement.getAttribute('data-keys') || '')"))
