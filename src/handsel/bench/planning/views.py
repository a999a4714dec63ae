"""The lead's plan of the day."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.days.models import Day
from handsel.bench.days.queries import current_day
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import see
from handsel.bench.people.gate import needs
from handsel.bench.people.models import Person
from handsel.bench.planning import services
from handsel.bench.planning.forms import read_goes_by
from handsel.bench.planning.gathering import OPEN, state_key
from handsel.bench.planning.page import goes_by_page, plan_page


def _spares(day: Day) -> tuple[str, ...]:
    """Every spare that some rework of the day's protocol uses, in its order."""
    reworks = protocol_kept(day.protocol_id).reworks
    return tuple(dict.fromkeys(name for r in reworks for name in r.spares))


@needs("lead")
@require_safe
def plan(request: HttpRequest) -> HttpResponse:
    """Who works on what until the hall closes, and why."""
    day = current_day()
    if day is None:
        return see("/day/")
    told: dict[str, Any] = {"day": day, "plan": plan_page(day, state_key(day, timezone.now()))}
    if request.GET.get("part") == "live":
        response = render(request, "planning/_plan.html", told)
        response["Cache-Control"] = "no-store"
        return response
    told |= {"by": goes_by_page(day, _spares(day)), "kept": "kept" in request.GET}
    return render(request, "planning/plan.html", told)


@needs("lead")
@require_POST
def again(request: HttpRequest) -> HttpResponse:
    """Plan anew if anything has changed since; pressed or asked by the page, any number of times."""
    day = current_day()
    if day is None:
        return see("/day/")
    services.want_plan(day)
    if request.headers.get("Accept", "").startswith("application/json"):
        last = services.newest(day)
        made = {"plan": last.pk if last else 0, "more": last is not None and last.more is not None}
        return JsonResponse(made | {"planning": services.is_planning(day)})
    return see("/day/plan/")


@needs("lead")
@require_POST
def goes_by(request: HttpRequest) -> HttpResponse:
    """What the plan goes by: who is here, who waits, how many spares there are."""
    day = current_day()
    if day is None:
        return see("/day/")
    numbers = set(Person.objects.filter(is_active=True, is_lead=False).values_list("number", flat=True))
    codes = set(Hand.objects.filter(day=day, practice="", standing__in=OPEN).values_list("code", flat=True))
    spares = dict(enumerate(_spares(day)))
    said = read_goes_by(request.POST, numbers=numbers, codes=codes, spares=spares)
    services.set_goes_by(day, **said)
    services.want_plan(day)
    return see("/day/plan/?kept=1")
