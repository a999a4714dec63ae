"""Holding all records against themselves: is anything other than it was written?

Memory stays bounded: one entry at a time. The bench may go on working meanwhile: what looks wrong about a
hand that grew while it was read is looked at again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from django.db import DatabaseError

from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.people.models import Person
from handsel.bench.photos.models import Photo
from handsel.bench.records import surroundings
from handsel.bench.records.chains import Walk, rows_of, walk
from handsel.bench.records.findings import MOST_OF_ONE_HAND, Finding
from handsel.bench.records.folding import Fold, everyone
from handsel.bench.records.roots import DayRoot, Met, day_roots, meet
from handsel.bench.records.surroundings import few

MOST_FINDINGS = 500
# What nobody can tell from the records alone, said with every result.
LIMITS = (
    "This finds changes to single records. Whoever could write the whole database could also compute every "
    "fingerprint anew, and nothing on this computer would show it. Only a root kept elsewhere does: "
    "compare with the root on the printed day report."
)
NOT_COVERED = "Names of people, notes on lots and a day's settings are not part of a chain and may be edited."

Progress = Callable[[int, int], None]  # how many of how many


@dataclass(slots=True, kw_only=True)
class Verified:
    """What was looked at and what was found."""

    hands_count: int = 0
    entries_count: int = 0
    texts_count: int = 0
    photos_count: int = 0
    findings: list[Finding] = field(default_factory=list)
    more_count: int = 0  # findings beyond those listed
    roots: list[DayRoot] = field(default_factory=list)
    root: str = ""  # typed in from paper
    met: Met | None = None

    @property
    def is_good(self) -> bool:
        """Nothing was found, and a root from paper, if one was given, was met."""
        return not self.findings and (not self.root or self.met is not None)

    def add(self, findings: list[Finding]) -> None:
        """Keep as many as are read, count the rest."""
        room = max(0, MOST_FINDINGS - len(self.findings))
        self.findings += findings[:room]
        self.more_count += max(0, len(findings) - room)


def verify(*, root: str = "", entries_count: int | None = None, progress: Progress | None = None) -> Verified:
    """Look at everything. Never writes."""
    v = Verified(root=root)
    steps = surroundings.hands_count() + KeptText.objects.count() + Photo.objects.count()
    done = 0
    try:
        v.add(few(surroundings.database(), MOST_FINDINGS))
        people = everyone()
        for findings, entries_count_here in _hands(people):
            v.hands_count, v.entries_count = v.hands_count + 1, v.entries_count + entries_count_here
            v.add(findings)
            done = _tell(progress, done, steps)
        for finding in surroundings.texts():
            v.texts_count += 1
            v.add([finding] if finding is not None else [])
            done = _tell(progress, done, steps)
        for finding in surroundings.photos():
            v.photos_count += 1
            v.add([finding] if finding is not None else [])
            done = _tell(progress, done, steps)
        v.roots = day_roots()
        if root:
            v.met = meet(root, entries_count)
    except DatabaseError as error:
        # Not one of ours to judge by: the file itself cannot be read to its end.
        v.add([Finding(kind="database", what=f"the database cannot be read any further ({error})")])
    return v


def _tell(progress: Progress | None, done: int, steps: int) -> int:
    done += 1
    if progress is not None:
        progress(done, max(done, steps))
    return done


def _hands(people: dict[int, Person]) -> Iterator[tuple[list[Finding], int]]:
    for pk in Hand.objects.order_by("pk").values_list("pk", flat=True).iterator(chunk_size=500):
        yield one_hand(pk, people)


def one_hand(pk: int, people: dict[int, Person]) -> tuple[list[Finding], int]:
    """What is found about one hand, and how many entries it has."""
    while True:
        hand = Hand.objects.select_related("protocol").filter(pk=pk).first()
        if hand is None:
            return [], 0
        fold = Fold(people)
        w = walk(hand.code, rows_of(hand), fold.add)
        _end(hand, w)
        if not w.findings:
            fold.compare(hand, w)
        grown = w.findings and Hand.objects.filter(pk=pk).exclude(head_sha256=hand.head_sha256).exists()
        if not grown:
            return _short(w.findings), w.seq
        people.update(everyone())


def _end(hand: Hand, w: Walk) -> None:
    """The last entry against what the hand's row keeps of it."""
    if w.seq < hand.entry_count:
        gone = hand.entry_count - w.seq
        last = "is gone from" if gone == 1 else f"and all after it, {gone} entries, are gone from"
        w.find("missing", f"it {last} the end of the record", w.seq + 1)
    elif w.seq > hand.entry_count:
        w.find("head", f"the row of this hand counts {hand.entry_count} entries; there are {w.seq}", w.seq)
    elif w.stored_sha256 != hand.head_sha256 and not w.last_was_found:
        w.find("head", "the fingerprint that this hand's row keeps of its last entry is another", w.seq)


def _short(findings: list[Finding]) -> list[Finding]:
    if len(findings) <= MOST_OF_ONE_HAND:
        return findings
    more = len(findings) - MOST_OF_ONE_HAND
    last = Finding(kind="changed", what=f"and {more} more findings in this hand", hand=findings[0].hand)
    return [*findings[:MOST_OF_ONE_HAND], last]
