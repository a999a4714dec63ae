"""What verifying can find, and where."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.bench.hands.codes import shown

MOST_OF_ONE_HAND = 20  # one broken link would repeat itself for a thousand entries


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is not as it was written."""

    kind: str  # "changed", "missing", "moved", "link", "column", "head", "standing", "text", "photo", "database"
    what: str  # in words, without the place
    hand: str = ""  # its code; empty when it is not about one hand
    seq: int | None = None  # number of the entry
    of: str = ""  # what else it is about: a photo, a text

    @property
    def where(self) -> str:
        """The place, as people say it."""
        parts = [shown(self.hand)] if self.hand else []
        if self.of:
            parts.append(self.of)
        if self.seq is not None:
            parts.append(f"entry {self.seq}")
        return ", ".join(parts) or "the records"

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"
