"""The worker's part: the plan of a day, then what one more helper or some more spares would bring."""

from __future__ import annotations

from dataclasses import asdict
from time import perf_counter
from typing import Any

from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.jobs.services import enqueue
from handsel.bench.planning.gathering import gather, state_key
from handsel.bench.planning.keeping import plan_from, told_of
from handsel.bench.planning.models import Plan
from handsel.bench.planning.one_hand import planned_hand
from handsel.bench.planning.services import KIND, LATER, newest
from handsel.rework.day.more import what_more_brings
from handsel.rework.day.plan import plan_day

SECONDS, MORE_SECONDS = 5.0, 2.0  # for the solver
KEPT = 50  # plans of a day


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Plan, or work out what more would bring to a plan that still is the newest."""
    if "hand" in payload:
        return planned_hand(int(payload["hand"]))
    day = Day.objects.select_related("protocol", "design").get(pk=payload["day"])
    if "more_for" in payload:
        return _more(day, int(payload["more_for"]))
    now = timezone.now()
    begun, key, last = perf_counter(), state_key(day, now), newest(day)
    gathered = gather(day, now)
    made = plan_day(gathered.day, plan_from(last.told) if last is not None else None, seconds=SECONDS)
    plan = Plan.objects.create(
        day=day,
        made_at=now,
        state_key=key,
        told=told_of(made, gathered),
        took_ms=round(1000 * (perf_counter() - begun)),
    )
    old = Plan.objects.filter(day=day).order_by("-pk").values_list("pk", flat=True)[KEPT:]
    Plan.objects.filter(pk__in=list(old)).delete()
    enqueue(KIND, f"more-{day.pk}-{plan.pk}", {"day": day.pk, "more_for": plan.pk}, urgency=LATER)
    return {"plan": plan.pk}


def _more(day: Day, pk: int) -> dict[str, Any]:
    plan = newest(day)
    if plan is None or plan.pk != pk:
        return {"stale": True}
    gathered = gather(day, plan.made_at)
    made = plan_day(gathered.day, plan_from(plan.told), seconds=MORE_SECONDS)
    found = what_more_brings(gathered.day, made, seconds=MORE_SECONDS)
    Plan.objects.filter(pk=pk).update(more=[asdict(m) for m in found])
    return {"more": len(found)}
