"""The traveller on paper: every check in the order of the screens, with the boxes that its answer needs."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from handsel.documents.short_codes import in_order as work_order
from handsel.documents.short_codes import short_codes
from handsel.documents.traveller import Traveller, _form, travellers
from handsel.errors import OutOfRange
from handsel.inspection.rules import NumberRule
from unit.papers import (
    HOSTILE,
    boxes_mm,
    hand,
    hostile_hand,
    in_order,
    load_protocol,
    page_count,
    read,
    size_mm,
    text_of,
)


def whole(**changed):
    return Traveller(hand=hand(**changed), protocol=load_protocol())


def test_it_is_a5_and_the_same_each_time():
    pdf = travellers([whole()])
    assert size_mm(pdf) == (148.0, 210.0)
    assert pdf == travellers([whole()])
    assert page_count(pdf) <= 12  # six sheets of A5, or three of A4 printed on both sides


def test_the_first_page_says_whose_hand_it_is():
    text = text_of(travellers([whole(latex_sensitive=True)]), 0)
    in_order(
        text, "K7M-2QX", "R-014", "right", "115 %", "36°", "L-031", "No latex", "linden 1.0.0 (abababababab)"
    )
    in_order(
        text, f"wrist-hand-1 1.0.0 ({load_protocol().sha256[:12]})", "lot of filament", "By pen", "Parts"
    )
    assert "No latex" not in text_of(travellers([whole()]), 0)


def test_every_check_stands_there_once_with_its_code_in_the_order_of_work():
    protocol = load_protocol()
    text = text_of(travellers([whole()]))
    codes = short_codes(protocol)
    in_order(text, *(f"{codes[c.id]} {c.title[:40]}" for c in work_order(protocol)))


def test_every_way_of_holding_and_every_step_stands_there():
    protocol = load_protocol()
    text = text_of(travellers([whole()]))
    for h in protocol.hold_points:
        in_order(text, *(g.title for g in h.groups), h.before)
    for step in protocol.steps:
        assert step.title in text
    assert text.count("passed to put right for the lead") == len(protocol.hold_points)


def test_the_box_that_passes_a_group_stands_once_for_each_group():
    groups = sum(len(h.groups) for h in load_protocol().hold_points)
    text = text_of(travellers([whole()]))
    assert text.count("all as shown") == groups
    assert text.count("continued") >= 1


def row_of(id: str) -> dict[str, object]:
    form = _form(load_protocol(), "")
    rows = [r for p in form["points"] for g in p["groups"] for r in g["rows"]]
    code = short_codes(load_protocol())[id]
    return next(r for r in rows if r["code"] == code)


def test_each_kind_of_answer_has_its_boxes():
    assert row_of("kit-complete")["kind"] == "yes-no"
    assert row_of("tip-hinges-free")["places"] == ["index", "middle", "ring", "little", "thumb"]
    assert row_of("cords-on-their-seats")["places"] == ["index middle", "ring little", "thumb"]
    assert row_of("knots-tight")["places"][-1] == "thumb pin"
    number = row_of("worked-rest-angle")
    assert (number["kind"], number["unit"], number["asked"]) == ("number", "°", "at least 30°")
    assert number["methods"] == ["photo", "protractor"]
    assert row_of("scale-as-ordered")["asked"] == "98 to 102 %"
    assert row_of("thumb-pin-in-line")["asked"] == "−3.5 to 3.5 mm"
    assert row_of("tension-screw-thumb-side")["asked"] == "at most 6 turns"
    assert row_of("bare-fit-tried")["answers"] == ["recipient", "cast", "outline", "not tried"]
    both = row_of("finger-cords-taut")
    assert (both["answers"], len(both["places"])) == (["taut", "slack"], 4)
    assert row_of("no-latex")["only_if"] != ""


def test_a_box_can_be_ticked_for_every_place_and_answer():
    """Counted on the page: what is asked and has no box cannot be answered by pen."""
    protocol = load_protocol()
    for h in protocol.hold_points:
        asked = 0
        for c in protocol.characteristics:
            if c.hold_point != h.id:
                continue
            places = len([p for p in protocol.places(c.per) if p])
            if isinstance(c.rule, NumberRule):
                asked += 1  # can't tell; the number has its own, wider boxes
            elif c.rule.answers == ("yes", "no"):
                asked += 1 + places if places else 3
            else:
                asked += 1 + len(c.rule.answers) * max(1, places)
        one = replace(protocol, hold_points=(h,))
        page = {
            "title": "t",
            "forms": [_form(one, "")],
            "hands": [{**hand().on_page(), "form": 0}],
            "lots": [],
        }
        drawn = boxes_mm("traveller.typ", page)
        numbers = sum(
            isinstance(c.rule, NumberRule) for c in protocol.characteristics if c.hold_point == h.id
        )
        assert drawn[(5.4, 5.4)] == asked, h.id
        assert drawn[(20.0, 8.0)] == numbers, h.id
        assert drawn[(7.0, 7.0)] == len(h.groups), h.id


def test_it_can_begin_at_a_later_hold_point():
    text = text_of(travellers([replace(whole(), from_hold_point="finished")]))
    in_order(text, "K7M-2QX", "Finished", "F1", "Fitting", "T17")
    assert not re.search(r"\bS12\b", text)
    with pytest.raises(OutOfRange, match="no hold point 'glued'"):
        replace(whole(), from_hold_point="glued")


def test_many_hands_each_begin_on_a_page_of_their_own():
    codes = [f"HAND{k:02d}" for k in range(12)]
    some = [replace(whole(code=c, serial=f"L-{c}"), from_hold_point="fitting") for c in codes]
    pdf = travellers(some)
    each = page_count(travellers(some[:1]))
    assert page_count(pdf) == 12 * each
    for k, c in enumerate(codes):
        for n in range(each):
            text = text_of(pdf, k * each + n)
            assert f"HAN-D{c[4:]}" in text
            assert f"page {n + 1} of {each}" in text
    assert len(pdf) < 12 * 60_000


def test_hands_of_other_protocols_and_stages_keep_their_own_checks():
    other = replace(load_protocol(), sha256="cd" * 32, hold_points=load_protocol().hold_points[:1])
    pdf = travellers(
        [Traveller(hand=hand(code="AAAAA1"), protocol=other), replace(whole(), from_hold_point="fitting")]
    )
    text = text_of(pdf)
    in_order(text, "AAA-AA1", "P18", "K7M-2QX", "T1")
    assert "D1" not in text


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_neither_stop_nor_widen_it(words):
    protocol = load_protocol()
    bad = replace(
        protocol,
        id=words,
        hold_points=tuple(
            replace(
                h,
                title=words,
                before=words,
                groups=tuple(replace(g, title=words, how=words) for g in h.groups),
            )
            for h in protocol.hold_points[-1:]
        ),
        steps=tuple(replace(s, title=words, after="fitting") for s in protocol.steps),
        characteristics=tuple(replace(c, title=words) for c in protocol.characteristics),
    )
    pdf = travellers([Traveller(hand=hostile_hand(words), protocol=bad)])
    assert 2 <= page_count(pdf) <= 12
    assert "F17" in text_of(pdf)  # alone, this hold point has its own first letter


def test_two_hundred_checks_and_sixty_places_are_all_printed():
    protocol = load_protocol()
    kind = protocol.characteristic("tip-hinges-free")
    digits = tuple(replace(protocol.digits[0], id=f"digit-{k}") for k in range(60))
    many = tuple(replace(kind, id=f"c{k}", per="hand") for k in range(200))
    long = replace(protocol, digits=digits, characteristics=(*many, replace(kind, id="last")))
    text = text_of(travellers([Traveller(hand=hand(), protocol=long)]))
    for k in range(1, 202):
        assert re.search(rf"\bD{k}\b", text), k
    for k in range(60):
        assert f"digit {k}" in text


def test_no_hand_at_all_is_refused():
    with pytest.raises(OutOfRange, match="no hand"):
        travellers([])


def test_no_script_and_no_foreign_font_is_in_it():
    pdf = travellers([whole()])
    assert b"/JavaScript" not in pdf
    fonts = set()
    for page in read(pdf).pages:
        fonts |= {str(f.get_object()["/BaseFont"]) for f in page["/Resources"]["/Font"].values()}
    assert all(re.search("Libertinus|DejaVuSansMono|NotoNaskh", f) for f in fonts), fonts
