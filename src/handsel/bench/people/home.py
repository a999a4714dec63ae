"""The first page: which hand? And below it what waits for whoever asks."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET

from handsel.bench.days.queries import current_day
from handsel.bench.hands.codes import BadCode, read_code
from handsel.bench.hands.models import Hand
from handsel.bench.people import queries
from handsel.bench.people.gate import needs
from handsel.bench.people.views import see_other
from handsel.bench.planning.page import next_for


@needs("anyone")
@require_GET
def home(request: HttpRequest) -> HttpResponseBase:
    """Take a code to its hand, or show what waits."""
    typed = request.GET.get("code", "")
    wrong = ""
    if typed.strip():
        try:
            code = read_code(typed)
        except BadCode as error:
            wrong = f"{error.what[:1].upper()}{error.what[1:]}. {error.do}"
        else:
            if Hand.objects.filter(code=code).exists():
                return see_other(f"/l/{code}/")
            wrong = "No hand on this bench has this code. Look at the label again, or ask the lead."
    day = current_day()
    person = request.user
    told = {
        "day": day,
        "typed": typed[:40],
        "wrong": wrong,
        "waiting": queries.waiting_for(person, day),
        "is_new": person.practised_at is None and person.may_inspect and not person.is_lead,
        "may_practise": person.may("inspect"),
        "leads": person.is_lead,
        "next_card": next_for(person, day),
    }
    return render(request, "people/home.html", told)
