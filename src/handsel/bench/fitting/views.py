"""The fitter's pages: fitting, release, hand-over."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from handsel.bench.fitting import forms, services
from handsel.bench.fitting.cautions import languages
from handsel.bench.fitting.pages import clock_note, fit_page, hand_over_page, release_page
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.head import hand_by
from handsel.bench.hands.models import Hand
from handsel.bench.hands.once import OnceForm, see
from handsel.bench.looking.answering import FITTING
from handsel.bench.people.gate import needs
from handsel.bench.work.services import take


@needs("fit")
@require_safe
def fit(request: HttpRequest, code: str) -> HttpResponse:
    """What the fitting is, when to stop, and how far it has come."""
    return render(request, "fitting/fit.html", {"page": fit_page(hand_by(code), request.user)})


@needs("fit")
@require_POST
def begin(request: HttpRequest, code: str) -> HttpResponse:
    """This person fits it now; on to the checks."""
    hand, data = hand_by(code), OnceForm(request.POST).cleaned()
    _must_be_here(hand)
    if hand.held_by_id != request.user.pk:
        take(hand, "fit", person=request.user, client_id=str(data["client_id"]))
    return see(f"/h/{hand.code}/look/")


@needs("fit")
@require_POST
def clock(request: HttpRequest, code: str) -> HttpResponse:
    """The hand went on or came off: the time is written down."""
    hand, data = hand_by(code), forms.ClockForm(request.POST).cleaned()
    _must_be_here(hand)
    what = str(data["what"])
    stored = hand.entries.filter(client_id=data["client_id"]).first()
    if stored is None:
        body = {"text": clock_note(what, timezone.now()), "photo": "", "clock": what}
        append(hand, [New(kind="noted", what=body, client_id=str(data["client_id"]))], person=request.user)
    return see(f"/h/{hand.code}/fit/")


def _must_be_here(hand: Hand) -> None:
    if hand.hold_point != FITTING:
        raise services.NotYet(
            "it has not come to the fitting yet",
            where=hand.shown_code,
            do="Its page says what comes next.",
        )


@needs("fit")
@require_http_methods(["GET", "HEAD", "POST"])
def release(request: HttpRequest, code: str) -> HttpResponse:
    """Release a hand, or read what stands in the way."""
    hand = hand_by(code)
    if request.method == "POST":
        data = forms.ReleaseForm(request.POST).cleaned()
        try:
            services.release(
                hand, person=request.user, client_id=str(data["client_id"]), seen_sha256=str(data["seen"])
            )
        except services.NotReleased:
            hand.refresh_from_db()
            return render(
                request, "fitting/release.html", {"page": release_page(hand), "refused": True}, status=409
            )
        return see(f"/h/{hand.code}/hand-over/")
    return render(request, "fitting/release.html", {"page": release_page(hand), "refused": False})


@needs("fit")
@require_http_methods(["GET", "HEAD", "POST"])
def hand_over(request: HttpRequest, code: str) -> HttpResponse:
    """Go through the cautions together, then hand over."""
    hand = hand_by(code)
    if request.method != "POST":
        chosen = request.GET.get("language", "en")
        language = chosen if chosen in dict(languages()) else "en"
        return render(
            request, "fitting/hand_over.html", {"page": hand_over_page(hand, request.user, language=language)}
        )
    form = forms.HandOverForm(request.POST)
    ticked = tuple(request.POST.getlist("gone_through"))
    language = request.POST.get("language", "en")
    if not form.is_valid() and set(form.errors) <= {"call", "to"}:
        return _again(
            request, hand, language, ticked, "Write down whom to call: a name or role, and a number."
        )
    data = form.cleaned()
    try:
        services.hand_over(
            hand,
            person=request.user,
            client_id=str(data["client_id"]),
            language=language,
            to=str(data["to"]),
            call=str(data["call"]),
            ticked=ticked,
        )
    except services.NotYet as refused:
        return _again(
            request, hand, language, ticked, f"{refused.what[:1].upper()}{refused.what[1:]}. {refused.do}"
        )
    return see(f"/h/{hand.code}/hand-over/")


def _again(
    request: HttpRequest, hand: Hand, language: str, ticked: tuple[str, ...], wrong: str
) -> HttpResponse:
    page = hand_over_page(
        hand,
        request.user,
        language=language if language in dict(languages()) else "en",
        ticked=ticked,
        call=request.POST.get("call", "")[:200],
        to="carer" if request.POST.get("to") == "carer" else "recipient",
        wrong=wrong,
    )
    return render(request, "fitting/hand_over.html", {"page": page}, status=200 if page.is_here else 409)
