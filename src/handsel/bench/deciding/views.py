"""The lead decides on one hand."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_POST

from handsel.bench.days.forms import fresh_id
from handsel.bench.days.views_day import see_other
from handsel.bench.deciding import services
from handsel.bench.deciding.forms import ConcedeForm, Deciding, ScrapForm, TakeBackForm
from handsel.bench.deciding.page import page_of
from handsel.bench.hands.head import hand_by, head_of
from handsel.bench.hands.models import Hand
from handsel.bench.people.gate import needs
from handsel.errors import HandselError, OutOfRange


@needs("lead")
@require_GET
def decide(request: HttpRequest, code: str) -> HttpResponse:
    """What is open at a hand, and what may be decided about it."""
    return _page(request, hand_by(code))


def _page(request: HttpRequest, hand: Hand, **told: Any) -> HttpResponse:
    page = page_of(hand)
    ids = {name: fresh_id() for name in ("back", "order", "scrap")}
    rows = [{"open": o, "client_id": fresh_id()} for o in page.found]
    passed = [{"passed": p, "client_id": fresh_id()} for p in page.passed]
    context = {
        "page": page,
        "hand": hand,
        "rows": rows,
        "passed": passed,
        "ids": ids,
        "kept": "kept" in request.GET,
    }
    return render(request, "deciding/decide.html", context | told)


def _cleaned(form: Deciding) -> dict[str, Any]:
    if not form.is_valid():
        raise OutOfRange(
            "the page sent something that it does not know", where="this form", do="Load it again."
        )
    return form.cleaned_data


@needs("lead")
@require_POST
def concede(request: HttpRequest, code: str) -> HttpResponse:
    """Let one thing pass."""
    hand = hand_by(code)
    told = _cleaned(ConcedeForm(request.POST))
    try:
        services.concede(hand, person=request.user, **told)
    except OutOfRange as error:  # the reason: said where it was typed
        said = f"{error.what[:1].upper()}{error.what[1:]}. {error.do}"
        return _page(
            request, hand, wrong=said, wrong_key=(told["of"], told["place"]), typed=told["reason"][:300]
        )
    return see_other(f"/h/{hand.code}/decide/?kept=1")


@needs("lead")
@require_POST
def take_back(request: HttpRequest, code: str) -> HttpResponse:
    """Take a concession back."""
    hand = hand_by(code)
    services.take_back(hand, person=request.user, **_cleaned(TakeBackForm(request.POST)))
    return see_other(f"/h/{hand.code}/decide/?kept=1")


@needs("lead")
@require_POST
def send_back(request: HttpRequest, code: str) -> HttpResponse:
    """Have it looked at again."""
    hand = hand_by(code)
    services.send_back(hand, person=request.user, **_cleaned(Deciding(request.POST)))
    return see_other(f"/h/{hand.code}/decide/?kept=1")


@needs("lead")
@require_POST
def scrap(request: HttpRequest, code: str) -> HttpResponse:
    """In two steps: asked once more with the reason in sight, then done."""
    hand = hand_by(code)
    told = _cleaned(ScrapForm(request.POST))
    sure = told.pop("sure")
    try:
        reason = services.reason_of(told["reason"], where=hand.shown_code)
    except HandselError as error:
        return _page(request, hand, wrong_scrap=f"{error.what[:1].upper()}{error.what[1:]}. {error.do}")
    if sure != "yes":
        context = {"hand": hand, "head": head_of(hand), "reason": reason, **told}
        return render(request, "deciding/scrap.html", context)
    services.scrap(hand, person=request.user, **told)
    return see_other(f"/h/{hand.code}/")
