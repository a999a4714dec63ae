"""The hand-over sheet: all cautions in every language, right-to-left where the language is, drafts marked."""

from __future__ import annotations

import re
import unicodedata
from datetime import date
from pathlib import Path

import pytest

from handsel.data.hand_over_words import SECTIONS
from handsel.data.load_hand_over import BUNDLED, DRAFT, HandOverTables, bundled_languages, load_hand_over
from handsel.documents.hand_over import DRAFT_MARK, HandOverSheet, direction, hand_over_sheet
from handsel.errors import BadFile
from unit.papers import HOSTILE, hand, hostile_hand, in_order, page_count, pieces, read, size_mm, text_of

GERMAN = (BUNDLED / "de.toml").read_text(encoding="utf-8")


def sheet(**changed):
    fields = {"hand": hand(), "given_on": date(2026, 11, 25), "whom_to_call": "fitter 1, +00 555 0100"}
    return HandOverSheet(**(fields | changed))


def bare(text: str) -> str:
    """Letters and figures only, the marks above and below Arabic letters taken off, soft breaks closed."""
    return "".join(c for c in unicodedata.normalize("NFKC", text) if c.isalnum())


def test_the_languages_that_come_along():
    assert set(bundled_languages()) == {"ar", "de", "en", "es", "fr"}
    assert load_hand_over("ar").direction == "rtl"
    assert [load_hand_over(x).direction for x in ("de", "en", "es", "fr")] == ["ltr"] * 4


@pytest.mark.parametrize("language", bundled_languages())
def test_it_is_one_page_of_a4_and_the_same_each_time(language):
    words = load_hand_over(language)
    pdf = hand_over_sheet(sheet(), words)
    assert (page_count(pdf), size_mm(pdf)) == (1, (210.0, 297.0))
    assert pdf == hand_over_sheet(sheet(), words)


@pytest.mark.parametrize("language", [x for x in bundled_languages() if x != "ar"])
def test_every_sentence_stands_on_the_sheet(language):
    words = load_hand_over(language)
    text = bare(text_of(hand_over_sheet(sheet(look_again_on=date(2026, 11, 26)), words)))
    for s in words.sections:
        assert len(s.items) == len(SECTIONS[s.id])
        for item in (s.title, *s.items):
            assert bare(item) in text or all(bare(w) in text for w in item.split()), item
    for key in ("title", "lead", "take_off", "call", "agreed", "log_title", "given_on", "look_again_on"):
        assert bare(words.words[key]) in text, key
    assert bare(words.limits) in text
    assert bare("fitter 1, +00 555 0100") in text


def test_the_english_sheet_reads_gravest_first():
    text = text_of(hand_over_sheet(sheet(), load_hand_over("en")))
    in_order(
        text,
        "Your new hand",
        "K7M-2QX",
        "Never use it for",
        "climbing",
        "cycling",
        "swimming",
        "heavy things",
    )
    in_order(
        text, "Take it off at once", "five minutes", "20 minutes", "short spells", "Whom to call", "together."
    )
    others = (
        "radiator",
        "parked car",
        "hot water",
        "Small parts",
        "Elastics and foam",
        "24 hours",
        "first follow-up",
    )
    for words in others:
        assert words in text


def test_a_draft_says_so_in_its_language_and_in_english():
    for language in bundled_languages():
        words = load_hand_over(language)
        text = text_of(hand_over_sheet(sheet(), words))
        is_draft = language != "en"
        assert (DRAFT_MARK in text) == is_draft
        assert (words.draft != "") == is_draft
        if language == "fr":
            assert "Brouillon produit par une machine" in text


def test_arabic_runs_from_the_right():
    places = {}
    for language in ("en", "ar"):
        drawn = pieces(hand_over_sheet(sheet(), load_hand_over(language)))
        places[language] = next(x for text, x, _ in drawn if text == "K7M-2QX")
    assert places["en"] > 105 > places["ar"]  # the code stands at the end of the line


def test_arabic_letters_come_from_the_vendored_face_and_none_is_missing():
    words = load_hand_over("ar")
    pdf = hand_over_sheet(sheet(), words)
    fonts = [f.get_object() for f in read(pdf).pages[0]["/Resources"]["/Font"].values()]
    assert any("NotoNaskhArabic-Regular" in str(f["/BaseFont"]) for f in fonts)
    assert any("NotoNaskhArabic-Bold" in str(f["/BaseFont"]) for f in fonts)
    letters = {c for s in words.sections for item in s.items for c in item if c.isalpha()}
    seen = set(unicodedata.normalize("NFKC", text_of(pdf)))
    assert letters - seen == set()


def test_latin_words_inside_arabic_keep_their_own_direction():
    assert direction("+00 555 0100") == "ltr"
    assert direction("fitter 1") == "ltr"
    assert direction("٠١٢ مرحبا R-014") == "rtl"
    assert direction("") == "ltr"
    text = text_of(hand_over_sheet(sheet(), load_hand_over("ar")))
    for words in ("2026-11-25", "R-014", "115 %", "+00 555 0100"):
        assert words in text


def test_without_someone_to_call_the_box_waits_for_the_pen():
    text = text_of(hand_over_sheet(sheet(whom_to_call="", given_on=None), load_hand_over("en")))
    assert "name or role, telephone, when" in text
    assert "2026" not in text


def test_latex_is_named_only_where_it_matters():
    words = load_hand_over("en")
    assert "latex" in text_of(hand_over_sheet(sheet(hand=hand(latex_sensitive=True)), words))
    assert "latex" not in text_of(hand_over_sheet(sheet(), words))


@pytest.mark.parametrize("language", ["en", "ar"])
@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_are_set_as_words(words, language):
    pdf = hand_over_sheet(sheet(hand=hostile_hand(words), whom_to_call=words), load_hand_over(language))
    assert page_count(pdf) <= 2
    assert "K7M-2QX" in text_of(pdf)


# ---- a language is one file ---------------------------------------------------------------------------


def own(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "xx.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_another_language_is_one_file(tmp_path):
    made = GERMAN.replace('language = "de"', 'language = "he"').replace('"ltr"', '"rtl"')
    made = made.replace('title = "Deine neue Hand"', 'title = "היד החדשה שלך"')
    words = load_hand_over(own(tmp_path, made))
    pdf = hand_over_sheet(sheet(), words)
    assert (words.language, page_count(pdf)) == ("he", 1)
    code = next(x for text, x, _ in pieces(pdf) if text == "K7M-2QX")
    assert code < 105


def test_every_section_of_the_format_is_printed():
    tables = {k for k, f in HandOverTables.model_fields.items() if "Table" in str(f.annotation)}
    assert tables - {"words", "limits"} == set(SECTIONS)
    for id, keys in SECTIONS.items():
        table = HandOverTables.model_fields[id].annotation
        assert set(table.model_fields) == {"title", *keys}


@pytest.mark.parametrize(
    ("change", "to", "says"),
    [
        ('car = "Nicht im geparkten Auto lassen."\n', "", '"car" is missing'),
        ("[heat]", "[warmth]", "warmth"),
        ('direction = "ltr"', 'direction = "down"', "direction"),
        (DRAFT, "checked", "draft"),
        ('language = "de"', 'language = "../de"', "language"),
        ('left = "links"', 'left = ""', "left"),
        ('left = "links"', 'left = "a\\u0007b"', "left"),
    ],
)
def test_a_slip_in_a_file_is_told_in_words(change, to, says, tmp_path):
    assert GERMAN.count(change) == 1
    with pytest.raises(BadFile, match=re.escape(says)) as told:
        load_hand_over(own(tmp_path, GERMAN.replace(change, to)))
    assert "xx.toml" in str(told.value)


def test_a_draft_that_does_not_say_so_is_refused(tmp_path):
    silent = re.sub(r"^draft = .*\n", "", GERMAN, flags=re.MULTILINE)
    with pytest.raises(BadFile, match="a draft has the key"):
        load_hand_over(own(tmp_path, silent))


def test_a_language_that_is_not_there_is_told():
    with pytest.raises(BadFile, match="does not come in this language"):
        load_hand_over("tlh")
