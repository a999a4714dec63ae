"""What an inspector does on a phone, as steps that the tests share."""

from __future__ import annotations

import time
from collections.abc import Callable

from playwright.sync_api import Page, expect

from bench.hall import GOOD
from handsel.bench.hands.models import Entry, Hand

SHOWN = {"°": 0.0, "%": 100.0, "mm": 0.0, "turns": 0.0}


def open_hand(page: Page, hand: Hand) -> None:
    """The page of all screens, ready."""
    page.goto(f"/h/{hand.code}/look/")
    expect(page.locator("#look[data-screen]")).to_be_visible()


def screen(page: Page) -> str:
    """Which kind of screen is shown."""
    return page.get_attribute("#look", "data-screen") or ""


def question(page: Page) -> str:
    """What it asks."""
    return page.inner_text("#question")


def one_screen(page: Page) -> bool:
    """Answer what is shown as on a hand in good order; False at the end."""
    kind = screen(page)
    if kind == "hold":
        page.click("#held")
    elif kind == "cards":
        page.click("#as-shown")
    elif kind == "photo":
        page.click("#no-photo")
    elif kind == "check" and page.locator("#number").count():
        read = question(page)
        at_rest = read.startswith(("The hand rests", "The rest angle"))
        value = GOOD["worked-rest-angle"] if at_rest else SHOWN[page.inner_text(".unit")]
        page.fill("#number", f"{value:g}")
        page.keyboard.press("Enter")
    elif kind == "check":
        page.locator(".reach .big-button").first.click()
    else:
        return False
    return True


def go_through(page: Page, *, until: Callable[[Page], bool] | None = None) -> int:
    """Screen after screen to the end, or until something is true; how many screens it took."""
    for count in range(80):
        if until is not None and until(page):
            return count
        before = (screen(page), question(page))
        if not one_screen(page):
            return count
        page.wait_for_function(
            "([k, q]) => document.getElementById('look').dataset.screen !== k"
            " || document.getElementById('question').textContent !== q",
            arg=list(before),
        )
    raise AssertionError(f"no end after 80 screens, at {question(page)!r}")


def all_sent(page: Page) -> None:
    """Nothing waits on this phone any more."""
    page.wait_for_function("window.handsel && handsel.outbox")
    # Or the count is empty because nobody has counted yet.
    page.evaluate("handsel.outbox.ready.then(() => 0)")
    expect(page.locator("[data-unsent]")).to_be_empty(timeout=20_000)


def unsent(page: Page) -> int:
    """How many answers the head counts as not yet sent."""
    text = page.inner_text("[data-unsent]")
    return int(text.split()[0]) if text else 0


def stored(hand: Hand, *kinds: str) -> list[Entry]:
    """What the record has."""
    return list(Entry.objects.filter(hand=hand, kind__in=kinds or ("observed", "as-shown")).order_by("seq"))


def eventually(true: Callable[[], bool], *, within_s: float = 15.0) -> None:
    """Wait for something on the server's side."""
    end = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)
