"""A builder's phone fetches cards and mats."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from bench.hall import Hall


def test_a_phone_finds_the_sheets_and_can_press_and_fetch_them(
    hall: Hall, phone: Callable[..., Page]
) -> None:
    page = phone(hall.builder)
    page.goto("/papers/for-photos/")
    expect(page.locator("h1")).to_contain_text("cards and mats")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    sheets = page.locator("a.big-button")
    assert sheets.count() == 5
    for k in range(5):
        box = sheets.nth(k).bounding_box()
        assert box is not None
        assert box["height"] >= 56
        answer = page.request.get(sheets.nth(k).get_attribute("href") or "")
        assert answer.status == 200
        assert answer.headers["content-type"] == "application/pdf"
