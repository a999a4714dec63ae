"""One hand on one phone, from the first screen to the answer."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from bench.hall import Hall
from browser.conftest import Phone
from browser.looking import all_sent, eventually, go_through, open_hand, question, screen, stored
from handsel.bench.hands.casebook import told_of
from handsel.bench.hands.models import Standing
from handsel.bench.looking.answering import known
from handsel.bench.photos.models import Photo


@pytest.mark.parametrize("stage", ["parts", "dry-fit", "finished"])
def test_a_hold_point_in_good_order_from_first_screen_to_answer(
    hall: Hall, phone: Phone, workers: None, stage: str
) -> None:
    hand = hall.hand(at=stage)
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page)
    assert question(page) == "Everything here is looked at"
    page.click("#ask")
    expect(page.locator("h1.word")).to_have_text("Good", timeout=30_000)
    hand.refresh_from_db()
    assert hand.hold_point != stage
    assert not stored(hand, "withdrawn")


def test_a_strung_hand_with_a_shallow_angle_gets_its_exact_fix(
    hall: Hall, phone: Phone, workers: None
) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page, until=lambda p: "rests at 30°" in question(p))
    page.fill("#number", "27,5")  # a comma, as many people write it
    page.click("#read-again")
    page.keyboard.type("27.0")
    page.keyboard.press("Enter")
    expect(page.locator("#question")).to_contain_text("after lifting the cuff")
    page.fill("#number", "27.5")
    page.keyboard.press("Enter")
    go_through(page)
    page.click("#ask")
    expect(page.locator("h1.word")).to_have_text("To put right", timeout=40_000)
    expect(page.locator("#next-step")).to_contain_text("Make the rework card")
    assert "turn" in page.inner_text(".sentence") or "cut" in page.inner_text(".sentence")
    read = next(t.what for t in told_of(hand) if t.what.get("of") == "worked-rest-angle")
    assert read["readings"] == [27.5, 27.0]
    hand.refresh_from_db()
    assert hand.standing == Standing.TO_PUT_RIGHT


def test_what_is_not_so_is_tapped_where_it_is_and_the_rest_taken_as_shown(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector)
    open_hand(page, hand)
    page.click("#held")
    page.click(".item:has-text('Each knot is tight')")
    page.click(".place-tile:has-text('ring')")
    page.click("#not-so")
    page.click(".phrase:has-text('a knot has slipped')")
    page.click("#keep")
    expect(page.locator("#as-shown")).to_contain_text("All the rest as shown")
    expect(page.locator(".item[aria-pressed=true]")).to_contain_text("no: ring")
    page.click("#as-shown")
    all_sent(page)
    said, group = (t.what for t in told_of(hand)[-2:])
    assert (said["of"], said["place"], said["answer"]) == ("knots-tied-tight", "ring", "no")
    assert said["note"] == "a knot has slipped"
    assert ["knots-tied-tight", "ring"] not in group["only"]
    assert ["knots-tied-tight", "index"] in group["only"]
    found = known(hand).inspection()
    assert found.item("knots-tied-tight", "ring").status == "does not conform"
    assert found.item("knots-tied-tight", "index").status == "conforms"


def test_undo_goes_back_several_answers_and_the_record_keeps_them_as_taken_back(
    hall: Hall, phone: Phone
) -> None:
    hand = hall.hand()
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page, until=lambda p: "weighs" in question(p))
    all_sent(page)
    before = len(stored(hand))
    page.fill("#number", "97")
    page.keyboard.press("Enter")
    expect(page.locator("#question")).not_to_contain_text("weighs")
    all_sent(page)
    page.click("#undo")
    expect(page.locator("#question")).to_contain_text("weighs")
    page.click("#undo")
    expect(page.locator("#question")).to_contain_text("printed at the scale")
    all_sent(page)
    eventually(lambda: len(stored(hand, "withdrawn")) == 2)
    assert len(stored(hand)) == before + 1
    assert known(hand).inspection().item("part-mass").status == "not seen"
    page.fill("#number", "100")
    page.keyboard.press("Enter")
    all_sent(page)
    eventually(lambda: known(hand).inspection().item("scale-as-ordered").status == "conforms")


def test_a_number_that_cannot_be_right_is_asked_about_and_not_kept(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="strung")
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page, until=lambda p: "front is in line" in question(p))
    page.fill("#number", "132")
    page.keyboard.press("Enter")
    expect(page.locator("#number-wrong")).to_contain_text("132 mm: is that in millimetres?")
    page.fill("#number", "two")
    page.keyboard.press("Enter")
    expect(page.locator("#number-wrong")).to_contain_text("is no number")
    page.fill("#number", "1,2")
    page.click("#sign")
    assert page.input_value("#number") == "−1,2"
    page.keyboard.press("Enter")
    all_sent(page)
    eventually(lambda: any(t.what.get("value") == -1.2 for t in told_of(hand)))


def test_a_caliper_types_its_figures_and_enter_without_a_tap(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page, until=lambda p: screen(p) == "check")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.type("100.25")
    page.keyboard.press("Enter")
    expect(page.locator("#question")).to_contain_text("weighs")
    all_sent(page)
    eventually(lambda: any(t.what.get("value") == 100.25 for t in told_of(hand)))


def test_a_second_tap_of_the_same_finger_answers_nothing(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    page = phone(hall.inspector)
    open_hand(page, hand)
    go_through(page, until=lambda p: "No edge or corner" in question(p))
    expect(page.locator("#look.is-settling")).to_have_count(0)
    box = page.locator("#answer-yes").bounding_box()
    assert box is not None
    page.mouse.dblclick(box["x"] + 20, box["y"] + 20)
    page.wait_for_timeout(500)
    all_sent(page)
    eventually(lambda: len([t for t in told_of(hand) if t.what.get("of") == "no-sharp-edges"]) == 1)
    assert screen(page) == "hold"


def test_stopping_in_the_middle_and_going_on_at_another_phone(hall: Hall, phone: Phone) -> None:
    hand = hall.hand()
    first = phone(hall.inspector)
    open_hand(first, hand)
    go_through(first, until=lambda p: "weighs" in question(p))
    first.click("#where")
    expect(first.locator(".stations")).to_be_visible()
    first.click("#put-down")

    def put_down() -> bool:
        hand.refresh_from_db()
        return (hand.standing, hand.held_by) == (Standing.ASKED, None)

    eventually(put_down)
    second = phone(hall.lead)
    open_hand(second, hand)
    assert question(second) == "Laid out on the table"
    second.click("#held")
    assert "weighs" in question(second)


def test_the_whole_hand_is_done_with_the_keyboard_alone(hall: Hall, phone: Phone) -> None:
    hand = hall.hand(at="dry-fit")
    page = phone(hall.inspector)
    open_hand(page, hand)

    def press(selector: str) -> None:
        for _ in range(60):
            if page.evaluate("s => document.activeElement.matches(s)", selector):
                page.wait_for_timeout(350)
                page.keyboard.press("Enter")
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"{selector} was not reached at {question(page)!r}")

    press("#held")
    press(".item:nth-child(1)")
    press(".big-button#answer-no")
    press("#keep")
    for selector in ("#as-shown", "#held", "#as-shown", "#held", "#as-shown"):
        if screen(page) == "photo":
            press("#no-photo")
        press(selector)
    if screen(page) == "photo":
        press("#no-photo")
    press("#answer-recipient")
    assert screen(page) == "end"
    all_sent(page)
    press("#ask")
    expect(page.locator("h1.word")).to_have_text("To put right")


PICTURE = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00\x1f\x15\xc4\x89"
    b"\x00\x00\x00\rIDATx\x9cc\xf8\xff\xff?\x00\x05\xfe\x02\xfe\xa7\x9a\xa0\xa0\x00\x00\x00\x00IEND\xaeB`\x82"
)


def test_a_group_that_asks_for_a_photo_gets_one_and_names_it(
    hall: Hall, phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsel.bench.looking.screens.PHOTO_ONE_IN", 1)
    hand = hall.hand()
    page = phone(hall.inspector)
    open_hand(page, hand)
    page.click("#held")
    page.click("#as-shown")
    assert question(page) == "This time, a photo of it"
    page.set_input_files("#photo", {"name": "p.png", "mimeType": "image/png", "buffer": PICTURE})
    page.click("#keep-photo")
    expect(page.locator("#question")).to_contain_text("printed at the scale")
    all_sent(page)
    (group,) = stored(hand, "as-shown")
    assert group.what["photo_asked"] is True
    photo = Photo.objects.get(client_id=group.what["photo"])
    assert (photo.hand_id, photo.taken_by_id) == (hand.pk, hall.inspector.pk)
    page.click("#where")
    page.click("#go-on")
    go_through(page)
    all_sent(page)
    assert [("photo" in e.what) for e in stored(hand, "as-shown")] == [True, False, False]
