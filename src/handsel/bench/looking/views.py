"""The inspector's pages: all screens of a hand in one, what phones send, and the answer."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET, require_POST, require_safe

from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.head import bare_hand_by, hand_by, head_of
from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.looking import answering
from handsel.bench.looking.answer_page import last_decision, read_answer
from handsel.bench.looking.pictures import pictures
from handsel.bench.looking.recording import record_batch
from handsel.bench.looking.screens import looking_page
from handsel.bench.looking.sent import MOST_BYTES, TooMuch, batch_of
from handsel.bench.people.gate import needs, open_to_all
from handsel.bench.people.models import Person
from handsel.errors import HandselError

FOR_GOOD = "public, max-age=31536000, immutable"


class NotYours(HandselError):
    """A hold point that needs another right."""

    status = 403


def _see_to(person: Person, hand: Hand) -> None:
    """At the fitting a fitter looks, before it an inspector."""
    fitting = hand.hold_point == answering.FITTING
    if not person.may("fit" if fitting else "inspect"):
        raise NotYours(
            "this hold point is for a fitter" if fitting else "this hold point is for an inspector",
            where=hand.shown_code,
            do="Give the hand to one, or ask the lead to change what you may do.",
        )


@needs("inspect", "fit")
@require_safe
@ensure_csrf_cookie
def look(request: HttpRequest, code: str) -> HttpResponseBase:
    """All screens of the hand's hold point, in one page that works without the network from then on."""
    hand = hand_by(code)
    _see_to(request.user, hand)
    head = head_of(hand)
    shown: dict[str, Any] = {"head": head, "hand": hand}
    if not head.is_closed:
        shown["data"] = looking_page(answering.known(hand), request.user)
    return render(request, "looking/look.html", shown)


@needs("inspect", "fit")
@require_POST
def answers(request: HttpRequest, code: str) -> HttpResponseBase:
    """What a phone sends. Always answered entry by entry; one that does not fit stops no other."""
    if int(request.headers.get("Content-Length") or 0) > MOST_BYTES:
        raise TooMuch("this is more than a batch may hold", where="the answers", do="Send fewer at a time.")
    hand = bare_hand_by(code)
    _see_to(request.user, hand)
    return JsonResponse(record_batch(hand, batch_of(request.body), request.user).as_data())


@needs("inspect", "fit")
@require_POST
def ask(request: HttpRequest, code: str) -> HttpResponseBase:
    """The person is done looking: decide. Sent twice, or after someone else did, it is decided once."""
    hand = bare_hand_by(code)
    _see_to(request.user, hand)
    told = told_of(hand)
    decided = last_decision(told)
    nothing_new = decided is not None and decided.seq == told[-1].seq
    moved_on = request.POST.get("hold_point") != hand.hold_point
    if not (nothing_new or moved_on or head_of(hand).is_closed):
        answering.ask(hand, request.user)
    return HttpResponse(status=303, headers={"Location": reverse("look-answer", args=[hand.code])})


@needs("anyone")
@require_safe
@ensure_csrf_cookie
def answer(request: HttpRequest, code: str) -> HttpResponseBase:
    """The answer: one sentence, what to do now, and the reasons below."""
    return render(request, "looking/answer.html", _answer(request, code))


@needs("anyone")
@require_safe
def answer_state(request: HttpRequest, code: str) -> HttpResponseBase:
    """The same without its frame, for a page that waits."""
    shown = _answer(request, code)
    response = render(request, "looking/_answer.html", shown)
    response["X-Answer"] = "waiting" if shown["waiting"] is not None else "here"
    return response


def _answer(request: HttpRequest, code: str) -> Mapping[str, Any]:
    hand = hand_by(code)
    k, waiting, found = read_answer(hand, request.user)
    return {
        "head": head_of(hand),
        "hand": hand,
        "waiting": waiting,
        "answer": found,
        "ask_again": request.user.may("fit" if hand.hold_point == answering.FITTING else "inspect"),
        "looked": any(t.kind in ("observed", "as-shown") and not t.is_for_causes for t in k.told),
        # One id for one press of the button, whatever happens on the way.
        "client_id": "" if found is None else f"order-{hand.code}-{found.seq}",
    }


@open_to_all
@require_GET
def figures(request: HttpRequest, protocol: str, design: str) -> HttpResponseBase:
    """The drawings of one hold point. Their address names what they are made from: kept for good."""
    side, at = request.GET.get("side", ""), request.GET.get("at", "")
    texts = dict(KeptText.objects.filter(pk__in=(protocol, design)).values_list("pk", "kind"))
    known = texts.get(protocol) == "protocol" and texts.get(design) == "design"
    if not known or side not in ("left", "right") or not re.fullmatch(r"[a-z0-9-]{1,60}", at):
        raise Http404
    if at not in [h.id for h in protocol_kept(protocol).hold_points]:
        raise Http404
    plain, packed = pictures(protocol, design, side, at)
    takes_packed = "gzip" in request.headers.get("Accept-Encoding", "")
    response = HttpResponse(packed if takes_packed else plain, content_type="application/json")
    if takes_packed:
        response["Content-Encoding"] = "gzip"
    response["Vary"] = "Accept-Encoding"
    response["Cache-Control"] = FOR_GOOD
    return response


@open_to_all
@require_GET
def who(request: HttpRequest) -> HttpResponseBase:
    """Who is signed in on this phone, and a fresh form cookie: for answers that wait to be sent."""
    get_token(request)
    person = request.user if request.user.is_authenticated else None
    told = {} if person is None else {"number": person.number, "called": person.called}
    return JsonResponse({"person": told or None, "solo": settings.SOLO})


@open_to_all
@require_safe
@ensure_csrf_cookie
def unsent(request: HttpRequest) -> HttpResponseBase:
    """What this phone still holds, and why."""
    return render(request, "looking/unsent.html")
