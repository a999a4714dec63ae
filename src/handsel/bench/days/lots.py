"""Spools, bags, boxes and printers of a day, so that a bad one can be traced and a short one is seen."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils import timezone

from handsel.bench.days.models import Day, Lot
from handsel.bench.people.models import Person
from handsel.errors import OutOfRange

FEW = 3  # this many spares or fewer: the wall says so
MOST_LOTS = 500


def add_lot(
    day: Day,
    *,
    kind: str,
    name: str = "",
    note: str = "",
    spares_count: int | None = None,
    photo_client_id: str = "",
    person: Person,
    client_id: str,
    at: datetime | None = None,
) -> Lot:
    """Add a lot. Sent twice with one client id, it is stored once."""
    name, note = name.strip(), note.strip()
    if not name and not photo_client_id:
        raise OutOfRange(
            "the lot has neither a name nor a photo",
            where="the new lot",
            do="Type what stands on the bag, or take a photo of it.",
        )
    known = Lot.objects.filter(client_id=client_id).first()
    if known is not None:
        return known
    if Lot.objects.filter(day=day).count() >= MOST_LOTS:
        raise OutOfRange(
            f"the day has {MOST_LOTS} lots already",
            where="the new lot",
            do="Mark used ones as used up and write the rest on one line.",
        )
    try:
        with transaction.atomic():
            return Lot.objects.create(
                day=day,
                kind=kind,
                name=name[:80],
                note=note[:200],
                spares_count=spares_count,
                photo_client_id=photo_client_id,
                client_id=client_id,
                added_by=person,
                added_at=at or timezone.now(),
            )
    except IntegrityError:  # the same form, sent twice at once
        return Lot.objects.get(client_id=client_id)


def count_spares(lot: Lot, spares_count: int | None) -> None:
    """Write down how many are left."""
    lot.spares_count = spares_count
    lot.save(update_fields=["spares_count"])


def use_up(lot: Lot, *, is_used_up: bool) -> None:
    """Nothing is left of it; or that was a mistake."""
    lot.used_up_at = (lot.used_up_at or timezone.now()) if is_used_up else None
    lot.save(update_fields=["used_up_at"])
