"""What the columns of a hand must say, told from its record alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.db import DatabaseError

from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand, KeptText, Standing
from handsel.bench.hands.standing import move_on
from handsel.bench.people.models import Person
from handsel.bench.records.chains import Row, Walk
from handsel.errors import HandselError

# What the first entry fixes: column of Hand and key of the entry.
BEGUN = (
    ("recipient_code", "recipient"),
    ("serial", "serial"),
    ("side", "side"),
    ("scale_ratio", "scale_ratio"),
    ("target_rest_angle_deg", "target_rest_angle_deg"),
    ("latex_sensitive", "latex_sensitive"),
    ("practice", "practice"),
)
WORDS = {
    "recipient_code": "recipient",
    "serial": "serial number",
    "side": "side",
    "scale_ratio": "scale",
    "target_rest_angle_deg": "wished rest angle",
    "latex_sensitive": "latex note",
    "practice": "practice note",
    "design_id": "design",
    "protocol_id": "protocol",
    "begun_at": "time it was begun",
    "standing": "standing",
    "hold_point": "hold point",
    "since": "time since when it stands so",
    "held_by_id": "holder",
    "blocked_by": "reason it is held back",
    "sentence": "sentence of the last decision",
    "was_refused": "note that it was refused once",
    "released_at": "time of release",
}


class Fold:
    """A hand told anew, one entry at a time."""

    def __init__(
        self, people: Mapping[Any, Person], first_hold_point: Callable[[str], str | None] | None = None
    ) -> None:
        self.people = people
        self.first_hold_point = first_hold_point or _first_kept  # of a protocol, by its fingerprint
        self.hand: Hand | None = None
        self.broken_at: int | None = None  # entry after which nothing more can be told

    def add(self, row: Row, told: dict[str, Any]) -> None:
        """Take in one entry."""
        if self.broken_at is not None:
            return
        person = self.people.get(told["by"]["number"])
        try:
            if person is None:
                raise LookupError(told["by"]["number"])
            if told["kind"] == "begun":
                self.hand = _begun(row, told["what"], self.first_hold_point)
            if self.hand is None:
                raise LookupError("begun")
            _changed(self.hand, told["kind"], told["what"])
            move_on(self.hand, told["kind"], told["what"], person, row.at)
        except (LookupError, TypeError, ValueError, AttributeError, HandselError, KeptText.DoesNotExist):
            self.broken_at = row.seq

    def compare(self, hand: Hand, walk: Walk) -> None:
        """Hold the stored columns against what the record tells."""
        if self.broken_at is not None:
            walk.find("changed", "what it says makes no sense after the entries before it", self.broken_at)
            return
        if self.hand is None:
            return
        for column, word in WORDS.items():
            stored, found = getattr(hand, column), getattr(self.hand, column)
            if stored != found:
                walk.find(
                    "standing",
                    f"the {word} kept beside the record says {stored!s}; the record says {found!s}",
                )


def _first_kept(fingerprint: str) -> str:
    return protocol_kept(fingerprint).hold_points[0].id


def _begun(row: Row, what: dict[str, Any], first_hold_point: Callable[[str], str | None]) -> Hand:
    hold_point = first_hold_point(what["protocol"]["sha256"])
    if hold_point is None:
        raise LookupError("protocol")
    return Hand(
        **{column: what[key] for column, key in BEGUN},
        design_id=what["design"]["sha256"],
        protocol_id=what["protocol"]["sha256"],
        begun_at=row.at,
        since=row.at,
        standing=Standing.BUILDING,
        hold_point=hold_point,
    )


def _changed(hand: Hand, kind: str, what: dict[str, Any]) -> None:
    if kind == "judged-by":
        hand.protocol_id = what["protocol"]["sha256"]
    elif kind == "changed" and what["field"] in dict(BEGUN):
        setattr(hand, what["field"], what["new"])


def everyone() -> dict[int, Person]:
    """All people by number; a bench has tens of them, an organisation's thousands still fit."""
    try:
        return {p.number: p for p in Person.objects.all()}
    except DatabaseError:
        return {}
