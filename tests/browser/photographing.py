"""A bench with somewhere to keep photos and a worker that reads them, for the tests that take some."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection
from playwright.sync_api import Page, expect

from browser.looking import go_through, open_hand, question
from handsel.bench.hands.models import Hand

SHARED = Path(__file__).parents[1] / "data" / "vision" / "shared"
READABLE = SHARED / "clean-03.jpg"  # 30.32 degrees, fingers to the left or right as truth.csv says
OTHER_HAND = SHARED / "clean-05.jpg"
REFUSED = SHARED / "refuse-03.jpg"  # seen from above; what else is refused is searched for seconds first


@contextmanager
def reading_workers() -> Iterator[None]:
    """A worker that measures and develops, beside the server."""
    from handsel.bench.worker import run

    stop = threading.Event()

    def work() -> None:
        run(("answer", "photo", "measure"), stop)
        connection.close()

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(30)


def at_the_worked_angle(page: Page, hand: Hand) -> None:
    """The screen that asks for the rest angle of a hand that was worked."""
    open_hand(page, hand)
    go_through(page, until=lambda p: question(p).startswith("The hand rests"))
    expect(page.locator(".measure")).to_be_visible()


def photograph(page: Page, file: Path, *, by: str = "take-photo") -> None:
    """The camera gives a picture."""
    page.set_input_files(f"input.{by}", str(file))
