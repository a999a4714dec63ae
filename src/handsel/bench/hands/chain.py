"""The record of a hand: how an entry is made, added and checked.

    record = canonical JSON of {hand, seq, prev, kind, at, by, client_id, what}
    sha256 = SHA-256(record);  prev = the sha256 of the entry before, "" for the first

Canonical: keys sorted, no spaces, ASCII only, no NaN; so the same entry always has the same bytes. The
bytes are what is stored: verifying never depends on writing numbers the same way again.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.hands.standing import move_on
from handsel.bench.people.models import Person
from handsel.errors import HandselError

KINDS = (
    "begun", "observed", "as-shown", "withdrawn", "did", "self-checked", "asked", "decided", "ordered", "taken",
    "put-down", "conceded", "scrapped", "released", "handed-over", "noted", "lot-used", "changed", "judged-by",
    "learned",
)  # fmt: skip


class ClientIdTaken(HandselError):
    """The same id was used before for something else. Nothing is overwritten; both are shown."""

    status = 409

    def __init__(self, stored: Entry, given: dict[str, Any]) -> None:
        super().__init__(
            "this was sent before with other content",
            where=f"entry {stored.seq} of {stored.hand.shown_code}",
            do="Both are shown: keep the stored one, or answer again.",
        )
        self.stored, self.given = stored, given


class Closed(HandselError):
    """The hand was released or scrapped: nothing more is added but what belongs after that."""

    status = 409


class MovedOn(HandselError):
    """The hand's record has grown since the page was made."""

    status = 409


# What may still be written once a hand is closed.
AFTER = {
    Standing.RELEASED: ("handed-over", "noted"),
    Standing.HANDED_OVER: ("noted",),
    Standing.SCRAPPED: ("noted",),
}


# The columns of a hand that follow from its record.
PROJECTION = (
    "entry_count", "head_sha256", "standing", "hold_point", "since", "held_by_id", "blocked_by", "sentence",
    "was_refused", "released_at",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class New:
    """An entry to be added. Without a client id it gets one; whoever may send twice brings their own."""

    kind: str
    what: dict[str, Any]
    client_id: str = field(default_factory=lambda: secrets.token_hex(16))


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """An entry as it stands in the record, and whether this call put it there."""

    entry: Entry
    is_new: bool


def canonical(data: dict[str, Any]) -> bytes:
    """The one way these data are written down."""
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    ).encode()


def stamp(at: datetime) -> str:
    """A moment as records write it: UTC, microseconds always."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def by_of(person: Person) -> dict[str, Any]:
    """Who, as records say it: number and role, no name."""
    return {"number": person.number, "called": person.called}


def append(
    hand: Hand,
    news: Sequence[New],
    *,
    person: Person,
    at: datetime | None = None,
    if_count: int | None = None,
) -> list[Added]:
    """Add entries to a hand's chain, all of them or none, and move its standing on.

    Sent twice with the same content, an entry is stored once. `if_count` is the length of the record
    that the caller decided on; if it has grown since, MovedOn is raised and nothing is stored.
    """
    at = at or timezone.now()
    with transaction.atomic():
        locked = Hand.objects.select_for_update().get(pk=hand.pk)
        known = {
            e.client_id: e
            for e in Entry.objects.filter(client_id__in=[n.client_id for n in news]).select_related("hand")
        }
        if if_count is not None and locked.entry_count != if_count and len(known) < len(news):
            raise MovedOn(
                "somebody added to this hand's record meanwhile",
                where=locked.shown_code,
                do="Look at it again, then repeat the step if it still makes sense.",
            )
        added = append_locked(locked, news, person=person, at=at, known=known)
        for name in PROJECTION:
            setattr(hand, name, getattr(locked, name))
    return added


def append_locked(
    locked: Hand, news: Sequence[New], *, person: Person, at: datetime, known: Mapping[str, Entry]
) -> list[Added]:
    """The same for who has begun a transaction, read the hand in it and looked up the client ids already."""
    known = dict(known)
    added: list[Added] = []
    for new in news:
        stored = known.get(new.client_id)
        if stored is not None:
            added.append(_same(stored, new, locked))
            continue
        entry = _made(locked, new, person, at)
        move_on(locked, entry.kind, new.what, person, at)
        known[new.client_id] = entry
        added.append(Added(entry=entry, is_new=True))
    made = [a.entry for a in added if a.is_new]
    if made:
        Entry.objects.bulk_create(made)
        locked.save(update_fields=PROJECTION)
    return added


def _made(hand: Hand, new: New, person: Person, at: datetime) -> Entry:
    if new.kind not in KINDS:
        raise ValueError(f"{new.kind!r} is no kind of entry")
    allowed = AFTER.get(Standing(hand.standing), KINDS)
    if new.kind not in allowed:
        raise Closed(
            f"this hand is {Standing(hand.standing).label}; nothing more is recorded of it",
            where=hand.shown_code,
            do="Write a note instead, or ask the lead.",
        )
    seq = hand.entry_count + 1
    record = canonical(
        {
            "hand": hand.code,
            "seq": seq,
            "prev": hand.head_sha256,
            "kind": new.kind,
            "at": stamp(at),
            "by": by_of(person),
            "client_id": new.client_id,
            "what": new.what,
        }
    )
    digest = sha256(record).hexdigest()
    hand.entry_count, hand.head_sha256 = seq, digest
    return Entry(
        hand=hand,
        seq=seq,
        kind=new.kind,
        client_id=new.client_id,
        person=person,
        at=at,
        record=record,
        sha256=digest,
    )


def _same(stored: Entry, new: New, hand: Hand) -> Added:
    told = stored.told()
    given = {"kind": new.kind, "what": new.what}
    if stored.hand_id != hand.pk or canonical({k: told[k] for k in given}) != canonical(given):
        raise ClientIdTaken(stored, given)
    return Added(entry=stored, is_new=False)
