"""What this bench has learned from cures: for the lead, who may take it back."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.causes import forms, learning
from handsel.bench.causes.known import catalogue_for
from handsel.bench.days.queries import current_day
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.once import new_client_id, see
from handsel.bench.people.gate import needs


@needs("lead")
@require_safe
def learned(request: HttpRequest) -> HttpResponse:
    """Which causes were proved, and how that has moved the priors."""
    day = current_day()
    catalogue = catalogue_for(protocol_kept(day.protocol_id)) if day is not None else None
    told = {
        "rows": learning.learned_rows(catalogue) if catalogue is not None else (),
        "priors": learning.prior_rows(catalogue) if catalogue is not None else (),
        "client_id": new_client_id(),
        "kept": "kept" in request.GET,
    }
    return render(request, "causes/learned.html", told)


@needs("lead")
@require_POST
def back(request: HttpRequest) -> HttpResponse:
    """One of them counts no more."""
    data = forms.LearnedBackForm(request.POST).cleaned()
    learning.take_back(
        int(str(data["number"])), str(data["reason"]), person=request.user, client_id=str(data["client_id"])
    )
    return see("/day/learned/?kept=1")
