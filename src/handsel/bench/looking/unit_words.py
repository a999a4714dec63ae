"""Units as people at the bench write and say them."""

from __future__ import annotations

SIGNS = {"deg": "°", "percent": "%", "turn": "turns"}
WORDS = {
    "deg": "degrees",
    "percent": "per cent",
    "turn": "turns",
    "mm": "millimetres",
    "g": "grams",
    "N": "newtons",
}


def unit_sign(unit: str) -> str:
    """What stands beside the number."""
    return SIGNS.get(unit, unit)


def unit_words(unit: str) -> str:
    """What is read out."""
    return WORDS.get(unit, unit)
