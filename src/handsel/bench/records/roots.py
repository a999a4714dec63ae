"""The root that a day report prints, found again later although the records have grown since.

A day's entries are told again in the order in which they came; after each of them the root is what a
report printed at that moment would show. Entries are never changed, so the one on paper must be among them.
"""

from __future__ import annotations

import re
from bisect import insort
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from handsel.bench.days.models import Day
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.root import root_of
from handsel.errors import OutOfRange

SHORTEST = 16  # digits of a root; more than anyone could hit by trying
MOST_STEPS = 30_000_000  # lines hashed in a search, a minute's work


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRoot:
    """A day's root as it stands."""

    title: str
    opened_at: datetime
    root_sha256: str
    hands_count: int
    entries_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """A root from paper, met again."""

    title: str
    entries_count: int  # how long the day's record was then
    last_at: datetime


def day_roots() -> list[DayRoot]:
    """The roots of all days as they stand now."""
    return [
        DayRoot(
            title=day.title,
            opened_at=day.opened_at,
            root_sha256=root_of(day),
            hands_count=Hand.objects.filter(day=day).count(),
            entries_count=Entry.objects.filter(hand__day=day).count(),
        )
        for day in Day.objects.order_by("opened_at")
    ]


def typed_root(text: str) -> str:
    """A root as somebody typed it off the paper: groups and case do not matter, its beginning is enough."""
    digits = re.sub(r"[\s:.\-\u00b7]", "", text).lower()
    if not re.fullmatch(r"[0-9a-f]+", digits) or not SHORTEST <= len(digits) <= 64:
        raise OutOfRange(
            f"this is no root: it has {len(digits)} characters and should be digits and the letters a to f",
            where="--root",
            do=f"Type at least the first {SHORTEST} characters of the root on the day report.",
        )
    return digits


def meet(root: str, entries_count: int | None = None) -> Met | None:
    """Where in a day's record this root was its root; None when it never was.

    With the number of entries that the report prints beside it, only that moment is tried.
    """
    for day in Day.objects.order_by("-opened_at"):
        found = _meet(day, root, entries_count)
        if found is not None:
            return found
    return None


def _meet(day: Day, root: str, entries_count: int | None) -> Met | None:
    total = Entry.objects.filter(hand__day=day).count()
    hands = Hand.objects.filter(day=day).count()
    if entries_count is None and total * hands > MOST_STEPS:
        raise OutOfRange(
            f"the day {day.title!r} is too large to try every moment of it",
            where="--root",
            do="Give --entries too: the day report prints it beside the root.",
        )
    heads: dict[str, str] = {}
    codes: list[str] = []
    of = Entry.objects.filter(hand__day=day).order_by("pk").values_list("hand__code", "sha256", "at")
    for n, (code, digest, at) in enumerate(of.iterator(chunk_size=500), start=1):
        if code not in heads:
            insort(codes, code)
        heads[code] = digest
        if entries_count not in (None, n):
            continue
        lines = "".join(f"{c}:{heads[c]}\n" for c in codes)
        if sha256(lines.encode("ascii")).hexdigest().startswith(root):
            return Met(title=day.title, entries_count=n, last_at=at)
        if entries_count == n:
            return None
    return None
