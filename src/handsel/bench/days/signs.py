"""What is worth the lead's look on hands in work: two people who saw it differently, groups tapped through.

Read from the entries of the hands that a page shows, in one query, and remembered for as long as a
record stays as long as it is. Said as it is; nobody is blamed.
"""

from __future__ import annotations

from collections import OrderedDict, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from handsel.bench.hands.casebook import Told, out_of_force, protocol_kept, read
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.looking.tapping import blind_runs
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import AnswerRule

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
        told: dict[int, list[Entry]] = defaultdict(list)
        for entry in Entry.objects.filter(hand__in=[h.pk for h in fresh], kind__in=KINDS).order_by(
            "hand_id", "seq"
        ):
            told[entry.hand_id].append(entry)
        for hand in fresh:
            found[hand.pk] = _signs(hand, read(told[hand.pk]))
        with _lock:
            for hand in fresh:
                _remembered[(hand.pk, hand.head_sha256)] = found[hand.pk]
            while len(_remembered) > MOST_REMEMBERED:
                _remembered.popitem(last=False)
    return found


def _signs(hand: Hand, told: tuple[Told, ...]) -> Signs:
    if not told:
        return Signs()
    quick = tuple(run.sentence for run in blind_runs(told))
    return Signs(differ=differing(told, protocol_kept(hand.protocol_id)), quick=quick)


def differing(told: Sequence[Told], protocol: Protocol) -> tuple[str, ...]:
    """Titles of what two people answered differently since the last rework, each once.

    Numbers are left out: two readings of one angle are never alike, and the core weighs both. A group taken
    as shown says what a sound hand would, unless the same person said otherwise of one of its items.
    """
    gone = out_of_force(told)
    said: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    shown: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for t in told:
        if t.seq in gone:
            continue
        if t.kind == "did" and t.what.get("is_rework"):
            said.clear()
            shown.clear()
        elif t.kind == "observed" and isinstance(t.what.get("answer"), str):
            said[(t.what["of"], t.what.get("place", ""))][t.looker] = t.what["answer"]
        elif t.kind == "as-shown":
            for c in protocol.members(t.what["group"]):
                if isinstance(c.rule, AnswerRule) and c.rule.decides and c.severity != "critical":
                    for place in protocol.places(c.per):
                        shown[(c.id, place)][t.looker] = c.rule.accepted[0]
    titles: dict[str, None] = {}
    for key, answers in said.items():
        found = protocol.characteristic(key[0])
        together = shown.get(key, {}) | answers
        if found is not None and len(set(together.values())) > 1:
            titles[f"{found.title} ({key[1]})" if key[1] else found.title] = None
    return tuple(titles)
