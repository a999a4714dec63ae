"""A phone in the hall: the system's browser at phone size, a real server, and nothing from anywhere else."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.cache import cache
from django.db import connection
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from bench.hall import Hall, open_hall
from handsel.bench.hands.casebook import design_kept, protocol_kept
from handsel.bench.people.models import Person

# The synchronous browser keeps an event loop running in this thread, and Django would take the test for one
# of its coroutines.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

expect.set_options(timeout=20_000)
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
QUIETLY = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
)
PHONE = {"width": 390, "height": 844}


def needed(path: str | None, what: str) -> str:
    """The path, or a skipped test; where everything has to be tested, a failed one."""
    if path is None and os.environ.get("CI"):
        pytest.fail(f"{what} is missing, and here every test has to run")
    if path is None:
        pytest.skip(f"{what} is missing: `make browser` and `make .venv/axe/axe.min.js` fetch what is needed")
    return path


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests; each test has phones of its own in it."""
    found_at = needed(next(filter(None, map(shutil.which, BROWSERS)), None), "a Chromium")
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=found_at, args=list(QUIETLY))
        yield found
        found.close()


@pytest.fixture
def hall(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Hall:
    """A day that has begun, really committed, with a database that refuses to change entries.

    Which groups ask for a photo hangs on codes that are drawn by lot; here none does unless a test says so.
    """
    monkeypatch.setattr("handsel.bench.looking.screens.PHOTO_ONE_IN", 2**32)
    protocol_kept.cache_clear()
    design_kept.cache_clear()
    cache.clear()
    return open_hall()


Phone = Callable[..., Page]


@pytest.fixture
def phone(browser: Browser, live_server: Any, hall: Hall) -> Iterator[Phone]:
    """Hands out phones, each with its person. What a phone complains of fails the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def hand_out(person: Person | None, *, dark: bool = False, expects: tuple[str, ...] = ()) -> Page:
        context = browser.new_context(
            viewport=PHONE,
            has_touch=True,
            base_url=live_server.url,
            color_scheme="dark" if dark else "light",
        )
        context.set_default_timeout(30_000)  # a busy machine is no failed test
        contexts.append(context)
        if person is not None:
            sign_in(context, person, live_server.url)
        page = context.new_page()
        watch(page, live_server.url, complaints, expects)
        return page

    yield hand_out
    for context in contexts:
        context.close()
    assert complaints == []


def watch(page: Page, home: str, complaints: list[str], expects: tuple[str, ...]) -> None:
    """Note errors on the console, scripts that break, and requests that leave the hall."""

    def heard(kind: str, text: str) -> None:
        if not any(e in text for e in expects):
            complaints.append(f"{kind}: {text}")

    page.on("console", lambda m: heard(m.type, m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: heard("script", str(e)))
    page.on(
        "request",
        lambda r: (
            None
            if r.url.startswith((home, "blob:", "data:"))
            else complaints.append(f"left the hall: {r.url}")
        ),
    )
    page.on("dialog", lambda d: d.accept())


def sign_in(context: BrowserContext, person: Person, home: str) -> None:
    """As the sign-in page does it, without walking through it."""
    session = SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    context.add_cookies([{"name": "handsel", "value": session.session_key, "url": home}])


@pytest.fixture
def workers() -> Iterator[None]:
    """A worker beside the server, for as long as the test lasts."""
    from handsel.bench.worker import run

    stop = threading.Event()

    def work() -> None:
        run(("answer",), stop)
        connection.close()

    thread = threading.Thread(target=work)
    thread.start()
    yield
    stop.set()
    thread.join(20)
