"""Asking for a plan, and what it goes by."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.planning.gathering import state_key
from handsel.bench.planning.models import GoneBy, Plan

KIND = "plan"
SOON, LATER = 5, 1  # how urgent: a plan before what more would bring; both before simulated hands


def newest(day: Day) -> Plan | None:
    """The plan that holds now."""
    return Plan.objects.filter(day=day).order_by("-pk").first()


def want_plan(day: Day) -> Job | None:
    """Have the day planned if anything has changed since; None when the newest plan still fits."""
    key = state_key(day, timezone.now())
    last = newest(day)
    if last is not None and last.state_key == key:
        return None
    return enqueue(KIND, f"plan-{day.pk}-{key[:48]}", {"day": day.pk}, urgency=SOON)


def is_planning(day: Day) -> bool:
    """Whether a plan is on its way."""
    jobs = Job.objects.filter(
        kind=KIND, state__in=(Job.QUEUED, Job.WORKING), key__startswith=f"plan-{day.pk}-"
    )
    return jobs.exists()


def set_goes_by(
    day: Day,
    *,
    away: list[int],
    experienced: list[int],
    waiting: dict[str, str],
    spares: dict[str, int],
) -> None:
    """Keep what the lead said. Said twice, it stands once."""
    with transaction.atomic():
        GoneBy.objects.update_or_create(
            day=day,
            defaults={"away": away, "experienced": experienced, "waiting": waiting, "spares": spares},
        )
