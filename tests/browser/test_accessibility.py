"""Every page for everybody: read by a screen reader, pressed with a glove, on a small phone, in the dark."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from browser.conftest import needed
from browser.hall_server import SIZES, Crowd, served
from diagnosing import first_round

AXE = Path(__file__).parents[2] / ".venv" / "axe" / "axe.min.js"
LEAST_PX = 44  # what is pressed on a phone
WIDTHS = (320, 390)

# Recipients of the demo day stand for its hands; {R-009} becomes the code on that hand's label.
PAGES = {
    "nobody": (
        "/sign-in/", "/switch/", "/sign-out/", "/join/", "/join/XXXXXXXXXX/", "/first/", "/wall/", "/h/{R-002}/",
        "/h/{R-009}/", "/h/{R-021}/", "/nowhere/", "/h/ZZZZZZ/", "/ready/phone/", "/unsent/",
    ),
    "lead": (
        "/", "/day/", "/day/start/", "/day/hands/new/", "/day/details/", "/day/protocol/", "/day/close/",
        "/day/report/", "/papers/", "/people/", "/people/2/", "/people/join/", "/search/?q=R-0", "/search/?q=zzz",
        "/ready/", "/records/", "/photos/all/", "/h/{R-020}/decide/", "/h/{R-009}/decide/", "/h/{R-014}/",
        "/day/plan/", "/day/learned/", "/h/{R-027}/",
    ),
    "build": (
        "/", "/practice/", "/h/{R-018}/build/", "/h/{R-024}/build/", "/h/{R-009}/build/", "/h/{R-009}/cards/{card}/",
        "/h/{R-024}/build/step/assembled/", "/h/{R-009}/", "/h/{R-014}/look/", "/?code=K7M4QX", "/papers/for-photos/",
        "/h/{R-027}/causes/", "/h/{R-027}/causes/look/?of=springs-back&place=ring.knuckle",
        "/h/{R-027}/causes/look/?of=whippletree-level",
    ),
    "inspect": (
        "/", "/h/{R-014}/look/", "/h/{R-009}/answer/", "/h/{R-020}/answer/", "/h/{R-005}/answer/",
        "/h/{R-014}/paper/", "/h/{R-014}/",
    ),
    "fit": (
        "/", "/h/{R-006}/fit/", "/h/{R-006}/look/", "/h/{R-005}/release/", "/h/{R-006}/release/",
        "/h/{R-003}/hand-over/", "/h/{R-003}/hand-over/?language=ar", "/h/{R-002}/hand-over/",
    ),
}  # fmt: skip

SMALL = """least => [...document.querySelectorAll(
    'a[href], button, summary, select, textarea, input:not([type=hidden])')].flatMap(e => {
  const seen = getComputedStyle(e);
  const box = e.matches('[type=radio],[type=checkbox],[type=file]') && e.closest('label,.choice,.field') || e;
  const r = box.getBoundingClientRect();
  if (!r.width || !r.height || seen.visibility === 'hidden' || e.closest('.skip')) return [];
  if (e.closest('svg') || (e.matches('a') && seen.display === 'inline')) return [];  // a link in a sentence
  const said = `${e.tagName} "${(e.innerText || e.name || '').trim().slice(0, 30)}"`;
  return r.height >= least && r.width >= least - 14 ? [] : [`${said} ${Math.round(r.width)}x${Math.round(r.height)}`];
})"""
# What stands out over the edge, unless something around it scrolls or cuts it off on purpose.
WIDE = """() => {
  const kept = e => { for (let p = e.parentElement; p && p !== document.body; p = p.parentElement)
    if (getComputedStyle(p).overflowX !== 'visible') return true; return false; };
  const over = [...document.querySelectorAll('body *')].filter(e => {
    const r = e.getBoundingClientRect();
    return r.width && r.right > document.documentElement.clientWidth + 1 && !e.closest('svg, .unseen, .skip')
      && !kept(e);
  });
  return over.slice(0, 3).map(e => `${e.tagName}.${e.className} ${Math.round(e.getBoundingClientRect().right)}`);
}"""
SQUEEZED = """() => [...document.querySelectorAll('.hand-row .blocks, .hand-row .standing, summary, h1, h2, p')]
  .filter(e => e.innerText && e.innerText.length > 24 && e.offsetWidth && e.offsetWidth < 110)
  .map(e => e.innerText)"""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
# What may be another on a wide page: sizes, what scrolls, tables (on a phone they are lists), and colours in the dark.
OF_WIDTH = ["color-contrast", "target-size", "scrollable-region-focusable", "link-in-text-block", "th-has-data-cells",
            "td-has-header", "td-headers-attr", "scope-attr-valid", "empty-table-header", "region"]  # fmt: skip


@pytest.fixture(scope="module")
def crowd(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Crowd]:
    """The demo day, served, and nobody there yet; some hands are simulated, so that causes can be named."""
    first_round(1.1)
    with served(tmp_path_factory.mktemp("demo") / "records", "--demo") as bench:
        crowd = Crowd(browser=browser, bench=bench)
        yield crowd
        crowd.close()


@pytest.fixture(scope="module")
def devices(crowd: Crowd) -> dict[str, Page]:
    """One phone for each role; nobody's has nobody signed in."""
    lead = crowd.lead()
    people = {role: crowd.join(lead, role, name) for role, name in
              (("build", "Ada"), ("inspect", "Ina"), ("fit", "Fen"))}  # fmt: skip
    return {"nobody": crowd.device(), "lead": lead} | people


@pytest.fixture(scope="module")
def codes(crowd: Crowd, devices: dict[str, Page]) -> dict[str, str]:
    """Codes of the demo's hands by their recipients, and an open rework card."""
    with sqlite3.connect(f"file:{crowd.bench.folder}/handsel.sqlite3?mode=ro", uri=True) as records:
        found = dict(records.execute("SELECT recipient_code, code FROM hands_hand"))
        card = records.execute(
            "SELECT min(seq) FROM hands_entry WHERE kind = 'ordered' AND hand_id ="
            " (SELECT id FROM hands_hand WHERE recipient_code = 'R-009')"
        ).fetchone()[0]
    return {**found, "card": str(card)}


@pytest.fixture(scope="module")
def axe() -> str:
    """The checks, as text: the content policy lets no foreign script in, and none is needed."""
    return Path(needed(str(AXE) if AXE.exists() else None, "axe-core")).read_text(encoding="utf-8")


def found_by_axe(page: Page, axe: str, said: str, *, only: list[str] | None = None) -> list[str]:
    """What all checks, or only some, say about the page as it stands."""
    if not page.evaluate("() => typeof axe === 'object'"):
        page.evaluate(axe)
    page.evaluate("() => scrollTo(0, document.body.scrollHeight)")  # there the bar covers nothing
    found: dict[str, Any] = page.evaluate(
        "runOnly => axe.run(document, {runOnly, resultTypes: ['violations']})",
        {"type": "rule", "values": only} if only else {"type": "tag", "values": RULES},
    )
    return [
        f"{said}: {v['impact']} {v['id']}: {n['target']} {n['failureSummary'][:160]}"
        for v in found["violations"]
        for n in v["nodes"][:3]
    ]


def looked_at(page: Page, axe: str, path: str, *, in_the_dark: bool = True) -> list[str]:
    """One page at every width and, where its colours were not seen before, in both lights."""
    wrong = []
    page.set_viewport_size(SIZES["phone"])
    page.emulate_media(color_scheme="light")
    wrong += found_by_axe(page, axe, f"{path} phone light")
    wrong += [f"{path} small: {x}" for x in page.evaluate(SMALL, LEAST_PX)]
    if in_the_dark:
        page.emulate_media(color_scheme="dark")
        wrong += found_by_axe(page, axe, f"{path} phone dark", only=["color-contrast"])
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 700})
        wrong += [f"{path} {width} wide: {x}" for x in page.evaluate(WIDE)]
    page.set_viewport_size(SIZES["laptop"])
    if in_the_dark:
        wrong += found_by_axe(page, axe, f"{path} laptop dark", only=OF_WIDTH)
    wrong += [f"{path} laptop wide: {x}" for x in page.evaluate(WIDE)]
    wrong += [f"{path} squeezed: {x!r}" for x in page.evaluate(SQUEEZED)]
    return wrong


def template(pattern: str) -> str:
    """What pages of different hands, or in different languages, have in common."""
    return re.sub(r"\{R-\d+\}", "", pattern).partition("?")[0]


@pytest.mark.parametrize("who", sorted(PAGES))
def test_every_page_can_be_read_and_pressed_by_everybody(
    crowd: Crowd, devices: dict[str, Page], codes: dict[str, str], axe: str, who: str
) -> None:
    page, wrong = devices[who], []
    templates: set[str] = set()
    for pattern in PAGES[who]:
        path = pattern
        for name, code in codes.items():
            path = path.replace(f"{{{name}}}", code)
        page.set_viewport_size(SIZES["phone"])
        response = page.goto(path)
        assert response is not None
        assert response.status < 500, path
        is_new = template(pattern) not in templates
        templates.add(template(pattern))
        wrong += looked_at(page, axe, f"{who} {pattern}", in_the_dark=is_new)
    assert not wrong, "\n".join(wrong)
    assert crowd.complaints == []


def test_every_kind_of_screen_while_looking_can_be_read_and_pressed(
    crowd: Crowd, devices: dict[str, Page], codes: dict[str, str], axe: str
) -> None:
    page, wrong, kinds = devices["inspect"], [], set()
    page.set_viewport_size(SIZES["phone"])
    page.goto(f"/h/{codes['R-023']}/look/")
    page.wait_for_selector("#look[data-screen]")
    for _ in range(14):
        kind = page.get_attribute("#look", "data-screen") or ""
        kind += " number" if page.locator("#number").count() else ""
        if kind not in kinds:
            kinds.add(kind)
            wrong += looked_at(page, axe, f"look: {kind}")
            page.set_viewport_size(SIZES["phone"])
        if kind == "hold":
            page.click("#held")
        elif kind == "cards":
            page.click("#as-shown")
        elif kind.startswith("photo"):
            page.click("#no-photo")
        elif kind == "check number":
            page.fill("#number", "100")
            page.keyboard.press("Enter")
        elif kind == "check":
            page.locator(".reach .big-button").first.click()
        page.wait_for_timeout(500)  # a second tap of the same finger is not taken
    assert {"hold", "cards", "check", "check number"} <= kinds
    assert not wrong, "\n".join(wrong)
    assert crowd.complaints == []


def test_the_checks_of_a_page_notice_what_is_wrong(crowd: Crowd, axe: str) -> None:
    page = crowd.device()
    page.goto("/join/")
    page.evaluate(
        "() => { document.querySelector('main').innerHTML = '<h1>x</h1><input type=text id=q>"
        "<button class=tiny>go</button><p class=long>far</p>'; document.querySelector('.tiny').style.height = '20px';"
        " document.querySelector('.long').style.minWidth = '900px'; }"
    )
    assert any("label" in x for x in found_by_axe(page, axe, ""))
    page.evaluate("() => { document.querySelector('.long').style.color = '#777'; }")
    page.emulate_media(color_scheme="dark")
    assert any("color-contrast" in x for x in found_by_axe(page, axe, "", only=OF_WIDTH))
    assert any("go" in x for x in page.evaluate(SMALL, LEAST_PX))
    assert page.evaluate(WIDE)
