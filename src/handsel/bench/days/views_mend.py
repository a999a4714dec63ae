"""The page where the lead mends what was written about a hand at its beginning."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from handsel.bench.days.forms import HandForm
from handsel.bench.days.mending import mend, was_looked_at
from handsel.bench.days.views_day import see_other
from handsel.bench.hands.head import hand_by, head_of
from handsel.bench.hands.models import Hand
from handsel.bench.people.gate import needs
from handsel.errors import HandselError

LATEX = {True: "yes", False: "no", None: ""}


@needs("lead")
@require_http_methods(["GET", "POST"])
def about(request: HttpRequest, code: str) -> HttpResponse:
    """What the hand was begun with, to be changed where it was wrong or was not known."""
    hand = hand_by(code)
    if request.method == "GET":
        return _page(request, hand, HandForm(initial=_written(hand)))
    form = HandForm(request.POST)
    if form.is_valid():
        told = form.cleaned_data
        target = told["target_rest_angle_deg"]
        said = {
            "recipient_code": told["recipient_code"].strip().upper(),
            "side": told["side"],
            "scale_ratio": float(told["scale_percent"]) / 100,
            "target_rest_angle_deg": None if target is None else float(target),
            "latex_sensitive": form.latex_sensitive,
        }
        try:
            mend(hand, hand.day, said, person=request.user, client_id=told["client_id"])
        except HandselError as error:
            form.add_error(None, f"{error.what[:1].upper()}{error.what[1:]}. {error.do}")
        else:
            return see_other(f"/h/{hand.code}/")
    return _page(request, hand, form)


def _written(hand: Hand) -> dict[str, Any]:
    target = hand.target_rest_angle_deg
    return {
        "recipient_code": hand.recipient_code,
        "side": hand.side,
        "scale_percent": f"{100 * hand.scale_ratio:.10g}",
        "target_rest_angle_deg": None if target is None else f"{target:g}",
        "latex": LATEX[hand.latex_sensitive],
    }


def _page(request: HttpRequest, hand: Hand, form: HandForm) -> HttpResponse:
    return render(
        request,
        "days/about.html",
        {
            "head": head_of(hand),
            "hand": hand,
            "form": form,
            "side": form["side"].value(),
            "sides": [{"value": s, "words": s.capitalize()} for s in ("left", "right")],
            "is_fixed": was_looked_at(hand),
        },
    )
