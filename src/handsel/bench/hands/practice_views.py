"""Practising: take a hand, look at it in the real flow, and see what was wrong with it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.hands import practice
from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.head import hand_by, head_of
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import OnceForm, new_client_id, see
from handsel.bench.looking.answering import known
from handsel.bench.looking.screens import looking_page
from handsel.bench.people.gate import needs


@needs("anyone")
@require_safe
def start(request: HttpRequest) -> HttpResponse:
    """What practising is, and a hand to take."""
    own = practice.unfinished(request.user)
    shown = {"own": own, "may_look": request.user.may("inspect"), "client_id": new_client_id()}
    return render(request, "hands/practice.html", shown)


@needs("inspect")
@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Take a practice hand."""
    data = OnceForm(request.POST).cleaned()
    hand = practice.begin(request.user, client_id=str(data["client_id"]))
    return see(f"/practice/{hand.code}/")


@needs("anyone")
@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """Before: how it goes. After: what was wrong, what was found and what was missed."""
    hand = hand_by(code)
    fault = practice.fault_of(hand)
    told = told_of(hand)
    shown = {"head": head_of(hand), "stage": head_of(hand).stage, "may_look": request.user.may("inspect")}
    # Whoever does not want to wait for the answer is told what was wrong all the same.
    if not practice.is_finished(hand, told) and not (request.GET.get("now") and request.user.practised_at):
        asked = any(
            t.kind in ("observed", "as-shown") and t.what.get("from") != practice.MADE_UP for t in told
        )
        return render(request, "hands/practice_before.html", shown | {"has_begun": asked})
    return render(
        request,
        "hands/practice_after.html",
        shown | {"fault": fault, "outcome": practice.outcome(hand), "sentence": hand.sentence},
    )


@needs("inspect")
@require_safe
@ensure_csrf_cookie
def look(request: HttpRequest, code: str) -> HttpResponse:
    """The inspector's own page, with a card beside it that says what is seen and read."""
    hand = _practice_hand(code)
    fault = practice.fault_of(hand)
    if practice.is_finished(hand, told_of(hand)):
        return see(f"/practice/{hand.code}/")
    shown = {
        "head": head_of(hand),
        "hand": hand,
        "data": looking_page(known(hand), request.user),
        "told": practice.told_to_newcomer(fault, protocol_kept(hand.protocol_id)),
    }
    return render(request, "hands/practice_look.html", shown)


@needs("inspect")
@require_POST
def ask(request: HttpRequest, code: str) -> HttpResponse:
    """The newcomer is done looking."""
    hand = _practice_hand(code)
    practice.finish(hand, request.user)
    return see(f"/practice/{hand.code}/done/")


@needs("anyone")
@require_safe
def done(request: HttpRequest, code: str) -> HttpResponse:
    """While the answer is worked out, and then on to what was wrong."""
    hand = _practice_hand(code)
    if practice.is_finished(hand, told_of(hand)):
        return see(f"/practice/{hand.code}/")
    return render(request, "hands/practice_waiting.html", {"head": head_of(hand)})


def _practice_hand(code: str) -> Hand:
    hand = hand_by(code)
    practice.fault_of(hand)
    return hand
