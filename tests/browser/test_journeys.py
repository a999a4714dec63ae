"""A day's work by the pages alone, on a bench that was started as people start it."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from bench.hall import GOOD
from browser.hall_server import HOME, SIZES, Crowd, served, until
from browser.looking import go_through

ZERO_WHERE_NOT_SAID = {"%": "100", "°": "0", "mm": "0", "turns": "0"}


@pytest.fixture(scope="module")
def crowd(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Crowd]:
    """A bench in an empty folder."""
    with served(tmp_path_factory.mktemp("day") / "records") as bench:
        crowd = Crowd(browser=browser, bench=bench)
        yield crowd
        crowd.close()


@pytest.fixture(scope="module")
def people(crowd: Crowd) -> dict[str, Page]:
    """The lead has begun a day; three more have joined by its code."""
    lead = crowd.lead()
    lead.goto("/day/")
    lead.get_by_role("button", name="Start the day").click()
    expect(lead.locator("h1")).to_have_text("The first hand")
    names = {"build": "Ada", "inspect": "Ina", "fit": "Fen"}
    return {"lead": lead} | {role: crowd.join(lead, role, name) for role, name in names.items()}


@pytest.fixture(autouse=True)
def _no_complaints(crowd: Crowd) -> Iterator[None]:
    """No error on a console, nothing refused by the content policy, no request that leaves the hall."""
    crowd.complaints.clear()
    yield
    assert crowd.complaints == []


def begin(lead: Page, recipient: str) -> str:
    """A new hand by the lead's form; its code."""
    lead.goto("/day/hands/new/")
    lead.fill("#id_recipient_code", recipient)
    lead.locator("input[name=side][value=right]").check()
    lead.fill("#id_scale_percent", "110")
    lead.get_by_role("button", name="Begin this hand").click()
    expect(lead.locator("h2", has_text="Begun")).to_contain_text(recipient)
    return lead.locator(".day-begun .code").first.inner_text().replace("-", "")


def open_by_code(page: Page, code: str) -> None:
    """As from a label: typed on the first page."""
    page.goto("/")
    page.fill("#code", code.lower())
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/h/{code}/**")


def type_in(page: Page, code: str, *, wrong: dict[str, str] | None = None) -> str:
    """A hold point from paper, in good order but for what is named; the answer's word."""
    page.goto(f"/h/{code}/paper/")
    boxes = page.locator("input.typing-box").evaluate_all(
        "all => all.map(b => [b.name, b.dataset.keys || '',"
        " (b.parentElement.querySelector('span.second') || {innerText: ''}).innerText])"
    )
    for name, keys, unit in boxes:
        of = name.split(":")[1]
        if name.startswith("g:"):
            said = "n" if wrong else "y"
        elif wrong and of in wrong:
            said = wrong[of]
        elif not keys:
            said = f"{GOOD[of]:g}" if of in GOOD else ZERO_WHERE_NOT_SAID[unit]
        else:
            said = "1" if "1" in keys else "y"
        page.fill(f"input[name='{name}']", said)
    page.click("button[name=decide]")
    page.wait_for_url("**/answer/")
    page.wait_for_selector("h1.word", timeout=90_000)
    return page.inner_text("h1.word")


def stands(page: Page, code: str) -> str:
    """Where a hand stands, as its traveller says it to everybody."""
    page.goto(f"/h/{code}/")
    return page.inner_text(".standing >> nth=0").strip()


def test_the_lead_begins_hands_prints_lets_pass_and_closes_with_a_report(people: dict[str, Page]) -> None:
    lead = people["lead"]
    code = begin(lead, "R-101")
    for name in ("Label", "Traveller"):
        form = lead.locator(f".day-begun form:has-text('{name}')").first
        url = f"{form.get_attribute('action')}?hands={form.locator('input[name=hands]').input_value()}"
        assert lead.request.get(url).body().startswith(b"%PDF")
    lead.goto("/day/details/")
    lead.get_by_label("Place").fill("Reading room")
    lead.locator("aside form").first.get_by_role("button", name="Keep").click()
    expect(lead.locator("main")).to_contain_text("Kept.")
    assert type_in(people["inspect"], code, wrong={"holes-clear": "n"}) == "To put right"
    lead.goto(f"/h/{code}/decide/")
    lead.locator("summary", has_text="Let it pass with a reason").first.click()
    lead.get_by_label("Why it may pass").first.fill("Reamed by hand at stringing; agreed with the wearer.")
    lead.get_by_role("button", name="Let it pass").first.click()
    until(lead, "on the bench")
    lead.goto("/day/report/")
    expect(lead.locator("main")).to_contain_text("Reamed by hand")
    assert lead.request.get("/papers/day-report.pdf").body().startswith(b"%PDF")
    lead.goto("/day/")
    expect(lead.locator(".hand-rows")).to_contain_text(f"{code[:3]}-{code[3:]}")


def test_a_builder_goes_from_the_label_through_the_steps_to_asking(people: dict[str, Page]) -> None:
    code = begin(people["lead"], "R-102")
    page = people["build"]
    open_by_code(page, code)
    expect(page.locator("h1")).to_contain_text("Build up to “Parts”")
    page.locator(".build-steps input").first.check()
    page.reload()
    expect(page.locator(".build-steps input").first).to_be_checked()  # ticks stay on this phone
    page.locator(".choices input").first.check()
    page.get_by_role("button", name="Keep my ticks").click()
    expect(page.locator(".choices")).to_contain_text("ticked already")
    page.get_by_role("button", name="Ask for it to be looked at").click()
    assert stands(page, code) == "waiting to be looked at"
    inspector = people["inspect"]
    inspector.goto("/")
    expect(inspector.locator(".hand-rows").first).to_contain_text(f"{code[:3]}-{code[3:]}")


def test_a_rework_card_is_ordered_taken_done_step_by_step_and_looked_at_again(
    people: dict[str, Page],
) -> None:
    code = begin(people["lead"], "R-103")
    inspector, builder = people["inspect"], people["build"]
    assert type_in(inspector, code, wrong={"no-sharp-edges": "n"}) == "To put right"
    inspector.click("#next-step")
    expect(inspector.locator("h1")).to_have_text("Take off sharp edges")
    open_by_code(builder, code)
    expect(builder.locator("h1")).to_have_text("Take off sharp edges")
    builder.get_by_role("button", name="Done: report it").click()
    expect(builder.locator("main")).to_contain_text("1 step without a tick")  # asked about, not stored
    for step in builder.locator("#done .step input").all():
        step.check()
    builder.get_by_role("button", name="Done: report it").first.click()
    builder.wait_for_url(f"**/h/{code}/build/")
    assert stands(builder, code) == "waiting to be looked at"
    assert type_in(inspector, code, wrong={}) == "Good"
    assert "Dry fit" in people["lead"].request.get(f"/h/{code}/").text()


def test_two_people_on_one_hand_do_a_card_once(crowd: Crowd, people: dict[str, Page]) -> None:
    code = begin(people["lead"], "R-104")
    type_in(people["inspect"], code, wrong={"kit-complete": "n"})
    people["inspect"].click("#next-step")
    first, second = people["build"], people["lead"]
    open_by_code(first, code)
    second.goto(first.url)
    for page in (first, second):
        for step in page.locator("#done .step input").all():
            step.check()
    first.get_by_role("button", name="Done: report it").click()
    first.wait_for_url(f"**/h/{code}/build/")
    second.get_by_role("button", name="Done: report it").click()
    expect(second.locator("main")).to_contain_text("was done by builder")
    with sqlite3.connect(f"file:{crowd.bench.folder}/handsel.sqlite3?mode=ro", uri=True) as records:
        done = records.execute(
            "SELECT count(*) FROM hands_entry JOIN hands_hand ON hand_id = hands_hand.id"
            " WHERE hands_hand.code = ? AND kind = 'did'",
            [code],
        ).fetchone()
    assert done == (1,)
    assert stands(second, code) == "waiting to be looked at"


def test_a_hand_goes_through_every_hold_point_to_its_wearer(people: dict[str, Page]) -> None:
    code = begin(people["lead"], "R-105")
    for _ in range(4):
        assert type_in(people["inspect"], code) == "Good"
    fitter = people["fit"]
    open_by_code(fitter, code)
    expect(fitter.locator("h1")).to_have_text("Fit it together with its wearer")
    fitter.goto(f"/h/{code}/release/")
    expect(fitter.locator("h1")).to_have_text("It cannot be released now")
    fitter.goto(f"/h/{code}/fit/")
    fitter.get_by_role("button", name="Begin the checks").click()
    fitter.wait_for_selector("#look[data-screen]")
    go_through(fitter)
    fitter.click("#ask")
    fitter.wait_for_selector("h1.word", timeout=90_000)
    assert fitter.inner_text("h1.word") == "Good"
    fitter.goto(f"/h/{code}/release/")
    expect(fitter.locator("h1")).to_have_text("Release this hand?", timeout=60_000)  # by itself
    fitter.get_by_role("button", name="Release it").click()
    fitter.wait_for_url("**/hand-over/")
    fitter.fill("#call", "the organisation, 0800 555")
    fitter.get_by_role("button", name="Handed over").click()
    expect(fitter.locator("main")).to_contain_text("not gone through")  # every caution is talked through
    for box in fitter.locator(".cautions .choice input").all():
        box.check()
    fitter.get_by_role("button", name="Handed over").click()
    expect(fitter.locator("h1")).to_have_text("It has gone home")
    assert stands(people["build"], code) == "handed over"
    for paper in ("release", "hand-over"):
        assert fitter.request.get(f"/h/{code}/papers/{paper}.pdf").body().startswith(b"%PDF")


def test_a_newcomer_practises_on_a_hand_with_a_fault(crowd: Crowd, people: dict[str, Page]) -> None:
    page = crowd.join(people["lead"], "inspect", "Nia")
    page.get_by_role("link", name="Take a practice hand").click()
    page.get_by_role("button", name="Take a practice hand").click()
    page.get_by_role("link", name="Begin").click()
    page.wait_for_selector("#look[data-screen]")
    page.click("#held")
    expect(page.locator("#practice-card")).to_be_visible()  # what one would see, were the hand there
    go_through(page)  # as if all were well: the fault is missed, and said
    page.click("#ask")
    page.wait_for_url(re.compile(r"/practice/\w+/"))
    expect(page.locator("main")).to_contain_text(
        "On to real hands", timeout=90_000
    )  # the page looks again by itself
    page.get_by_role("link", name="On to real hands").click()
    expect(page.locator("main")).not_to_contain_text("New here?")


def test_a_day_is_begun_with_the_keyboard_alone(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """From the first start to the first hand without a mouse; wherever one is, the focus can be seen."""
    with served(tmp_path_factory.mktemp("keys") / "records") as bench:
        crowd = Crowd(browser=browser, bench=bench)
        page = crowd.device("laptop")
        page.goto("/")
        tab_to(page, "button", "")
        page.keyboard.press("Enter")
        page.wait_for_selector(".passphrase")
        tab_to(page, "a", "Written down")
        page.keyboard.press("Enter")
        page.wait_for_url(HOME)
        tab_to(page, "a", "Start the day")
        page.keyboard.press("Enter")
        page.wait_for_url("**/day/start/")
        tab_to(page, "button", "Start the day")
        page.keyboard.press("Enter")
        page.wait_for_url("**/day/hands/new/")
        tab_to(page, "input", "recipient_code")
        page.keyboard.type("R-201")
        tab_to(page, "input", "side")
        page.keyboard.press("Space")
        tab_to(page, "input", "scale_percent")
        page.keyboard.type("110")
        page.keyboard.press("Enter")
        expect(page.locator("h2", has_text="Begun")).to_contain_text("R-201")
        assert crowd.complaints == []
        crowd.close()


FOCUSED = """() => { const e = document.activeElement, s = getComputedStyle(e), w = e.closest('.choice, .step') || e;
  const ring = x => x.outlineStyle !== 'none' && parseFloat(x.outlineWidth) >= 2 || x.boxShadow !== 'none';
  return [e.tagName.toLowerCase(), (e.innerText || e.name || '').trim(), e.name || '',
          ring(s) || [...w.querySelectorAll('*')].some(x => ring(getComputedStyle(x)))]; }"""


def tab_to(page: Page, tag: str, words: str) -> None:
    """Tab until there; each stop on the way shows where the focus is."""
    for _ in range(60):
        page.keyboard.press("Tab")
        there, said, name, is_shown = page.evaluate(FOCUSED)
        if there == "body":
            continue
        assert is_shown, f"the focus on {there} {said!r} cannot be seen"
        in_main = page.evaluate("() => !!document.activeElement.closest('main')")
        if in_main and there == tag and (words in said or words == name):
            return
    raise AssertionError(f"no way by keys to {tag} {words!r}")


def test_a_maker_alone_signs_in_nowhere(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> None:
    with served(tmp_path_factory.mktemp("solo") / "records", "--solo") as bench:
        crowd = Crowd(browser=browser, bench=bench)
        page = crowd.device("phone")
        page.goto("/")
        page.get_by_role("link", name="Start the day").click()
        page.get_by_role("button", name="Start the day").click()
        code = begin(page, "R-1")
        open_by_code(page, code)
        expect(page.locator("h1")).to_contain_text("Build up to “Parts”")
        assert page.locator(".head-who").count() == 0
        page.goto(f"/h/{code}/look/")
        page.wait_for_selector("#look[data-screen]")
        assert type_in(page, code) == "Good"
        page.set_viewport_size(SIZES["laptop"])
        assert stands(page, code) == "on the bench"
        assert crowd.complaints == []
        crowd.close()
