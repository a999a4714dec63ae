"""Finding a cause on a phone with cold fingers: one sentence, one button, one answer, and the causes follow."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from bench.causes_hall import make_rounds, shallow, small_library
from bench.hall import Hall
from browser.conftest import Phone
from handsel.bench.causes import known
from handsel.bench.hands.casebook import told_of
from handsel.bench.hands.models import Hand

LEAST_PX = 56


@pytest.fixture
def hand(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    """A refused hand whose library has its first round."""
    small_library(monkeypatch)
    hand = shallow(hall)
    make_rounds(hand, 0)
    yield hand
    known.forget()


def tall(page: Page, what: str) -> bool:
    return all(box["height"] >= LEAST_PX for b in page.locator(what).all() if (box := b.bounding_box()))


def test_a_builder_finds_the_next_look_answers_it_and_sees_the_causes_follow(
    hall: Hall, phone: Phone, hand: Hand
) -> None:
    page = phone(hall.builder)
    page.goto(f"/h/{hand.code}/")
    before = page.locator(".cause-rows").inner_text()
    assert tall(page, ".causes-next .big-button")
    page.locator(".causes-next a").click()
    expect(page.locator("h1.question")).to_be_visible()
    assert tall(page, ".reach .big-button")
    answers = page.locator(".causes-answers button")
    if answers.count():
        answers.last.click()
    else:
        page.fill("input[name=value]", "1,5")
        page.get_by_role("button", name="Keep it").click()
    page.wait_for_url(f"**/h/{hand.code}/#causes")
    assert told_of(hand)[-1].what["from"] == "causes"
    assert page.locator(".cause-rows").inner_text() != before
    page.get_by_text("Answered to find the cause").click()
    page.get_by_role("button", name="Take back").click()
    page.wait_for_url(f"**/h/{hand.code}/#causes")
    assert page.locator(".cause-rows").inner_text() == before


def test_a_slip_in_a_number_is_said_beside_it_and_kept_to_be_mended(
    hall: Hall, phone: Phone, hand: Hand
) -> None:
    page = phone(hall.inspector, dark=True)
    page.goto(f"/h/{hand.code}/causes/look/?of=tip-gap&place=index")
    assert page.get_attribute("input[name=value]", "inputmode") == "decimal"
    page.fill("input[name=value]", "4000")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator(".wrong")).to_contain_text("cannot be right")
    assert page.input_value("input[name=value]") == "4000"
    page.fill("input[name=value]", "4,5")
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url(f"**/h/{hand.code}/#causes")
    assert told_of(hand)[-1].what["value"] == 4.5


def test_whoever_is_not_signed_in_reads_and_presses_nothing(hall: Hall, phone: Phone, hand: Hand) -> None:
    page = phone(None)
    page.goto(f"/h/{hand.code}/")
    expect(page.locator(".cause-rows li").first).to_be_visible()
    assert page.locator("#causes form, #causes .big-button").count() == 0
    page.evaluate("document.querySelectorAll('#causes details').forEach(d => { d.open = true; })")
    assert page.locator("#causes .table tbody tr").count() > 3
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
