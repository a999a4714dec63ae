"""The form in which a paper traveller is typed in."""

from __future__ import annotations

import re

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from handsel.bench.days.forms import fresh_id
from handsel.bench.days.views_day import see_other
from handsel.bench.hands.chain import MovedOn
from handsel.bench.hands.head import hand_by, head_of
from handsel.bench.looking.answering import ask
from handsel.bench.papers.typing_in import LONGEST, Sheet, store
from handsel.bench.people.gate import needs
from handsel.bench.people.models import Person
from handsel.errors import OutOfRange


@needs("inspect")
@require_http_methods(["GET", "POST"])
def paper(request: HttpRequest, code: str) -> HttpResponse:
    """One hold point of one hand, from paper."""
    hand = hand_by(code)
    if request.method == "GET":
        sheet = Sheet(hand=hand, at=request.GET.get("at", "")[:40])
        return _page(request, sheet, fresh_id())
    client_id = request.POST.get("client_id", "")
    if not re.fullmatch(r"[0-9a-f]{32}", client_id):
        raise OutOfRange(
            "the page sent something that it does not know", where="this form", do="Load it again."
        )
    typed = {k: v[:LONGEST] for k, v in request.POST.items() if k[:2] in ("a:", "g:", "m:")}
    sheet = Sheet(hand=hand, at=request.POST.get("at", "")[:40], typed=typed)
    news = sheet.news(person=request.user, client_id=client_id, seen_by=_seen_by(request))
    if sheet.errors:
        return _page(request, sheet, client_id)
    store(sheet, news, person=request.user)
    if "decide" not in request.POST:
        return see_other(f"/h/{hand.code}/paper/?at={sheet.at}&kept=1")
    try:
        ask(hand, request.user)
    except MovedOn:  # somebody else wrote meanwhile: the answer page shows how it stands
        return see_other(f"/h/{hand.code}/answer/")
    return see_other(f"/h/{hand.code}/answer/")


def _seen_by(request: HttpRequest) -> str:
    """Role and number of who filled in the paper, if somebody else than who types."""
    number = request.POST.get("seen_by", "")
    if (
        not (number.isascii() and number.isdecimal() and len(number) < 8)
        or int(number) == request.user.number
    ):
        return ""
    person = Person.objects.filter(number=int(number)).first()
    return person.called if person is not None else ""


def _page(request: HttpRequest, sheet: Sheet, client_id: str) -> HttpResponse:
    others = Person.objects.filter(is_active=True).exclude(pk=request.user.pk)
    context = {
        "hand": sheet.hand,
        "head": head_of(sheet.hand),
        "at": sheet.at,
        "stage": sheet.stage,
        "stages": sheet.stages,
        "parts": sheet.parts(),
        "client_id": client_id,
        "others": [p for p in others if p.may("inspect") or p.may("fit")][:200],
        "said": sheet.errors.get("", ""),
        "error_count": len([k for k in sheet.errors if k]),
        "kept": "kept" in request.GET,
    }
    return render(request, "papers/typing.html", context)
