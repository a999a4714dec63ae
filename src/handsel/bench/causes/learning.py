"""What this bench has learned about which causes are common: only from causes that their cure has proved.

Each proof stands twice: in the hand's own record, where it proposes what is learned, and in the bench's list,
from which the priors are worked out anew each time. Taking one back adds an entry; nothing is erased.
"""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from handsel.bench.causes.models import LearnedEntry
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.people.models import Person
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.posterior import with_priors
from handsel.errors import HandselError, OutOfRange
from handsel.rework.learning import Confirmed, Learned, TakenBack, learned_priors
from handsel.rework.learning import Entry as CoreEntry

KIND = "learn"


class NothingToTakeBack(HandselError):
    """An entry that is not there, or counts no more already."""

    status = 409


def core_entries(catalogue: str) -> tuple[CoreEntry, ...]:
    """The list as the core takes it, numbered anew for one catalogue."""
    rows = LearnedEntry.objects.filter(catalogue=catalogue).select_related("hand", "by").order_by("number")
    number: dict[int, int] = {}
    found: list[CoreEntry] = []
    for k, row in enumerate(rows, start=1):
        number[row.number] = k
        on, by = f"{row.at:%Y-%m-%d}", row.by.called
        if row.of is not None:
            found.append(TakenBack(number=k, of=number[row.of], on=on, by=by, reason=row.reason))
            continue
        found.append(
            Confirmed(
                number=k,
                code=row.hand.recipient_code if row.hand is not None else "",
                serial=row.hand.serial if row.hand is not None else "",
                on=on,
                by=by,
                fault=row.fault,
                place=row.place,
                rework=row.rework,
                symptom=row.symptom,
            )
        )
    return tuple(found)


def learned_for(catalogue: Catalogue) -> Learned:
    """The priors as they stand now."""
    own = {k.id: k.prior for k in catalogue.kinds}
    entries = _of_known_kinds(core_entries(catalogue.id), own)
    return learned_priors(own, entries, catalogue_version=catalogue.version)


def _of_known_kinds(entries: tuple[CoreEntry, ...], own: dict[str, float]) -> tuple[CoreEntry, ...]:
    """Without causes that this version of the catalogue no longer has, and what takes those back."""
    strange = {e.number for e in entries if isinstance(e, Confirmed) and e.fault not in own}
    if not strange:
        return entries
    kept = [e for e in entries if (e.of if isinstance(e, TakenBack) else e.number) not in strange]
    number = {e.number: k for k, e in enumerate(kept, start=1)}
    return tuple(
        TakenBack(number=number[e.number], of=number[e.of], on=e.on, by=e.by, reason=e.reason)
        if isinstance(e, TakenBack)
        else Confirmed(number=number[e.number], code=e.code, serial=e.serial, on=e.on, by=e.by, fault=e.fault,
                       place=e.place, rework=e.rework, symptom=e.symptom)
        for e in kept
    )  # fmt: skip


def catalogue_learned(catalogue: Catalogue) -> tuple[Catalogue, str]:
    """The catalogue with this bench's priors, and their version. One query where nothing is new."""
    newest = LearnedEntry.objects.order_by("-number").values_list("number", "client_id").first()
    if newest is None:
        return catalogue, catalogue.version
    key = (catalogue.sha256, catalogue.id, *newest)
    with _guard:
        found = _known.get(key)
    if found is None:
        found = _learned(catalogue)
        with _guard:
            _known.clear()  # the list only grows: what was known before is of no more use
            _known[key] = found
    return found


_known: dict[tuple[object, ...], tuple[Catalogue, str]] = {}
_guard = Lock()


def _learned(catalogue: Catalogue) -> tuple[Catalogue, str]:
    found = learned_for(catalogue)
    try:
        return with_priors(catalogue, found.priors), found.version
    except OutOfRange:  # a catalogue whose own priors leave no room: better its own than none
        return catalogue, catalogue.version


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """A cause that a rework has proved."""

    fault: str
    place: str
    rework: str
    symptom: str
    catalogue: str
    decided: int  # entry of the decision that shows it


def keep_proof(hand: Hand, proof: Proof, *, person: Person) -> LearnedEntry | None:
    """Add it to the list. None when it stands there already."""
    client_id = f"learned-{hand.code}-{proof.decided}"
    with transaction.atomic():
        # The row of the hand is the lock: two workers do not number two entries alike.
        Hand.objects.select_for_update().get(pk=hand.pk)
        if LearnedEntry.objects.filter(client_id=client_id).exists():
            return None
        return _add(
            catalogue=proof.catalogue,
            hand=hand,
            fault=proof.fault,
            place=proof.place,
            rework=proof.rework,
            symptom=proof.symptom,
            by=person,
            client_id=client_id,
        )


def take_back(number: int, reason: str, *, person: Person, client_id: str) -> None:
    """What was learned from one hand counts no more. Sent twice, it is taken back once."""
    with transaction.atomic():
        if LearnedEntry.objects.filter(client_id=client_id).exists():
            return
        row = LearnedEntry.objects.filter(number=number, of=None).first()
        if row is None or LearnedEntry.objects.filter(of=number).exists():
            raise NothingToTakeBack(
                "this counts no more already" if row is not None else "there is no such entry",
                where=f"entry {number}",
                do="Load the page again.",
            )
        _add(catalogue=row.catalogue, hand=row.hand, of=number, reason=reason, by=person, client_id=client_id)


def _add(**columns: Any) -> LearnedEntry:
    number = (LearnedEntry.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    return LearnedEntry.objects.create(number=number, at=timezone.now(), **columns)


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedRow:
    """One entry as the lead reads it."""

    number: int
    words: str
    hand: str
    url: str
    symptom: str
    who: str
    at: Any
    taken_back: str  # why; empty while it counts


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorRow:
    """How common a kind of cause is held to be."""

    title: str
    own: str
    now: str
    count: int
    at_bound: bool


def learned_rows(catalogue: Catalogue) -> tuple[LearnedRow, ...]:
    """Every entry, newest first, with what became of it."""
    rows = list(LearnedEntry.objects.select_related("hand", "by").order_by("-number"))
    back = {r.of: r for r in rows if r.of is not None}
    return tuple(
        LearnedRow(
            number=r.number,
            words=_fault_words(catalogue, r.fault, r.place),
            hand=r.hand.shown_code if r.hand is not None else "",
            url=f"/h/{r.hand.code}/" if r.hand is not None else "",
            symptom=r.symptom,
            who=r.by.called,
            at=r.at,
            taken_back=back[r.number].reason if r.number in back else "",
        )
        for r in rows
        if r.of is None
    )


def _fault_words(catalogue: Catalogue, kind: str, place: str) -> str:
    found = catalogue.fault(f"{kind}@{place}" if place else kind)
    title = found.title if found is not None else f"{kind} {place}".strip()
    return f"{title[:1].upper()}{title[1:]}"


def prior_rows(catalogue: Catalogue) -> tuple[PriorRow, ...]:
    """Priors that confirmed causes have moved, those confirmed most often first."""
    learned = learned_for(catalogue)
    moved = [k for k in catalogue.kinds if learned.counts.get(k.id, 0)]
    return tuple(
        PriorRow(
            title=k.id.replace("-", " "),
            own=f"{100 * k.prior:.1f} %",
            now=f"{100 * learned.priors[k.id]:.1f} %",
            count=learned.counts[k.id],
            at_bound=k.id in learned.at_bound,
        )
        for k in sorted(moved, key=lambda k: -learned.counts[k.id])
    )


def entry_of(hand: Hand, seq: int) -> Entry | None:
    """The decision that shows a cure."""
    return Entry.objects.filter(hand=hand, seq=seq, kind="decided").select_related("person").first()
