"""The day report: how the hands stand, what was found most, and the figure that holds the day's records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite
from typing import Any

from handsel.documents.paper import fitted, shown_code, typeset
from handsel.documents.release_record import Concession, LotUsed, conceded_row, grouped_hash
from handsel.errors import OutOfRange

MOST_FOUND = 12  # rows of what was found; the rest is counted
PROVES = (
    "Kept outside this computer, this figure shows later whether any entry of the day was changed; without "
    "such a copy, a record that was recomputed as a whole cannot be told from the true one."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandCount:
    """How many hands stand somewhere."""

    stand: str  # "ready to fit"
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstTime:
    """How many hands passed a hold point at the first look."""

    hold_point: str
    looked_count: int
    passed_count: int
    low_ratio: float | None = None  # 95 % interval of the share [-]
    high_ratio: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.passed_count <= self.looked_count:
            raise OutOfRange(
                f"{self.passed_count} of {self.looked_count} hands passed at the first look",
                where=f"day report, {self.hold_point[:40]}",
                do="Count again: not more can pass than were looked at.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundMost:
    """One finding and on how many hands it was made."""

    code: str
    title: str
    hands_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkCount:
    """One rework and how often it was done."""

    title: str
    count: int
    minutes: float | None = None  # spent on it altogether [min]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scrapped:
    """A hand that was given up."""

    hand_code: str
    reason: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeTaken:
    """How long something took per hand."""

    what: str
    hands_count: int
    median_minutes: float
    longest_minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindRun:
    """A run of answers faster than anyone can look. It is shown, and accuses nobody."""

    hand_code: str
    hold_point: str
    by: str
    answers_count: int
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DayReport:
    """One build day."""

    day: date
    place: str
    stands: tuple[StandCount, ...]
    first_time: tuple[FirstTime, ...]
    found: tuple[FoundMost, ...]  # most often first
    root_sha256: str  # over the heads of all hands
    hands_count: int  # whose heads are in the root [-]
    entries_count: int
    rework: tuple[ReworkCount, ...] = ()
    concessions: tuple[Concession, ...] = ()
    scrapped: tuple[Scrapped, ...] = ()
    times: tuple[TimeTaken, ...] = ()
    lots: tuple[LotUsed, ...] = ()
    blind: tuple[BlindRun, ...] = ()
    saved: tuple[str, ...] = ()  # codes of hands that did not conform at first and then passed
    sentences: tuple[str, ...] = ()  # what to learn from it, in hand words
    program_version: str = ""


def day_report(report: DayReport) -> bytes:
    """The report of a build day on A4, as many pages as it needs.

    Parameters: report.
    Returns: PDF.
    Raises: OutOfRange when the root is no fingerprint; Unsolved when the page cannot be set.
    Valid for: any words in it. Of the findings the first twelve are listed and the rest counted; all else
        is printed in full.
    Source: own layout.    Checked by: unit/test_documents_day_report.py
    """
    r = report
    data: dict[str, Any] = {
        "title": f"Day report {r.day.isoformat()}",
        "day": r.day.isoformat(),
        "place": fitted(r.place, 120),
        "stands": [[str(s.count), fitted(s.stand, 30, word=12)] for s in r.stands],
        "total": sum(s.count for s in r.stands),
        "saved": [_code(c) for c in r.saved],
        "first_time": [_first_time(f) for f in r.first_time],
        "found": _bars(
            [(fitted(f.code, 6), fitted(f.title, 160), f.hands_count) for f in r.found[:MOST_FOUND]]
        ),
        "found_more": max(0, len(r.found) - MOST_FOUND),
        "rework": [
            [fitted(x.title, 160, word=14), f"{x.count} ×", minutes_text(x.minutes)] for x in r.rework
        ],
        "conceded": [conceded_row(c) for c in r.concessions],
        "scrapped": [
            [_code(s.hand_code), fitted(s.reason, 400), fitted(s.by, 40, word=12)] for s in r.scrapped
        ],
        "times": [
            [
                fitted(t.what, 80, word=14),
                f"{t.hands_count}",
                minutes_text(t.median_minutes),
                minutes_text(t.longest_minutes),
            ]
            for t in r.times
        ],
        "lots": [
            [fitted(x.kind, 30, word=10), fitted(x.lot, 60, word=14), _hands(x.hands_count)] for x in r.lots
        ],
        "blind": [_blind(b) for b in r.blind],
        "sentences": [fitted(s, 400) for s in r.sentences],
        "root": grouped_hash(r.root_sha256),
        "of": f"{_hands(r.hands_count)}, {r.entries_count} {'entry' if r.entries_count == 1 else 'entries'}",
        "proves": PROVES,
        "program": fitted(r.program_version, 30),
    }
    return typeset("day_report.typ", data, where="day report")


def minutes_text(minutes: float | None) -> str:
    """A span as people say it: "45 s", "12 min", "1 h 05 min".

    Parameters: minutes [min], or None when it is not known.    Returns: text, "" for None.
    Raises: nothing.    Valid for: spans from 0 on; what is no number is shown as "".
    Source: own rule.    Checked by: unit/test_documents_day_report.py
    """
    if minutes is None or not isfinite(minutes) or minutes < 0:
        return ""
    if round(60 * minutes) < 60:
        return f"{round(60 * minutes)} s"
    whole = round(minutes)
    if whole < 60:
        return f"{minutes:.1f} min" if minutes < 9.95 else f"{whole} min"
    return f"{whole // 60} h {whole % 60:02d} min"


def _code(code: str) -> str:
    return fitted(shown_code(code), 12, word=8)


def _hands(count: int | None) -> str:
    if count is None:
        return ""
    return "1 hand" if count == 1 else f"{count} hands"


def _first_time(f: FirstTime) -> dict[str, Any]:
    share = f.passed_count / f.looked_count if f.looked_count else 0.0
    between = ""
    if f.low_ratio is not None and f.high_ratio is not None:
        between = f"{100 * f.low_ratio:.0f} to {100 * f.high_ratio:.0f} %"
    return {
        "title": fitted(f.hold_point, 40, word=12),
        "said": f"{f.passed_count} of {f.looked_count}",
        "share": share,
        "between": between,
    }


def _bars(rows: Sequence[tuple[str, str, int]]) -> list[dict[str, Any]]:
    """Counts with their length against the largest, so that the eye can compare them."""
    most = max((count for _, _, count in rows), default=0) or 1
    return [{"code": c, "title": t, "count": n, "share": n / most} for c, t, n in rows]


def _blind(b: BlindRun) -> list[str]:
    took = f"{b.answers_count} answers in {b.seconds:.0f} s" if isfinite(b.seconds) else ""
    return [_code(b.hand_code), fitted(b.hold_point, 40, word=14), fitted(b.by, 40, word=14), took]
