"""Typing in a paper traveller."""

from __future__ import annotations

import secrets
from typing import Any

import pytest

from bench.hall import GOOD, Hall, middle
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import known
from handsel.bench.papers.typing_in import Sheet, keys_of, read_numbers
from handsel.inspection.rules import NumberRule


def boxes(hand: Hand) -> dict[str, str]:
    """Every box of the hold point filled in as on a hand in good order, one by one."""
    sheet = Sheet(hand=hand, at="")
    filled: dict[str, str] = {}
    for _, members in sheet.groups:
        for c in members:
            for place in sheet.protocol.places(c.per):
                if isinstance(c.rule, NumberRule):
                    filled[f"a:{c.id}:{place}"] = f"{GOOD.get(c.id, middle(c.rule)):.2f}"
                else:
                    filled[f"a:{c.id}:{place}"] = keys_of(c)[c.rule.accepted[0]]
    return filled


def by_exception(hand: Hand) -> dict[str, str]:
    """The same with each group passed by its one box: what it stands for is left empty."""
    sheet = Sheet(hand=hand, at="")
    typed = boxes(hand)
    for part in sheet.parts():
        if part.box is not None:
            typed[part.box.name] = "y"
        for row in part.rows:
            for box in row.boxes:
                if box.is_covered:
                    del typed[box.name]
    return typed


def form(hand: Hand, typed: dict[str, str], **other: str) -> dict[str, str]:
    """What the page sends."""
    return {"client_id": secrets.token_hex(16), "at": hand.hold_point} | typed | other


@pytest.mark.parametrize("fill", [boxes, by_exception])
def test_a_hold_point_from_paper_is_decided_like_one_from_a_phone(hall: Hall, fill: Any) -> None:
    hand = hall.hand()
    answer = hall.client(hall.inspector).post(f"/h/{hand.code}/paper/", form(hand, fill(hand), decide="yes"))
    assert (answer.status_code, answer["Location"]) == (303, f"/h/{hand.code}/answer/")
    hand.refresh_from_db()
    assert (hand.hold_point, hand.standing) == ("dry-fit", Standing.BUILDING)
    sources = {e.what.get("from") for e in Entry.objects.filter(hand=hand, kind__in=("observed", "as-shown"))}
    assert sources == {"paper"}


def test_by_exception_few_keys_are_needed(hall: Hall) -> None:
    for at in ("parts", "strung", "finished"):
        hand = hall.hand(code=f"R-{len(at)}", at=at)
        assert len(by_exception(hand)) < 0.7 * len(boxes(hand)), at


def test_sent_twice_it_is_stored_once_and_other_content_is_refused(hall: Hall) -> None:
    hand = hall.hand()
    told = form(hand, boxes(hand))
    client = hall.client(hall.inspector)
    assert client.post(f"/h/{hand.code}/paper/", told).status_code == 303
    count = Entry.objects.filter(hand=hand).count()
    assert client.post(f"/h/{hand.code}/paper/", told).status_code == 303
    assert Entry.objects.filter(hand=hand).count() == count
    answer = client.post(f"/h/{hand.code}/paper/", told | {"a:kit-complete:": "n"})
    assert answer.status_code == 409
    assert Entry.objects.filter(hand=hand).count() == count


def test_an_exception_beside_a_group_counts(hall: Hall) -> None:
    hand = hall.hand()
    typed = by_exception(hand)
    sheet = Sheet(hand=hand, at="")
    covered = next(b for p in sheet.parts() for r in p.rows for b in r.boxes if b.is_covered)
    hall.client(hall.inspector).post(f"/h/{hand.code}/paper/", form(hand, typed | {covered.name: "n"}))
    _, of, place = covered.name.split(":")
    assert known(hand).inspection().item(of, place).status == "does not conform"


def test_what_was_typed_before_by_the_same_person_is_corrected(hall: Hall) -> None:
    hand = hall.hand()
    client = hall.client(hall.inspector)
    client.post(f"/h/{hand.code}/paper/", form(hand, {"a:kit-complete:": "n"}))
    client.post(f"/h/{hand.code}/paper/", form(hand, {"a:kit-complete:": "y"}))
    assert known(hand).inspection().item("kit-complete").status == "conforms"
    last = Entry.objects.filter(hand=hand).order_by("seq").last()
    assert last is not None
    assert last.what["corrects"] == last.seq - 1


def test_who_filled_it_in_is_kept_beside_who_typed(hall: Hall) -> None:
    hand = hall.hand()
    told = form(hand, {"a:kit-complete:": "?"}, seen_by=str(hall.inspector.number))
    hall.client(hall.lead).post(f"/h/{hand.code}/paper/", told)
    entry = Entry.objects.get(hand=hand, kind="observed")
    assert (entry.what["answer"], entry.what["seen_by"]) == ("can't tell", "inspector 2")
    assert entry.told()["by"]["called"] == "lead 1"


@pytest.mark.parametrize(
    ("box", "typed", "said"),
    [
        ("a:kit-complete:", "x", "Type y, n, ?"),
        ("a:print-scale:", "abc", "no number"),
        ("a:print-scale:", "1 2 3 4 5 6 7 8 9 10 11", "no number"),
        ("a:print-scale:", "99999", ""),
        ("a:kit-complete:", "<script>", "Type y"),
    ],
)
def test_a_box_that_cannot_be_read_stores_nothing_and_says_so(
    hall: Hall, box: str, typed: str, said: str
) -> None:
    hand = hall.hand()
    number = next(
        c.id for c in known(hand).protocol.characteristics
        if c.hold_point == "parts" and c.per == "hand" and isinstance(c.rule, NumberRule)
    )  # fmt: skip
    box = box.replace("print-scale", number)
    answer = hall.client(hall.inspector).post(
        f"/h/{hand.code}/paper/", form(hand, {"a:label-kept:": "", box: typed})
    )
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Nothing was stored yet" in page
    assert 'aria-invalid="true"' in page
    assert said in page
    assert "<script>" not in page.replace("<script src", "")
    assert Entry.objects.filter(hand=hand).count() == 1


def test_an_empty_paper_stores_nothing(hall: Hall) -> None:
    hand = hall.hand()
    answer = hall.client(hall.inspector).post(f"/h/{hand.code}/paper/", form(hand, {}))
    assert "Nothing was typed" in answer.content.decode()
    assert Entry.objects.filter(hand=hand).count() == 1


def test_an_earlier_hold_point_may_be_typed_in_and_a_later_one_not(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    client = hall.client(hall.inspector)
    assert '<h1 class="question">Parts</h1>' in client.get(f"/h/{hand.code}/paper/?at=parts").content.decode()
    assert (
        '<h1 class="question">Strung</h1>' in client.get(f"/h/{hand.code}/paper/?at=fitting").content.decode()
    )
    assert '<h1 class="question">Strung</h1>' in client.get(f"/h/{hand.code}/paper/?at=%00").content.decode()


def test_a_scrapped_hand_takes_nothing_more(hall: Hall) -> None:
    hand = hall.hand()
    append(hand, [New(kind="scrapped", what={"reason": "cuff cracked"})], person=hall.lead)
    answer = hall.client(hall.inspector).post(f"/h/{hand.code}/paper/", form(hand, {"a:kit-complete:": "y"}))
    assert answer.status_code == 409


def test_it_is_for_inspectors_and_the_lead(hall: Hall) -> None:
    hand = hall.hand()
    for person in (hall.builder, hall.fitter):
        assert hall.client(person).get(f"/h/{hand.code}/paper/").status_code == 403
        assert hall.client(person).post(f"/h/{hand.code}/paper/", form(hand, boxes(hand))).status_code == 403
    assert hall.client().get(f"/h/{hand.code}/paper/").status_code == 302
    assert hall.client(hall.lead).put(f"/h/{hand.code}/paper/").status_code == 405
    bad = form(hand, boxes(hand)) | {"client_id": "x"}
    assert hall.client(hall.lead).post(f"/h/{hand.code}/paper/", bad).status_code == 400
    assert Entry.objects.filter(hand=hand).count() == 1


@pytest.mark.parametrize(
    ("said", "read"),
    [("36,5", [36.5]), ("36.5 36 35.8", [36.5, 36.0, 35.8]), ("\u22120.5", [-0.5]), ("1e3", []), ("nan", []), ("", []),
     ("1;2", [1.0, 2.0]), ("1.2.3", []), ("inf", []), ("\u0663", [])],
)  # fmt: skip
def test_numbers_are_read_as_people_write_them(said: str, read: list[float]) -> None:
    assert read_numbers(said) == read
