"""The rework card: all steps, all cautions, all that must be looked at again, and who did it."""

from __future__ import annotations

from datetime import datetime

import pytest

from handsel.documents.rework_card import LookAgain, ReworkCard, rework_card, rework_cards
from handsel.errors import OutOfRange
from unit.papers import HOSTILE, hand, hostile_hand, in_order, page_count, size_mm, text_of

STEPS = ("Undo the knot at the thumb tension pin.", "Tie it again 2 mm shorter.", "Work it five times.")


def card(**changed):
    fields = {
        "hand": hand(),
        "number": 2,
        "hold_point": "Strung",
        "found": ("Worked rest angle 22.0° ± 1.6° (95 %), asked: at least 30°",),
        "sentence": "Restring the thumb cord 2 mm shorter.",
        "steps": STEPS,
        "spares": ("cord, 40 cm",),
        "cautions": ("A loaded cord can spring: keep eyes out of its line.",),
        "again": (
            LookAgain(code="S12", title="The thumb starts with the fingers", reason="undone by new cord"),
            LookAgain(code="S6", title="Each knot is tight", places=("thumb", "thumb-pin")),
        ),
        "skill": "builder",
        "minutes": 14.2,
        "ordered_by": "inspector 2",
        "ordered_at": datetime(2026, 11, 25, 14, 5),  # noqa: DTZ001
    }
    return ReworkCard(**(fields | changed))


def test_an_ordinary_card_is_one_page_of_a5_and_the_same_each_time():
    pdf = rework_card(card())
    assert (page_count(pdf), size_mm(pdf)) == (1, (148.0, 210.0))
    assert pdf == rework_card(card())


def test_it_reads_in_the_order_of_the_work():
    text = text_of(rework_card(card()))
    in_order(
        text,
        "PUT RIGHT, CARD 2",
        "K7M-2QX",
        "R-014",
        "Restring the thumb cord",
        "builder · about 14 min",
        "What was found, strung",
        "22.0° ± 1.6° (95 %)",
        "Take care. A loaded cord",
        "Fetch first",
        "cord, 40 cm",
        *(f"{k} {s}" for k, s in enumerate(STEPS, start=1)),
        "Then look again",
        "S12 The thumb starts",
        "undone by new cord",
        "S6 Each knot",
        "thumb pin",
        "done as written",
        "done by",
        "ordered by inspector 2 · 2026-11-25 14:05",
    )


def test_what_cannot_be_taken_back_says_so():
    assert "Cannot be taken back" in text_of(rework_card(card(cannot_be_undone=True)))
    assert "Cannot be taken back" not in text_of(rework_card(card()))


def test_nothing_is_left_out_of_two_hundred_items():
    steps = tuple(f"Step number {k} of many." for k in range(200))
    again = tuple(LookAgain(code=f"S{k}", title=f"Thing {k}.") for k in range(200))
    cautions = tuple(f"Caution {k}." for k in range(200))
    pdf = rework_card(card(steps=steps, again=again, cautions=cautions, found=steps, spares=steps))
    text = text_of(pdf)
    in_order(text, *(f"{k + 1} {s}" for k, s in enumerate(steps)))
    in_order(text, *(f"S{k} Thing {k}." for k in range(200)))
    in_order(text, *cautions)
    assert page_count(pdf) > 10


def test_an_empty_card_is_still_a_card():
    bare = card(
        found=(), steps=(), spares=(), cautions=(), again=(), minutes=None, ordered_by="", ordered_at=None
    )
    text = text_of(rework_card(bare))
    assert "K7M-2QX" in text
    assert "Fetch first" not in text
    assert "ordered by" not in text


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_set_as_words(words):
    again = (LookAgain(code=words, title=words, places=(words, words), reason=words),) * 9
    pdf = rework_card(
        card(
            hand=hostile_hand(words),
            hold_point=words,
            found=(words,) * 9,
            sentence=words,
            steps=(words,) * 9,
            spares=(words,) * 9,
            cautions=(words,) * 9,
            again=again,
            skill=words,
            ordered_by=words,
        )
    )
    assert 1 <= page_count(pdf) <= 16
    assert "done as written" in text_of(pdf)


def test_several_cards_begin_on_pages_of_their_own():
    pdf = rework_cards([card(number=k) for k in (1, 2, 3)])
    assert page_count(pdf) == 3
    for k in (1, 2, 3):
        assert f"CARD {k}" in text_of(pdf, k - 1)
    with pytest.raises(OutOfRange, match="no card"):
        rework_cards([])
