"""The protocol of the day: changed for new hands; a running hand is moved over only by a decision of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.days.wording import FINISHED
from handsel.bench.hands.casebook import case_of, design_kept, protocol_kept, told_of
from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.hands.services import judge_by, keep_protocol
from handsel.bench.people.models import Person
from handsel.data.load_protocol import protocol_from_text
from handsel.data.toml_file import MAX_BYTES
from handsel.errors import BadFile, HandselError
from handsel.inspection.deciding import inspect


@dataclass(frozen=True, slots=True, kw_only=True)
class Stays:
    """A hand that could not be moved over, and why."""

    hand: Hand
    reason: str


def keep_uploaded(data: bytes, *, name: str) -> KeptText:
    """The text of a protocol file somebody chose, checked and kept under its fingerprint.

    Raises BadFile, which names table, key and remedy.
    """
    where = f"protocol file {name[:60]!r}"
    if len(data) > MAX_BYTES:
        raise BadFile("the file is larger than any protocol", where=where, do="Choose the TOML file itself.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadFile("the file is not text in UTF-8", where=where, do="Save it as UTF-8 text.") from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    protocol = protocol_from_text(text, where=where)
    kept, _ = KeptText.objects.get_or_create(
        sha256=protocol.sha256,
        defaults={"kind": "protocol", "name": protocol.id, "version": protocol.version, "text": text},
    )
    return kept


def keep_bundled(name: str) -> KeptText:
    """A protocol that comes with the program."""
    return keep_protocol(name)


def set_protocol(day: Day, kept: KeptText) -> None:
    """Judge hands that are begun from now on by this protocol. Hands that have begun keep theirs."""
    protocol = protocol_kept(kept.pk)
    design = design_kept(day.design_id)
    if design.name not in protocol.designs:
        raise BadFile(
            f"this protocol is for {', '.join(protocol.designs)}, the day's design is {design.name}",
            where=f"protocol {protocol.id}",
            do="Choose a protocol that names the design.",
        )
    if kept.pk == day.protocol_id:
        return
    day.protocol, day.protocol_since = kept, timezone.now()
    day.save(update_fields=["protocol", "protocol_since"])


def count_others(day: Day) -> int:
    """How many hands of the day are still at work under another protocol than the day's."""
    return _others(day).count()


def others_of(day: Day) -> list[Hand]:
    """These hands; a page full of them."""
    return list(_others(day).select_related("protocol").defer("protocol__text").order_by("pk")[:500])


def _others(day: Day) -> QuerySet[Hand]:
    return (
        Hand.objects.filter(day=day, practice="")
        .exclude(protocol_id=day.protocol_id)
        .exclude(standing__in=FINISHED)
    )


def move_over(hand: Hand, kept: KeptText, *, person: Person) -> None:
    """Judge one running hand by another protocol, if its record can be read under that one.

    What was recorded stays word for word; a hand whose record the new protocol does not understand keeps
    its own, and the reason is raised.
    """
    protocol = protocol_kept(kept.pk)
    with transaction.atomic():
        locked = Hand.objects.select_for_update().get(pk=hand.pk)
        try:
            case = case_of(locked, told_of(locked))
            inspect(replace(case, name=locked.shown_code), protocol)
        except HandselError as error:
            raise BadFile(
                f"{protocol.id} {protocol.version} cannot read its record: {error.what}",
                where=locked.shown_code,
                do="It keeps its own protocol; finish it by that one.",
            ) from None
        judge_by(locked, kept, person=person)
    hand.refresh_from_db()


def move_all(day: Day, *, person: Person) -> tuple[int, tuple[Stays, ...]]:
    """Move every running hand over to the day's protocol: how many were, and which stay and why."""
    moved, stay = 0, []
    for hand in others_of(day):
        try:
            move_over(hand, day.protocol, person=person)
            moved += 1
        except HandselError as error:
            stay.append(Stays(hand=hand, reason=error.what))
    return moved, tuple(stay)
