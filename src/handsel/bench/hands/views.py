"""What a label opens, and the traveller of a hand. Both are open: a label is found by whoever finds it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.http import require_safe

from handsel.bench.hands.head import hand_by
from handsel.bench.hands.landing import landing
from handsel.bench.hands.once import new_client_id
from handsel.bench.hands.traveller import traveller
from handsel.bench.people.gate import open_to_all
from handsel.bench.people.models import Person


def signed_in(request: HttpRequest) -> Person | None:
    """The person at this phone, if there is one."""
    user = request.user
    return user if isinstance(user, Person) and user.is_active else None


@open_to_all
@require_safe
def label(request: HttpRequest, code: str) -> HttpResponse:
    """On from a label to where this person goes on with the hand."""
    return HttpResponseRedirect(landing(hand_by(code), signed_in(request)))


@open_to_all
@require_safe
def page(request: HttpRequest, code: str) -> HttpResponse:
    """The traveller: read-only, for everybody."""
    hand = hand_by(code)
    if code != hand.code:  # one address for one hand, however it was typed
        return HttpResponseRedirect(f"/h/{hand.code}/")
    told = {"page": traveller(hand, signed_in(request)), "client_id": new_client_id()}
    return render(request, "hands/traveller.html", told)
