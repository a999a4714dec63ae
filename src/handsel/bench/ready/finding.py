"""One point of the checklist and how it stands."""

from __future__ import annotations

from dataclasses import dataclass

GOOD, CARE, BAD, OPEN = "good", "care", "bad", "open"
WORDS = {GOOD: "in order", CARE: "look at this", BAD: "not in order", OPEN: "not done yet"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found, and what to do about it."""

    id: str
    title: str
    state: str  # one of the four above
    said: str
    do: str = ""

    @property
    def words(self) -> str:
        """The state in words."""
        return WORDS[self.state]

    @property
    def verdict(self) -> str:
        """The state as the disc that checks are marked with."""
        return {GOOD: "conforms", CARE: "undecided", BAD: "does not conform", OPEN: "not seen"}[self.state]
