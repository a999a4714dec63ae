"""The words of the hand-over sheet in one language."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

# Section by section in the order of the sheet; every language has all of them, and no other.
SECTIONS: dict[str, tuple[str, ...]] = {
    "not_for": ("climbing", "cycling", "swimming", "load"),
    "skin": ("five_minutes", "twenty_minutes", "every_day"),
    "wearing": ("short_spells", "carer", "small_parts"),
    "heat": ("radiator", "car", "hot_water"),
    "upkeep": ("elastics", "cords"),
    "look_again": ("first_day", "follow_up"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One heading of the sheet and what stands under it."""

    id: str
    title: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOverWords:
    """All that the sheet says, in one language."""

    language: str  # "de"
    name: str  # as its speakers call it
    direction: Literal["ltr", "rtl"]
    draft: str  # printed on the sheet until a speaker has checked the words; "" when one has
    words: Mapping[str, str]
    sections: tuple[Section, ...]
    limits: str
    sha256: str  # of the file's text, for the record of what was handed over
