"""Ticking points off, trying the workers, reading a measured scale bar."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.people.models import Person
from handsel.bench.ready.models import Tick
from handsel.documents.scale_bar import BAR_MM, MOST_OFF
from handsel.errors import OutOfRange

BY_HAND = ("spare-phone", "charger", "pens")
PLAUSIBLE_MM = (100.0, 200.0)
KINDS = ("answer", "photo", "measure")


def today() -> date:
    """The calendar day in the hall."""
    return timezone.localdate()


def tick(item: str, *, is_good: bool, said: str = "", by: Person | None = None) -> Tick:
    """Note how a point stands today; the last word counts."""
    told, _ = Tick.objects.update_or_create(
        on=today(),
        item=item,
        defaults={"is_good": is_good, "said": said[:300], "at": timezone.now(), "by": by},
    )
    return told


def untick(item: str) -> None:
    """It was not so after all."""
    Tick.objects.filter(on=today(), item=item).delete()


def phone_arrived(address: str) -> Tick:
    """A phone opened the page; the first one of the day is kept."""
    with transaction.atomic():
        known = Tick.objects.filter(on=today(), item="phone", is_good=True).first()
        return known or tick("phone", is_good=True, said=f"a phone at {address} got through")


def measured(across_mm: float, along_mm: float, *, by: Person) -> Tick:
    """Hold what was measured on the printed bars against their length."""
    low, high = PLAUSIBLE_MM
    for value in (across_mm, along_mm):
        if not low <= value <= high:
            raise OutOfRange(
                f"{value:g} mm cannot be the printed bar of {BAR_MM:g} mm",
                where="scale bar",
                do="Measure from edge to edge of the black bar, in millimetres.",
            )
    off = {"across": across_mm / BAR_MM - 1.0, "along": along_mm / BAR_MM - 1.0}
    worst = max(off, key=lambda k: abs(off[k]))
    is_good = abs(off[worst]) <= MOST_OFF
    said = f"{across_mm:g} mm across and {along_mm:g} mm along, of {BAR_MM:g} mm"
    if not is_good:
        said += f": {100 * off[worst]:+.1f} % {worst}".replace("-", "\u2212")
    return tick("scale-bar", is_good=is_good, said=said, by=by)


def try_workers() -> None:
    """Give each worker its trial piece; one that is under way is not asked twice."""
    for kind in KINDS:
        if not Job.objects.filter(
            key__startswith=f"warm-{kind}-", state__in=(Job.QUEUED, Job.WORKING)
        ).exists():
            enqueue(kind, f"warm-{kind}-{timezone.now():%Y%m%d%H%M%S%f}", {"warm": kind}, urgency=2)
