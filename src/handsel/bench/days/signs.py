"""What is worth the lead's look on hands in work: two people who saw it differently, groups tapped through.

Read from the entries of the hands that a page shows, in one query, and remembered for as long as a
record stays as long as it is. Said as it is; nobody is blamed.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from threading import Lock

from handsel.bench.hands.casebook import Told, case_of, protocol_kept, told_of_all
from handsel.bench.hands.models import Hand
from handsel.bench.hands.words import characteristic_words
from handsel.bench.looking.standing_answers import differences
from handsel.bench.looking.tapping import blind_runs
from handsel.inspection.protocol import Protocol

MOST_REMEMBERED = 2_000
KINDS = ("observed", "as-shown", "withdrawn", "did")


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What was noticed on one hand."""

    differ: tuple[str, ...] = ()  # titles of what two people answered differently
    quick: tuple[str, ...] = ()  # runs of taps too quick to have looked, in words

    @property
    def words(self) -> tuple[str, ...]:
        """For the lead, one phrase each."""
        said = []
        if self.differ:
            more = f" and {len(self.differ) - 1} more" if len(self.differ) > 1 else ""
            said.append(f"two people differ: {self.differ[0]}{more}")
        said.extend(self.quick[-2:])
        return tuple(said)


_remembered: OrderedDict[tuple[int, str], Signs] = OrderedDict()
_lock = Lock()


def signs_of(hands: Sequence[Hand]) -> dict[int, Signs]:
    """The signs of several hands by primary key; one query for those whose records have grown."""
    with _lock:
        found = {h.pk: s for h in hands if (s := _remembered.get((h.pk, h.head_sha256))) is not None}
    fresh = [h for h in hands if h.pk not in found]
    if fresh:
        told = told_of_all([h.pk for h in fresh])
        for hand in fresh:
            found[hand.pk] = _signs(hand, tuple(t for t in told[hand.pk] if t.kind in KINDS and not t.is_for_causes))
        with _lock:
            for hand in fresh:
                _remembered[(hand.pk, hand.head_sha256)] = found[hand.pk]
            while len(_remembered) > MOST_REMEMBERED:
                _remembered.popitem(last=False)
    return found


def _signs(hand: Hand, told: tuple[Told, ...]) -> Signs:
    if not told:
        return Signs()
    runs = blind_runs(told)
    protocol = protocol_kept(hand.protocol_id)
    if not _looked_twice(told, protocol):
        return Signs(quick=tuple(run.sentence for run in runs))
    pairs = differences(told, case_of(hand, told), protocol)
    titles = dict.fromkeys(characteristic_words(a.of, a.place or b.place, protocol) for a, b in pairs)
    return Signs(differ=tuple(titles), quick=tuple(run.sentence for run in runs))


def _looked_twice(told: tuple[Told, ...], protocol: Protocol) -> bool:
    """Whether two people looked at one and the same thing; else nothing can differ, and most hands end here."""
    by: dict[str, int] = {}
    for t in told:
        if t.kind == "observed":
            things: Iterable[str] = (t.what["of"],)
        elif t.kind == "as-shown":
            things = (c.id for c in protocol.members(t.what["group"]))
        else:
            continue
        number = t.by["number"]
        if any(by.setdefault(thing, number) != number for thing in things):
            return True
    return False
