"""What all papers stand on: text made fit, codes as read aloud, data that never becomes markup."""

from __future__ import annotations

from datetime import datetime
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsel.documents.paper import fitted, moment, safe, shown_code, typeset
from handsel.documents.rework_card import _card, rework_card
from handsel.errors import OutOfRange, Unsolved
from unit.papers import FONTS, HOSTILE, hand, queried, text_of
from unit.test_documents_rework_card import card


def test_a_code_is_shown_as_two_threes():
    assert shown_code("k7m2qx") == "K7M-2QX"
    assert shown_code("K7M2") == "K7M2"


@pytest.mark.parametrize("code", ["", "K7M-2QX", "K7M2Q", "ABCDEFG", "K7M2Q ", "K7M2Qé", "#panic"])
def test_what_is_no_code_is_refused(code):
    with pytest.raises(OutOfRange, match="six letters and digits"):
        hand(code=code)


@pytest.mark.parametrize("scale", [0.0, -1.0, nan, inf, 115.0])
def test_a_scale_that_cannot_be_is_refused(scale):
    with pytest.raises(OutOfRange, match="scale"):
        hand(scale_ratio=scale)


@given(st.text(), st.integers(1, 80), st.integers(2, 30))
def test_fitted_text_is_short_printable_and_can_be_broken(text, length, word):
    got = fitted(text, length, word=word)
    plain = got.replace("\u200b", "")
    assert len(plain) <= max(length, len(safe(text))) + 1
    assert len(plain) <= length + text.count("\u200b")
    assert all(len(run) <= word for w in got.split(" ") for run in w.split("\u200b"))
    assert got == safe(got)


def test_fitted_text_keeps_what_fits_and_says_when_not():
    assert fitted("a  b\n c", 10) == "a b c"
    assert fitted("x" * 30, 20).replace("\u200b", "") == "x" * 19 + "…"


@given(st.text(st.characters()))
def test_no_control_character_and_no_turned_direction_is_left(text):
    got = safe(text + "\x00\x1b\u202e\u2066\ud800")
    assert not set(got) & set("\x00\x1b\u202e\u2066\ud800\n\r\t")
    got.encode()


def test_a_time_is_written_to_the_minute():
    assert moment(datetime(2026, 11, 25, 9, 5, 59)) == "2026-11-25 09:05"  # noqa: DTZ001
    assert moment(None) == ""


def test_words_never_become_markup():
    """Set as data the words appear as typed; as markup they would be strong, or would stop the page."""
    words = "#panic() and *stars* and = heading"
    page = {"title": "t", "cards": [_card(card(sentence=words, found=(words,), steps=(words,)))]}
    assert queried("rework_card.typ", page, "strong") == []
    assert queried("rework_card.typ", page, "heading") == []
    assert words in text_of(rework_card(card(sentence=words)))


def test_a_page_that_cannot_be_set_says_so_in_words():
    with pytest.raises(Unsolved, match="rework card: the page could not be set"):
        typeset("rework_card.typ", {"title": "t"}, where="rework card")


def test_the_vendored_letters_bring_their_licence():
    fonts = sorted(p.name for p in FONTS.glob("*.ttf"))
    assert fonts == ["NotoNaskhArabic-Bold.ttf", "NotoNaskhArabic-Regular.ttf"]
    licence = (FONTS / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence
    assert "Copyright" in licence


@pytest.mark.parametrize("words", HOSTILE)
def test_a_hand_with_hostile_words_can_be_put_on_paper(words):
    page = hand(recipient=words, serial=words).on_page()
    assert all(safe(v) == v for v in page.values() if isinstance(v, str))
