"""The README's picture: a question, an answer and the day, taken from the demo day in a real browser.

    python studies/bench_picture.py        # writes docs/pictures/bench.png; needs Chromium
"""

from __future__ import annotations

import io
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

OUT = Path(__file__).parents[1] / "docs" / "pictures" / "bench.png"
PHONE = {"width": 390, "height": 844}
LAPTOP = {"width": 1366, "height": 844}
GAP, GROUND = 24, "#d9d3c6"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        serve = [sys.executable, "-m", "handsel.cli", "serve", "--demo", "--data", folder, "--port", "0"]
        with subprocess.Popen(serve, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as server:
            try:
                shots = taken(address_in(server))
            finally:
                server.terminate()
    write(shots)


def address_in(server: subprocess.Popen[str]) -> str:
    """What the server says it can be opened at on this computer."""
    assert server.stdout is not None
    for line in server.stdout:
        found = re.search(r"On this computer:\s+(\S+)", line)
        if found:
            return found[1].rstrip("/")
    raise SystemExit("the bench did not start")


def taken(address: str) -> list[Image.Image]:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        context = browser.new_context(viewport=PHONE, has_touch=True)
        page = context.new_page()
        page.goto(f"{address}/first/")
        page.get_by_role("button", name=re.compile("I lead")).click()
        page.goto(f"{address}/day/")
        waiting = code_beside(page, "waiting to be looked at", "strung")
        broken = code_beside(page, "to put right", "strung")
        shots = [question(page, address, waiting), answer(page, address, broken)]
        page.set_viewport_size(LAPTOP)
        page.goto(f"{address}/day/")
        shots.append(shot(page))
        browser.close()
    return shots


def code_beside(page: Page, standing: str, stage: str) -> str:
    row = page.locator(".hand-row", has_text=standing).filter(has_text=stage).first
    found = re.search(r"[2-9B-Z]{3}-[2-9B-Z]{3}", row.inner_text())
    assert found is not None
    return found[0].replace("-", "")


def question(page: Page, address: str, code: str) -> Image.Image:
    """The first check that is asked by itself."""
    page.goto(f"{address}/h/{code}/look/")
    for _ in range(2):
        page.get_by_role("button", name="It is held so").click()
        page.get_by_role("button", name=re.compile("All as shown")).click()
    page.get_by_role("button", name="Neither").wait_for()
    return shot(page)


def answer(page: Page, address: str, code: str) -> Image.Image:
    page.goto(f"{address}/h/{code}/answer/")
    return shot(page)


def shot(page: Page) -> Image.Image:
    page.wait_for_timeout(1500)
    return Image.open(io.BytesIO(page.screenshot()))


def write(shots: list[Image.Image]) -> None:
    width = sum(s.width for s in shots) + GAP * (len(shots) + 1)
    whole = Image.new("RGB", (width, shots[0].height + 2 * GAP), GROUND)
    x = GAP
    for s in shots:
        whole.paste(s, (x, GAP))
        x += s.width + GAP
    OUT.parent.mkdir(parents=True, exist_ok=True)
    small = whole.resize((width * 2 // 3, whole.height * 2 // 3), Image.Resampling.LANCZOS)
    small.quantize(128).save(OUT, optimize=True)
    print(f"{OUT.name}: {small.width} x {small.height} px, {OUT.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
