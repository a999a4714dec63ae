"""The network comes and goes; every answer is stored exactly once."""

from __future__ import annotations

from collections import Counter

from playwright.sync_api import expect

from bench.hall import Hall
from browser.conftest import Phone, sign_in
from browser.looking import (
    all_sent,
    eventually,
    go_through,
    open_hand,
    question,
    screen,
    stored,
    unsent,
)
from handsel.bench.hands.models import Hand
from handsel.bench.looking.answering import known

# What a browser itself says of a network that is away, or of a sign-in that is asked for.
AWAY = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "401", "403")


def each_once(hand: Hand) -> None:
    """No thing is on record twice by one person, and nothing corrects anything."""
    said = Counter((e.what.get("of"), e.what.get("place"), e.what.get("group")) for e in stored(hand))
    assert [x for x, n in said.items() if n > 1] == []
    assert not any("corrects" in e.what for e in stored(hand))


def test_half_a_hand_without_the_network_is_stored_once_when_it_is_back(
    hall: Hall, phone: Phone, workers: None
) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    go_through(page, until=lambda p: "weighs" in question(p))
    all_sent(page)
    before = len(stored(hand))
    page.context.set_offline(True)
    go_through(page)
    assert question(page) == "Everything here is looked at"
    assert unsent(page) >= 6
    assert len(stored(hand)) == before
    page.click("#ask")
    expect(page.locator("#ask-state")).to_contain_text("still on their way")
    page.context.set_offline(False)
    expect(page.locator("h1.word")).to_have_text("Good", timeout=40_000)
    each_once(hand)
    hand.refresh_from_db()
    assert hand.hold_point == "dry-fit"


def test_a_page_closed_with_answers_unsent_sends_them_from_any_other_page(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    before = len(stored(hand))
    page.context.set_offline(True)
    go_through(page, until=lambda p: "No edge or corner" in question(p))
    left = unsent(page)
    assert left >= 4
    context = page.context
    page.close()
    assert len(stored(hand)) == before
    context.set_offline(False)
    other = context.new_page()
    other.goto("/unsent/")
    expect(other.locator("#unsent")).to_contain_text("All is sent", timeout=20_000)
    assert len(stored(hand)) == before + left
    each_once(hand)


def test_an_answer_whose_reply_was_lost_is_not_stored_twice(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    lost = []

    def lose(route):  # type: ignore[no-untyped-def]
        if len(lost) < 2:
            lost.append(route.fetch().status)  # it arrives and is stored; the phone never hears of it
            route.abort()
        else:
            route.continue_()

    page.route("**/answers/", lose)
    go_through(page, until=lambda p: "weighs" in question(p))
    all_sent(page)
    assert lost == [200, 200]
    each_once(hand)
    assert known(hand).inspection().item("scale-as-ordered").status == "conforms"


def test_answers_given_before_a_reload_are_not_asked_again(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    page.route("**/answers/", lambda r: r.abort())
    warnings: list[str] = []
    page.on("dialog", lambda d: warnings.append(d.type))
    go_through(page, until=lambda p: "weighs" in question(p))
    open_hand(page, hand)  # the server knows nothing of it yet
    assert warnings == ["beforeunload"]
    page.click("#held")
    assert "weighs" in question(page)
    page.unroute("**/answers/")
    all_sent(page)
    each_once(hand)


def test_a_sign_in_lost_in_the_middle_loses_no_answer(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    page.click("#held")
    page.context.clear_cookies()
    page.click("#as-shown")
    expect(page.locator("#look-above")).to_contain_text("not signed in")
    page.fill("#number", "100")
    page.keyboard.press("Enter")
    assert unsent(page) == 2
    assert stored(hand) == []
    home = page.url.split("/h/")[0]
    sign_in(page.context, hall.inspector, home)
    page.goto("/unsent/")
    all_sent(page)
    assert [e.kind for e in stored(hand)] == ["as-shown", "observed"]
    assert {e.person for e in stored(hand)} == {hall.inspector}


def test_answers_of_one_person_do_not_go_out_under_the_name_of_the_next(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    open_hand(page, hand)
    page.click("#held")
    page.route("**/answers/", lambda r: r.abort())
    page.click("#as-shown")
    assert unsent(page) == 1
    home = page.url.split("/h/")[0]
    sign_in(page.context, hall.lead, home)
    page.unroute("**/answers/")
    page.goto("/unsent/")
    expect(page.locator("#unsent")).to_contain_text("when that person signs in")
    page.wait_for_timeout(1500)
    assert stored(hand) == []
    sign_in(page.context, hall.inspector, home)
    page.goto("/unsent/")
    all_sent(page)
    assert [e.person for e in stored(hand)] == [hall.inspector]


def test_a_refused_answer_stays_with_its_reason_and_can_become_a_note(hall: Hall, phone: Phone) -> None:
    from handsel.bench.hands.chain import New, append

    hand = hall.hand()
    page = phone(hall.inspector)
    open_hand(page, hand)
    append(hand, [New(kind="scrapped", what={"reason": "cuff cracked"})], person=hall.lead)
    page.click("#held")
    page.click("#as-shown")
    expect(page.locator("[data-unsent]")).to_have_text("1 not taken")
    expect(page.locator("#look-above")).to_contain_text("One answer was not taken")
    page.click("[data-unsent] a")
    expect(page.locator("#unsent")).to_contain_text("the hand is scrapped by now")
    page.click("text=Turn it into a note")
    all_sent(page)
    eventually(lambda: len(stored(hand, "noted")) == 1)
    assert "Not taken as an answer" in stored(hand, "noted")[0].what["text"]


def test_two_phones_on_one_hand_overwrite_nothing_and_say_that_they_differ(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    one, two = phone(hall.inspector), phone(hall.lead)
    open_hand(one, hand)
    open_hand(two, hand)
    for page in (one, two):
        page.click("#held")
        assert screen(page) == "cards"
    one.click(".item:has-text('Every part on the kit list')")
    one.click("#answer-no")
    one.click("#keep")
    all_sent(one)
    two.click("#as-shown")
    expect(two.locator("#look-above")).to_contain_text(f"{hall.inspector} says otherwise")
    expect(two.locator("#look-above")).to_contain_text("Every part on the kit list")
    all_sent(two)
    item = known(hand).inspection().item("kit-complete")
    assert item.status == "does not conform"
    assert {e.person for e in stored(hand)} == {hall.inspector, hall.lead}


def test_where_nothing_can_be_kept_the_page_says_so_and_sends_all_the_same(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector)
    page.add_init_script(
        "Object.defineProperty(window, 'indexedDB', {value: {open() { throw new Error('no'); }}});"
        "Storage.prototype.setItem = () => { throw new Error('no'); };"
    )
    open_hand(page, hand)
    expect(page.locator("#look-above")).to_contain_text("cannot keep answers")
    page.click("#held")
    page.click("#as-shown")
    all_sent(page)
    eventually(lambda: len(stored(hand)) == 1)


def test_without_a_database_answers_live_in_the_smaller_store(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector, expects=AWAY)
    page.add_init_script(
        "Object.defineProperty(window, 'indexedDB', {value: {open() { throw new Error('no'); }}});"
    )
    open_hand(page, hand)
    page.context.set_offline(True)
    page.click("#held")
    page.click("#as-shown")
    page.fill("#number", "100")
    page.keyboard.press("Enter")
    expect(page.locator("[data-unsent]")).to_have_text("2 unsent")
    context = page.context
    page.close()
    context.set_offline(False)
    other = context.new_page()
    other.add_init_script(
        "Object.defineProperty(window, 'indexedDB', {value: {open() { throw new Error('no'); }}});"
    )
    other.goto("/unsent/")
    all_sent(other)
    each_once(hand)
    assert len(stored(hand)) == 2
