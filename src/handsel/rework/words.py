"""Hand words: how slides, cords and places are called in a sentence."""

from __future__ import annotations

from handsel.design.model import Cord, Design
from handsel.inspection.result import Whole

FIRST_WORDS: dict[Whole, str] = {
    "release": "Good.",
    "rework": "Not yet.",
    "scrap part": "Not yet.",
    "not decided yet": "Not decided yet.",
}


def answer(whole: Whole, told: str) -> str:
    """The sentence with the decision in its first words, so that nobody reads an order as a pass.

    Parameters: whole, the decision; told, what was found or is to be done.
    Returns: one or a few sentences.
    Source: own wording.
    Checked by: unit/test_assessment.py
    """
    decided = told.casefold().startswith(("not yet", "not decided", "do not"))
    return told if decided else f"{FIRST_WORDS[whole]} {told}"


def cord_title(cord: Cord) -> str:
    """What a builder calls a cord: by the digits it pulls."""
    digits = " and ".join(leg.digit for leg in cord.legs)
    return f"{digits} loop" if len(cord.legs) > 1 else f"{digits} cord"


def number(x: float) -> str:
    """A count or length without needless noughts: 3, 1.5."""
    return f"{abs(x):.1f}".removesuffix(".0")


def turns_words(turns: float) -> str:
    """The move of both screws, as an order without its full stop; empty when they stay."""
    if turns == 0.0:
        return ""
    way = "in" if turns > 0 else "out (forward)"
    count = "half a turn" if abs(turns) == 0.5 else f"{number(turns)} turn{'s' if abs(turns) != 1.0 else ''}"
    each = "" if abs(turns) == 0.5 else ", half a turn at a time on each in turn"
    return f"turn both tension screws {way} by {count}{each}"


def pin_words(pin_mm: float) -> str:
    """The move of the thumb pin, likewise."""
    if pin_mm == 0.0:
        return ""
    way = "in, away from the fingers" if pin_mm > 0 else "forward, toward the fingers"
    return f"move the thumb tension pin {number(pin_mm)} mm {way}"


def joined(parts: list[str], last: str = "; ") -> str:
    """Orders as one sentence, beginning with a capital."""
    text = last.join(p for p in parts if p)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def listed(names: list[str]) -> str:
    """a, b and c."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def small(title: str) -> str:
    """A title as it goes on inside of a sentence."""
    return f"{title[:1].lower()}{title[1:]}"


def digit_place(design: Design, cord: int) -> str:
    """The first digit that a cord works, by which a protocol finds its own name for the cord."""
    return design.cords[cord].legs[0].digit
