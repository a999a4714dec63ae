"""The rework card: what was found on one hand, what to do about it, and what to look at again after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from handsel.documents.paper import HandOnPaper, fitted, moment, shown_code, typeset
from handsel.errors import OutOfRange


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAgain:
    """One thing to look at again once the rework is done."""

    code: str  # short code, "S12"
    title: str
    places: tuple[str, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkCard:
    """One order to put something right."""

    hand: HandOnPaper
    number: int  # of this hand's cards, from 1
    hold_point: str
    found: tuple[str, ...]  # gravest first
    sentence: str  # the whole order in one sentence, in hand words
    steps: tuple[str, ...]
    spares: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    again: tuple[LookAgain, ...] = ()
    skill: str = ""
    minutes: float | None = None
    ordered_by: str = ""  # a role, never a name
    ordered_at: datetime | None = None
    cannot_be_undone: bool = False


def rework_card(card: ReworkCard) -> bytes:
    """A rework card on A5; as many pages as its steps need, mostly one.

    Parameters: card.
    Returns: PDF.
    Raises: Unsolved when the page cannot be set.
    Valid for: any words in it. Every step, caution and thing to look at again is printed, however many.
    Source: own layout.    Checked by: unit/test_documents_rework_card.py
    """
    return rework_cards([card])


def rework_cards(cards: Sequence[ReworkCard]) -> bytes:
    """Several cards in one PDF, each beginning on a page of its own.

    Parameters: cards, at least one.    Returns: PDF.
    Raises: OutOfRange when there is none; else as rework_card.    Valid for: as rework_card.
    Source: as rework_card.    Checked by: unit/test_documents_rework_card.py
    """
    if not cards:
        raise OutOfRange("there is no card to print", where="rework cards", do="Choose at least one card.")
    title = f"Rework {shown_code(cards[0].hand.code)}" if len(cards) == 1 else f"{len(cards)} rework cards"
    return typeset(
        "rework_card.typ", {"title": title, "cards": [_card(c) for c in cards]}, where="rework card"
    )


def _card(c: ReworkCard) -> dict[str, Any]:
    minutes = "" if c.minutes is None else f"about {max(1, round(c.minutes)):d} min"
    return {
        "hand": c.hand.on_page(),
        "number": c.number,
        "stage": fitted(c.hold_point, 40),
        "found": [fitted(f, 300) for f in c.found],
        "sentence": fitted(c.sentence, 500),
        "steps": [fitted(s, 500) for s in c.steps],
        "spares": [fitted(s, 120) for s in c.spares],
        "cautions": [fitted(x, 400) for x in dict.fromkeys(c.cautions)],
        "again": [
            {
                "code": fitted(a.code, 6),
                "title": fitted(a.title, 200),
                "places": [fitted(p.replace("-", " "), 24, word=16) for p in a.places if p],
                "reason": fitted(a.reason, 200),
            }
            for a in c.again
        ],
        "needs": " · ".join(filter(None, (fitted(c.skill, 40), minutes))),
        "ordered": " · ".join(filter(None, (fitted(c.ordered_by, 40), moment(c.ordered_at)))),
        "final": c.cannot_be_undone,
    }
