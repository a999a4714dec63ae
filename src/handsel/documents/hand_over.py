"""The hand-over sheet: what wearer and carer take home, in their own language."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import date
from typing import Any

from handsel.data.hand_over_words import HandOverWords
from handsel.documents.paper import HandOnPaper, fitted, typeset

DRAFT_MARK = "Machine-made draft: have a speaker check it."  # for those who hand it over
LOG_ROWS = 7  # the first week


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOverSheet:
    """What is written on the sheet besides its words."""

    hand: HandOnPaper
    given_on: date | None = None
    look_again_on: date | None = None
    whom_to_call: str = ""  # "" leaves the box empty for the pen


def hand_over_sheet(sheet: HandOverSheet, words: HandOverWords) -> bytes:
    """The hand-over sheet on A4, in one language, right-to-left where the language is.

    Parameters: sheet; words, of one language.
    Returns: PDF.
    Raises: Unsolved when the page cannot be set.
    Valid for: languages in Latin, Greek, Cyrillic, Hebrew and Arabic letters; others lack glyphs.
    Source: own layout.    Checked by: unit/test_documents_hand_over.py
    """
    hand, w = sheet.hand, words.words
    data: dict[str, Any] = {
        "title": f"{fitted(w['title'], 60)}, {hand.on_page()['code']}",
        "hand": hand.on_page(),
        "side": fitted(w[hand.side], 30),
        "given_on": "" if sheet.given_on is None else sheet.given_on.isoformat(),
        "look_again_on": "" if sheet.look_again_on is None else sheet.look_again_on.isoformat(),
        "call": {
            "words": fitted(sheet.whom_to_call, 200),
            "direction": direction(sheet.whom_to_call),
        },
        "language": words.language.split("-")[0],
        "direction": words.direction,
        "draft": fitted(words.draft, 300),
        "draft_mark": DRAFT_MARK if words.draft and words.language != "en" else "",
        "words": {key: fitted(text, 300) for key, text in w.items()},
        "sections": [
            {"id": s.id, "title": fitted(s.title, 80), "items": [fitted(i, 600) for i in s.items]}
            for s in words.sections
        ],
        "limits": fitted(words.limits, 600),
        "log_rows": LOG_ROWS,
        "text": f"{words.language} {words.sha256[:12]}",
    }
    return typeset("hand_over.typ", data, where="hand-over sheet")


def direction(text: str) -> str:
    """Reading direction of a text, by its first letter that has one.

    Parameters: text.    Returns: "ltr" or "rtl"; "ltr" for a text without letters, a telephone number.
    Raises: nothing.    Valid for: any text.
    Source: Unicode Standard Annex 9, rules P2 and P3.    Checked by: unit/test_documents_hand_over.py
    """
    for c in text:
        kind = unicodedata.bidirectional(c)
        if kind in ("R", "AL"):
            return "rtl"
        if kind == "L":
            return "ltr"
    return "ltr"
