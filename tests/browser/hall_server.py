"""A bench as it is really started: the command, its workers, an empty folder; and how people come in by its pages."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page

import handsel
from handsel.data.library_store import CACHE_VARIABLE

SIZES = {"phone": {"width": 390, "height": 844}, "laptop": {"width": 1366, "height": 768}}
HOME = re.compile(r"^https?://[^/]+/$")
STARTS_S = 240  # the demo day is worked out by the solver at its first start, on a busy machine too


@dataclass(kw_only=True)
class Served:
    """A running bench."""

    url: str
    folder: Path
    said: list[str] = field(default_factory=list)


@contextmanager
def served(folder: Path, *options: str) -> Iterator[Served]:
    """`handsel serve` on a free port, ended as its owner would end it."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    env[CACHE_VARIABLE] = os.environ[CACHE_VARIABLE]  # this run's own simulated hands, and nobody's at home
    env["PYTHONPATH"] = str(Path(handsel.__file__).parents[1])
    process = subprocess.Popen(
        [
            sys.executable,
            "-u",
            "-c",
            "from handsel.cli import main; main()",
            "serve",
            "--data",
            str(folder),
            "--port",
            "0",
            *options,
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=env,
    )
    bench = Served(url="", folder=folder)
    up = threading.Event()

    def listen() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            bench.said.append(line.rstrip())
            found = re.search(r"On this computer:\s+(http://\S+?)/?$", line.rstrip())
            if found:
                bench.url = found[1]
            if "Ctrl-C" in line:
                up.set()
        up.set()

    ears = threading.Thread(target=listen, daemon=True)
    ears.start()
    try:
        assert up.wait(STARTS_S), bench.said
        assert bench.url, bench.said
        yield bench
        assert process.poll() is None, bench.said
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        ears.join(5)
        if process.stdout is not None:
            process.stdout.close()
    assert not [line for line in bench.said if "Traceback" in line], bench.said


@dataclass(kw_only=True)
class Crowd:
    """The people of a served bench, each with a browser of their own."""

    browser: Browser
    bench: Served
    complaints: list[str] = field(default_factory=list)
    contexts: list[BrowserContext] = field(default_factory=list)

    def device(self, size: str = "phone", *, state: dict[str, object] | None = None) -> Page:
        """A fresh phone or laptop."""
        context = self.browser.new_context(
            base_url=self.bench.url, viewport=SIZES[size], has_touch=size == "phone", storage_state=state
        )
        context.set_default_timeout(45_000)
        self.contexts.append(context)
        page = context.new_page()
        page.on(
            "console", lambda m: self.heard(page, m.type, m.text) if m.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda e: self.heard(page, "script", str(e)))
        page.on("request", lambda r: self._left(page, r.url))
        page.on("response", lambda r: self.heard(page, str(r.status), r.url) if r.status >= 500 else None)
        return page

    def heard(self, page: Page, kind: str, text: str) -> None:
        """What a page complains of; that an address was refused is looked at by the tests themselves."""
        if "the server responded with a status of 4" not in text:
            self.complaints.append(f"{kind} at {page.url}: {text}")

    def _left(self, page: Page, url: str) -> None:
        if not url.startswith((self.bench.url, "blob:", "data:")):
            self.complaints.append(f"left the hall from {page.url}: {url}")

    def lead(self, size: str = "laptop") -> Page:
        """The very first start, at the computer itself."""
        page = self.device(size)
        page.goto("/")
        page.locator("main form button").click()
        assert len(page.locator(".passphrase").inner_text().split()) == 6
        page.locator("main a.big-button, main .big-button").last.click()
        page.wait_for_url(HOME)
        return page

    def join(self, lead: Page, role: str, name: str, size: str = "phone") -> Page:
        """By the lead's code, as a phone that scanned it."""
        lead.goto("/people/join/")
        lead.locator(f"input[name=role][value={role}]").check(force=True)
        lead.locator("main form:has(input[name=role]) button").click()
        lead.wait_for_load_state()
        shown = re.search(r"\b([A-Z0-9]{5})-([A-Z0-9]{5})\b", lead.inner_text("main"))
        assert shown is not None, lead.inner_text("main")
        page = self.device(size)
        page.goto(f"/join/{shown[1]}{shown[2]}/")
        page.fill("input[name=name]", name)
        page.locator("main form:has(input[name=name]) button").last.click()
        page.wait_for_load_state()
        if role == "fit":  # a number is shown once
            page.locator("main .big-button").last.click()
        page.wait_for_url(HOME)
        return page

    def close(self) -> None:
        """Everybody goes home."""
        for context in self.contexts:
            context.close()


def until(page: Page, what: str, *, timeout_s: float = 40.0) -> None:
    """Wait until a text is on the page, loading it again as a person would."""
    ends = time.monotonic() + timeout_s
    while what not in page.inner_text("body"):
        assert time.monotonic() < ends, f"{what!r} did not come: {page.inner_text('body')}"
        page.wait_for_timeout(700)
        page.reload()
