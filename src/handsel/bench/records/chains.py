"""One hand's chain, walked from its first entry to its last without holding more than one entry."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any

from handsel.bench.hands.chain import KINDS, canonical, stamp
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.records.findings import Finding

FIELDS = ("hand", "seq", "prev", "kind", "at", "by", "client_id", "what")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """An entry as the database has it."""

    seq: int
    kind: str
    client_id: str
    person_number: int | None
    at: datetime
    record: bytes
    sha256: str


def rows_of(hand: Hand) -> Iterator[Row]:
    """A hand's entries in order, a few at a time."""
    columns = ("seq", "kind", "client_id", "person__number", "at", "record", "sha256")
    of = Entry.objects.filter(hand_id=hand.pk).order_by("seq", "pk").values_list(*columns)
    for seq, kind, client_id, number, at, record, digest in of.iterator(chunk_size=200):
        yield Row(
            seq=seq,
            kind=kind,
            client_id=client_id,
            person_number=number,
            at=at,
            record=bytes(record),
            sha256=digest,
        )


@dataclass(slots=True, kw_only=True)
class Walk:
    """Where a walk along a chain has come to, and what it found."""

    code: str
    seq: int = 0
    stored_sha256: str = ""  # what the last row says of itself
    bytes_sha256: str = ""  # what its bytes say
    last_was_found: bool = False
    findings: list[Finding] = field(default_factory=list)

    def find(self, kind: str, what: str, seq: int | None = None) -> None:
        """Note a finding."""
        self.findings.append(Finding(kind=kind, what=what, hand=self.code, seq=seq))


def walk(code: str, rows: Iterable[Row], each: Callable[[Row, dict[str, Any]], None]) -> Walk:
    """Hold every row against its own bytes and against the one before; `each` gets those that can be read."""
    w = Walk(code=code)
    for row in rows:
        told = step(w, row)
        if told is not None:
            each(row, told)
    return w


def step(w: Walk, row: Row) -> dict[str, Any] | None:
    """Go on by one row; what it says, if that can be read."""
    count = len(w.findings)
    gap = _in_place(w, row)
    told = _read(w, row)
    if told is not None:
        _fits_columns(w, row, told)
        if not gap:
            _follows(w, row, told)
    w.last_was_found = len(w.findings) > count
    w.seq = max(w.seq, row.seq)
    w.stored_sha256, w.bytes_sha256 = row.sha256, sha256(row.record).hexdigest()
    return told


def _in_place(w: Walk, row: Row) -> bool:
    """Whether rows before this one are missing or stand twice."""
    expected = w.seq + 1
    if row.seq == expected:
        return False
    if row.seq < expected:
        w.find("moved", "two entries have this number", row.seq)
    elif row.seq == expected + 1:
        w.find("missing", "it is gone from the record", expected)
    else:
        w.find("missing", f"it and those up to {row.seq - 1} are gone from the record", expected)
    return True


def _read(w: Walk, row: Row) -> dict[str, Any] | None:
    """The record as data, if it is one."""
    if sha256(row.record).hexdigest() != row.sha256:
        w.find("changed", "its content was changed: it no longer has its fingerprint", row.seq)
    try:
        told = json.loads(row.record)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or sorted(told) != sorted(FIELDS) or not _has_forms(told):
        w.find("changed", "it cannot be read as an entry any more", row.seq)
        return None
    if canonical(told) != row.record:
        w.find("changed", "it is not written the way entries are", row.seq)
    return told


def _has_forms(told: dict[str, Any]) -> bool:
    by = told["by"]
    return (
        all(isinstance(told[k], str) for k in ("hand", "prev", "kind", "at", "client_id"))
        and isinstance(told["seq"], int)
        and isinstance(told["what"], dict)
        and isinstance(by, dict)
        and isinstance(by.get("number"), int)
        and told["kind"] in KINDS
    )


def _fits_columns(w: Walk, row: Row, told: dict[str, Any]) -> None:
    """The columns beside the record are only there for looking things up; they must say the same."""
    if told["hand"] != w.code:
        w.find("moved", f"it belongs to the hand {told['hand'][:12]!r}", row.seq)
    if told["seq"] != row.seq:
        w.find("moved", f"it was written as entry {told['seq']} and stands in another place", row.seq)
    for name, beside, inside in (
        ("kind", row.kind, told["kind"]),
        ("client id", row.client_id, told["client_id"]),
        ("person's number", row.person_number, told["by"]["number"]),
        ("time", stamp(row.at), told["at"]),
    ):
        if beside != inside:
            what = (
                f"the {name} beside it was changed: it says {beside!r}, the entry says {str(inside)[:64]!r}"
            )
            w.find("column", what, row.seq)


def _follows(w: Walk, row: Row, told: dict[str, Any]) -> None:
    prev = told["prev"]
    if prev == w.stored_sha256 or (w.last_was_found and prev == w.bytes_sha256):
        return
    if row.seq == 1:
        w.find("link", "it does not begin a record, as the first entry must", row.seq)
    elif not w.last_was_found:
        what = f"it does not follow from entry {w.seq}: that one, or this one, was changed and its fingerprint too"
        w.find("link", what, row.seq)
