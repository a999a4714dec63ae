"""A rework card, as the person who does it reads it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from handsel.bench.hands.casebook import Told
from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.history import when_words
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import new_client_id
from handsel.bench.people.models import Person
from handsel.bench.work.cards import Card, cards_of
from handsel.bench.work.page_bits import today
from handsel.bench.work.planning import spoken
from handsel.bench.work.services import places_of
from handsel.inspection.protocol import HAND, Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainRow:
    """One thing that is looked at again, at all its places."""

    title: str
    places: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPage:
    """One rework card."""

    head: Head
    number: int
    seq: int
    title: str
    found: tuple[str, ...]
    sentence: str
    steps: tuple[dict[str, Any], ...]
    spares: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: str
    skill: str
    is_final: bool
    scraps_part: bool
    refer: bool
    again: tuple[AgainRow, ...]
    places: tuple[dict[str, str], ...]
    ordered: str
    ended: str
    is_open: bool
    has_it: bool
    may_do: bool
    may_drop: bool
    left: int
    ids: dict[str, str]


def card_page(hand: Hand, card: Card, told: tuple[Told, ...], person: Person, protocol: Protocol) -> CardPage:
    """The page of one card."""
    w = card.what
    whole = [r for r, place in card.reworks if place == HAND]
    ended = f"Done by {card.done_by} at {when_words(card.done_at, today())}." if card.done_by else ""
    if card.taken_back:
        ended = f"Taken back: {card.taken_back}."
    return CardPage(
        head=head_of(hand),
        number=card.number,
        seq=card.seq,
        title=card.title,
        found=tuple(_found(b) for b in w["because"]),
        sentence=w["sentence"],
        steps=tuple(
            {"words": s, "value": str(n), "small": "", "done": False} for n, s in enumerate(w["steps"])
        ),
        spares=tuple(w["spares"]),
        cautions=tuple(w["cautions"]),
        minutes=f"{w['minutes']:.0f} min",
        skill=w["skill"],
        is_final=bool(w.get("irreversible")),
        scraps_part=bool(w.get("scraps_part")),
        refer=bool(w.get("refer")),
        again=_again(w["recheck"]),
        places=tuple({"value": p, "words": spoken(p)} for r in whole for p in places_of(r, protocol)),
        ordered=f"Ordered {when_words(card.ordered_at, today())} by {card.ordered_by}",
        ended=ended,
        is_open=card.is_open,
        has_it=hand.held_by_id == person.pk,
        may_do=(person.may("build") or person.may("fit")) and not (w.get("refer") and not person.is_lead),
        may_drop=person.may("inspect"),
        left=sum(c.is_open for c in cards_of(told)) - 1,
        ids={name: new_client_id() for name in ("done", "cannot", "take", "drop")},
    )


def _found(b: dict[str, Any]) -> str:
    place = f" ({spoken(b['place'])})" if b.get("place") else ""
    shown = f": {b['shown']}" if b.get("shown") else ""
    return f"{b['title']}{place}{shown}"


def _again(recheck: list[dict[str, str]]) -> tuple[AgainRow, ...]:
    places: dict[str, list[str]] = {}
    for r in recheck:
        places.setdefault(r["title"], []).append(r["place"])
    return tuple(
        AgainRow(
            title=title, places=", ".join(spoken(p) for p in where if p) if len(where) < 5 else "everywhere"
        )
        for title, where in places.items()
    )
