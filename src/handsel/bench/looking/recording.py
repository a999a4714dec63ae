"""Storing what a phone sends: whole or not at all, each entry once, nothing overwritten."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.hands.casebook import Told, case_of, out_of_force, protocol_kept, read, told_of
from handsel.bench.hands.chain import AFTER, KINDS, New, append_locked, by_of, stamp
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking import by_photo
from handsel.bench.looking.answering import known, prepare
from handsel.bench.looking.checking import Ground, Refusal
from handsel.bench.looking.sent import AnySent, AsShown, Observed, Withdrawn, read_one, what_of
from handsel.bench.looking.standing_answers import Said, differ, said_by_now, said_of, shown_answer
from handsel.bench.people.models import Person
from handsel.inspection.deciding import due
from handsel.inspection.protocol import HAND
from handsel.inspection.standing import Timeline

ADDED_HERE = ("corrects", "covers", "u", "u_from", "saw")  # fields of an entry that the phone did not send
STORED, SAME, CONFLICT, REFUSED, OTHER = "stored", "same", "conflict", "refused", "other person"


@dataclass(kw_only=True)
class Outcome:
    """What became of one entry."""

    client_id: str
    state: str
    seq: int | None = None
    what: str = ""
    do: str = ""
    stored: dict[str, Any] | None = None  # of a conflict: what is on record
    differs: list[dict[str, Any]] = field(default_factory=list)

    def as_data(self) -> dict[str, Any]:
        """For the phone."""
        told = {
            "id": self.client_id,
            "state": self.state,
            "seq": self.seq,
            "what": self.what,
            "do": self.do,
            "stored": self.stored,
            "differs": self.differs,
        }
        return {k: v for k, v in told.items() if v not in (None, "", [])}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What became of a batch, and what others added to the hand meanwhile."""

    outcomes: list[Outcome]
    count: int
    hand: Hand
    others: list[dict[str, Any]]

    def as_data(self) -> dict[str, Any]:
        """For the phone."""
        return {
            "count": self.count,
            "hold_point": self.hand.hold_point,
            "standing": self.hand.standing,
            "results": [o.as_data() for o in self.outcomes],
            "others": self.others,
        }


def record_batch(hand: Hand, entries: Iterable[dict[str, Any]], person: Person) -> Recorded:
    """Store what fits and say of every entry what became of it. One transaction."""
    entries = list(entries)
    ahead = _Record(hand)  # read before the turn to write comes, so that others wait less
    with transaction.atomic():
        locked = Hand.objects.select_for_update().get(pk=hand.pk)
        desk = _Desk(locked, person, _stored(entries), ahead if ahead.is_of(locked) else _Record(locked))
        outcomes = [desk.take(data) for data in entries]
        if desk.news:
            # What is known under these ids was taken out already; each id comes once.
            for added in append_locked(locked, desk.news, person=person, at=desk.at, known={}):
                desk.by_id[added.entry.client_id].seq = added.entry.seq
        if desk.all_seen():
            transaction.on_commit(lambda: prepare(known(locked)))
    return Recorded(outcomes=outcomes, count=locked.entry_count, hand=locked, others=desk.others_since())


def _stored(entries: Iterable[Mapping[str, Any]]) -> dict[str, Entry]:
    """What is on record already under the ids of a batch, and under those that it undoes."""
    named = [e.get(k) for e in entries for k in ("client_id", "undoes")]
    ids = {n for n in named if isinstance(n, str) and len(n) <= 64}
    found = Entry.objects.filter(client_id__in=ids)
    return {e.client_id: e for e in found}


class _Record:
    """A hand's record as read, and what stands in it."""

    def __init__(self, hand: Hand) -> None:
        self.head_sha256 = hand.head_sha256
        self.told = told_of(hand)
        self.protocol = protocol_kept(hand.protocol_id)
        self.case = case_of(hand, self.told)
        self.timeline = Timeline(self.case, self.protocol)
        self.said = said_by_now(self.told, self.case, self.protocol)

    def is_of(self, locked: Hand) -> bool:
        """Whether the record is still as it was read; all that is judged by is written in it."""
        return self.head_sha256 == locked.head_sha256 and len(self.told) == locked.entry_count


class _Desk:
    """One batch being taken: what stands, growing as entries are accepted."""

    def __init__(self, hand: Hand, person: Person, stored: dict[str, Entry], record: _Record) -> None:
        self.hand, self.person, self.stored, self.at = hand, person, stored, timezone.now()
        self.told: list[Told] = list(record.told)
        self.protocol, self.case = record.protocol, record.case
        done = self.case.done
        self.ground = Ground(
            hand=hand,
            protocol=self.protocol,
            case=self.case,
            timeline=record.timeline,
            last_done=done[-1].called if done else "",
        )
        self.said: list[Said] = list(record.said)
        self.news: list[New] = []
        self.by_id: dict[str, Outcome] = {}
        self.accepted: dict[str, int] = {}  # client id: the seq it will have
        self.phone_knew = hand.entry_count

    # ---- one entry ------------------------------------------------------------------------------

    def take(self, data: Mapping[str, Any]) -> Outcome:
        """Read, check and accept one entry; it is stored with the others at the end."""
        sent = read_one(dict(data))
        if isinstance(sent, str):
            given = data.get("client_id")
            name = given[:64] if isinstance(given, str) else ""
            return Outcome(client_id=name, state=REFUSED, what=f"this was not understood: {sent}", do=RELOAD)
        if sent.client_id in self.by_id:
            again = self.by_id[sent.client_id]
            return Outcome(client_id=sent.client_id, state=SAME, seq=again.seq, what=again.what)
        outcome = self._known(sent) or self._new(sent)
        self.by_id[sent.client_id] = outcome
        return outcome

    def _known(self, sent: AnySent) -> Outcome | None:
        """An entry that was sent before: the same, or something else under its id."""
        self.phone_knew = min(self.phone_knew, sent.seen_count)
        entry = self.stored.get(sent.client_id)
        if entry is None:
            return None
        (t,) = read([entry])
        undone = t.what.get("seq") if isinstance(sent, Withdrawn) else None
        mine = what_of(sent, undone_seq=undone)
        kept = {k: v for k, v in t.what.items() if k not in ADDED_HERE}
        if entry.hand_id == self.hand.pk and entry.kind == sent.kind and _alike(kept, mine):
            return Outcome(client_id=sent.client_id, state=SAME, seq=entry.seq)
        return Outcome(
            client_id=sent.client_id,
            state=CONFLICT,
            seq=entry.seq,
            what="the record has something else under this answer's name",
            do="Both are shown. Keep what is on record, or answer it again.",
            stored=self._shown(t),
        )

    def _new(self, sent: AnySent) -> Outcome:
        if sent.by != self.person.number:
            return Outcome(
                client_id=sent.client_id,
                state=OTHER,
                what=f"this was answered by person {sent.by}, and {self.person.called} is signed in",
                do="It is sent when that person signs in on this phone.",
            )
        refusal = self._closed(sent.kind) or self.ground.refusal(sent)
        undone = None
        if refusal is None and isinstance(sent, Withdrawn):
            undone = self._undone(sent)
            if undone is None:
                return Outcome(client_id=sent.client_id, state=SAME, what="there was nothing left to undo")
            refusal = undone if isinstance(undone, Refusal) else None
        if refusal is not None:
            return Outcome(client_id=sent.client_id, state=REFUSED, what=refusal.what, do=refusal.do)
        what = what_of(sent, undone_seq=undone if isinstance(undone, int) else None)
        seq = self.hand.entry_count + len(self.news) + 1
        outcome = Outcome(client_id=sent.client_id, state=STORED, seq=seq)
        if isinstance(sent, Observed):
            self._observed(sent, what, seq, outcome)
        elif isinstance(sent, AsShown):
            self._as_shown(sent, what, seq, outcome)
        elif isinstance(sent, Withdrawn):
            self.said = [s for s in self.said if s.seq != what["seq"]]
        self.news.append(New(kind=sent.kind, what=what, client_id=sent.client_id))
        self.accepted[sent.client_id] = seq
        self.told.append(Told(seq=seq, kind=sent.kind, at=stamp(self.at), by=by_of(self.person), what=what))
        return outcome

    def _closed(self, kind: str) -> Refusal | None:
        allowed = AFTER.get(Standing(self.hand.standing), KINDS)
        if kind in allowed:
            return None
        return Refusal(
            what=f"the hand is {Standing(self.hand.standing).label} by now, and nothing more is recorded of it",
            do="Keep it as a note if it matters, or drop it.",
        )

    def _observed(self, sent: Observed, what: dict[str, Any], seq: int, outcome: Outcome) -> None:
        c = self.protocol.characteristic(sent.of)
        if c is None:
            return
        mine = [
            s
            for s in self.said
            if (s.number, s.of, s.place, s.in_group) == (self.person.number, sent.of, sent.place, False)
        ]
        what |= by_photo.added(sent)
        if mine:
            what["corrects"] = mine[-1].seq
            self.said = [s for s in self.said if s not in mine]
        said = said_of(what, c, seq=seq, by=by_of(self.person))
        outcome.differs = [
            self._other(s)
            for s in self.said
            if s.number != self.person.number and s.seq > sent.seen_count and differ(s, said, self.protocol)
        ]
        self.said.append(said)

    def _as_shown(self, sent: AsShown, what: dict[str, Any], seq: int, outcome: Outcome) -> None:
        group = Told(seq=seq, kind="as-shown", at=stamp(self.at), by=by_of(self.person), what=what)
        told = [t for t in self.told if t.kind == "did"]
        new = said_by_now([*told, group], self.case, self.protocol)
        what["covers"] = len({s.of for s in new})
        outcome.differs = [
            self._other(old)
            for old in self.said
            if old.number != self.person.number and old.seq > sent.seen_count and not old.in_group
            for s in new
            if (s.of, s.place) == (old.of, old.place) and differ(old, s, self.protocol)
        ]
        self.said += new

    def _undone(self, sent: Withdrawn) -> int | Refusal | None:
        """The number of the entry that is taken back; None when it was refused, undone or corrected before."""
        seq = self.accepted.get(sent.undoes)
        if seq is None:
            entry = self.stored.get(sent.undoes)
            if entry is None or entry.hand_id != self.hand.pk:
                return None
            if entry.person_id != self.person.pk and not self.person.is_lead:
                return Refusal(
                    what="only who gave an answer takes it back", do="Ask that person, or the lead."
                )
            if entry.kind not in ("observed", "as-shown", "noted"):
                return Refusal(what="this cannot be undone on a phone", do="Ask the lead.")
            seq = entry.seq
        return None if seq in out_of_force(self.told) else seq

    # ---- what is told back ----------------------------------------------------------------------

    def _other(self, s: Said) -> dict[str, Any]:
        c = self.protocol.characteristic(s.of)
        return {
            "of": s.of,
            "place": s.place,
            "title": c.title if c is not None else s.of,
            "by": s.called,
            "shown": s.shown,
            "seq": s.seq,
        }

    def _shown(self, t: Told) -> dict[str, Any]:
        c = self.protocol.characteristic(t.what.get("of", ""))
        return {
            "title": c.title if c is not None else t.kind,
            "place": t.what.get("place", ""),
            "shown": shown_answer(t.what) if t.kind == "observed" else t.kind,
            "by": t.by["called"],
            "at": t.at,
        }

    def others_since(self) -> list[dict[str, Any]]:
        """Answers that other people gave and this phone has not heard of, for its screens."""
        return [
            self._other(s) | {"good": s.good}
            for s in self.said
            if s.number != self.person.number and s.seq > self.phone_knew
        ]

    def all_seen(self) -> bool:
        """Whether the last thing that is due was just answered, so that the answer can be prepared."""
        if not any(n.kind in ("observed", "as-shown") for n in self.news):
            return False
        told = {(s.of, s.place) for s in self.said}
        return all(
            (c.id, place) in told or (c.id, HAND) in told
            for c in due(self.case, self.protocol)
            for place in self.protocol.places(c.per)
        )


RELOAD = "Load the page again; if it comes again, write it on the traveller and tell the lead."


def _alike(kept: dict[str, Any], mine: dict[str, Any]) -> bool:
    """The same answer, whatever was measured of the tapping."""
    beside = ("tap_ms", "step_ms", "seen_count")
    return {k: v for k, v in kept.items() if k not in beside} == {
        k: v for k, v in mine.items() if k not in beside
    }
