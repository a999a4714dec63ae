"""Rework cards as a hand's record holds them: ordered, done, or taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from handsel.bench.hands.casebook import Told, out_of_force


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One order to put something right, and what became of it."""

    seq: int  # of the entry that ordered it
    number: int  # among this hand's cards, from 1
    what: dict[str, Any]
    ordered_at: str
    ordered_by: str
    done_by: str = ""
    done_at: str = ""
    taken_back: str = ""  # why; empty while it stands

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to do it."""
        return not self.done_by and not self.taken_back

    @property
    def title(self) -> str:
        """What to do, with the places."""
        return str(self.what["title"])

    @property
    def reworks(self) -> tuple[tuple[str, str], ...]:
        """The protocol's reworks that it stands for, each with its place."""
        listed = self.what.get("reworks") or [{"rework": self.what["rework"], "place": self.what["place"]}]
        return tuple((r["rework"], r["place"]) for r in listed)


def cards_of(told: Iterable[Told]) -> tuple[Card, ...]:
    """All cards of a hand, in the order in which they were written."""
    told = tuple(told)
    gone = out_of_force(told)
    done = {t.what["closes_card"]: t for t in told if t.kind == "did" and t.what.get("closes_card")
            and t.seq not in gone}  # fmt: skip
    back = {t.what["seq"]: t.what.get("reason", "") or "taken back" for t in told if t.kind == "withdrawn"}
    cards: list[Card] = []
    for t in told:
        if t.kind != "ordered":
            continue
        closed = done.get(t.seq)
        cards.append(
            Card(
                seq=t.seq,
                number=len(cards) + 1,
                what=t.what,
                ordered_at=t.at,
                ordered_by=t.by["called"],
                done_by=closed.by["called"] if closed is not None else "",
                done_at=closed.at if closed is not None else "",
                taken_back=back.get(t.seq, ""),
            )
        )
    return tuple(cards)


def open_cards(told: Iterable[Told]) -> tuple[Card, ...]:
    """The cards that somebody still has to do."""
    return tuple(c for c in cards_of(told) if c.is_open)
