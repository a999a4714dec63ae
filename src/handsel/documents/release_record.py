"""The release record: who looked at what, which numbers the hand stands on, and what was let pass and why."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from handsel.documents.paper import HandOnPaper, fitted, moment, shown_code, typeset
from handsel.documents.wording import percent, reading
from handsel.errors import OutOfRange
from handsel.inspection.protocol import Severity
from handsel.metrology.quantity import Quantity

HASH = re.compile(r"[0-9a-f]{64}")
IS_NOT = (
    "This is a record of what was looked at, by whom and with what result. It is no certificate: it does not "
    "show that the hand conforms to a law or a standard, and it does not judge the person who will wear it. "
    "Local rules and people licensed to practise come first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldPointSeen:
    """A hold point as it was passed."""

    title: str
    by: tuple[str, ...]  # roles of all who looked, "inspector 2"
    passed_at: datetime | None
    looked_count: int  # characteristics looked at, every place counted [-]
    found_count: int = 0  # of these, not conforming at the first look [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberHeld:
    """A number that the release stands on."""

    code: str
    title: str
    value: Quantity
    asked: str = ""  # the limits in words, "at least 30°"; "" when it was only noted
    p_conform: float | None = None
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Concession:
    """Something that does not conform and was let pass by a named role."""

    code: str
    title: str
    severity: Severity
    reason: str
    by: str
    at: datetime | None = None
    hand_code: str = ""  # in a day's report; "" on the hand's own record

    def __post_init__(self) -> None:
        if self.severity == "critical":
            raise OutOfRange(
                "a critical item is never let pass",
                where=f"concession, {self.title[:80]}",
                do="Put it right, or scrap the hand.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkDone:
    """One rework that was done on the hand."""

    title: str
    by: str
    at: datetime | None = None
    result: str = ""  # "conforms after it"


@dataclass(frozen=True, slots=True, kw_only=True)
class LotUsed:
    """A lot of which something is in the hand."""

    kind: str  # "cord"
    lot: str
    hands_count: int | None = None  # in a day's report: hands it went into [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseRecord:
    """All that is kept on paper of a released hand."""

    hand: HandOnPaper
    released_by: str  # a role, never a name
    released_at: datetime | None
    place: str
    seen: tuple[HoldPointSeen, ...]
    numbers: tuple[NumberHeld, ...]
    head_sha256: str  # of the hand's record chain
    entries_count: int  # in that chain [-]
    concessions: tuple[Concession, ...] = ()
    rework: tuple[ReworkDone, ...] = ()
    lots: tuple[LotUsed, ...] = ()
    notes: tuple[str, ...] = ()
    program_version: str = ""

    def __post_init__(self) -> None:
        grouped_hash(self.head_sha256)


def release_record(record: ReleaseRecord) -> bytes:
    """The release record of one hand on A4, as many pages as it needs.

    Parameters: record.
    Returns: PDF.
    Raises: Unsolved when the page cannot be set or a number is none.
    Valid for: any words in it; nothing is left out, however much there is.
    Source: own layout; numbers as JCGM 100:2008 7.2.6.    Checked by: unit/test_documents_release.py
    """
    hand = record.hand
    data: dict[str, Any] = {
        "title": f"Release record {shown_code(hand.code)}",
        "hand": hand.on_page(),
        "design": _text_rows("design", hand.design.name, hand.design.version, hand.design.sha256),
        "protocol": _text_rows("protocol", hand.protocol.name, hand.protocol.version, hand.protocol.sha256),
        "released": " · ".join(
            filter(
                None,
                (fitted(record.released_by, 40), moment(record.released_at), fitted(record.place, 80)),
            )
        ),
        "seen": [_seen(s) for s in record.seen],
        "numbers": [_number(n) for n in record.numbers],
        "conceded": [conceded_row(c) for c in record.concessions],
        "rework": [_done(r) for r in record.rework],
        "lots": [[fitted(x.kind, 30), fitted(x.lot, 60)] for x in record.lots],
        "notes": [fitted(n, 400) for n in record.notes],
        "head": grouped_hash(record.head_sha256),
        "entries": record.entries_count,
        "is_not": IS_NOT,
        "program": fitted(record.program_version, 30),
    }
    return typeset("release_record.typ", data, where="release record")


def grouped_hash(sha256: str) -> str:
    """A fingerprint in groups of four, as a person compares it.

    Parameters: sha256, 64 hexadecimal figures.
    Returns: 16 groups with a space between.
    Raises: OutOfRange when it is no such fingerprint.
    Valid for: SHA-256 in small letters.    Source: own rule.    Checked by: unit/test_documents_release.py
    """
    if not HASH.fullmatch(sha256):
        raise OutOfRange(
            f"the fingerprint is {sha256[:20]!r}; expected 64 figures from 0 to f",
            where="record",
            do="Verify the records; print the paper again after that.",
        )
    return " ".join(sha256[k : k + 4] for k in range(0, 64, 4))


def conceded_row(c: Concession) -> dict[str, str]:
    """A concession as it is printed: what, how grave, why, who and when.

    Parameters: c.    Returns: texts by their place on the page.    Raises: nothing.
    Valid for: any concession.    Source: own layout.    Checked by: unit/test_documents_release.py
    """
    return {
        "code": fitted(c.code, 6),
        "title": fitted(c.title, 200),
        "severity": c.severity,
        "reason": fitted(c.reason, 500),
        "by": " · ".join(filter(None, (fitted(c.by, 40), moment(c.at)))),
        "hand": fitted(shown_code(c.hand_code), 12, word=8),
    }


def _text_rows(kind: str, name: str, version: str, sha256: str) -> list[str]:
    return [kind, f"{fitted(name, 60)} {fitted(version, 20)}", grouped_hash(sha256)]


def _seen(s: HoldPointSeen) -> list[str]:
    looked = f"{s.looked_count} looked at"
    found = f", {s.found_count} not so at first" if s.found_count else ""
    return [fitted(s.title, 40, word=12), fitted(", ".join(s.by), 120), moment(s.passed_at), looked + found]


def _done(r: ReworkDone) -> list[str]:
    return [fitted(r.title, 200), fitted(r.by, 40, word=12), moment(r.at), fitted(r.result, 120, word=16)]


def _number(n: NumberHeld) -> list[str]:
    sure = "" if n.p_conform is None else percent(n.p_conform)
    asked = fitted(n.asked, 60, word=14) if n.asked else "noted"
    said = fitted(reading(n.value), 60, word=14)
    return [fitted(n.code, 6), fitted(n.title, 160), said, asked, sure, fitted(n.by, 30, word=12)]
