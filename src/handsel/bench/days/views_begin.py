"""Beginning hands: the form for one, the box for several, and the papers of what was just begun."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_POST

from handsel.bench.days.beginning import begin_all, read_lines
from handsel.bench.days.forms import HandForm, HandsForm
from handsel.bench.days.models import Day
from handsel.bench.days.queries import current_day
from handsel.bench.days.services import must_be_open
from handsel.bench.days.views_day import see_other
from handsel.bench.hands.casebook import design_kept
from handsel.bench.hands.models import Hand
from handsel.bench.hands.services import begin_hand
from handsel.bench.people.gate import needs
from handsel.errors import HandselError

SHOWN = 12  # codes of hands just begun that an address carries


@needs("lead")
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """One hand; after it, the next."""
    day = must_be_open(current_day())
    if request.method == "GET":
        return _page(request, day, HandForm(), HandsForm())
    form = HandForm(request.POST)
    if form.is_valid():
        told = form.cleaned_data
        target = told["target_rest_angle_deg"]
        try:
            hand = begin_hand(
                day=day,
                recipient_code=told["recipient_code"],
                side=told["side"],
                scale_ratio=float(told["scale_percent"]) / 100,
                person=request.user,
                client_id=told["client_id"],
                target_rest_angle_deg=None if target is None else float(target),
                latex_sensitive=form.latex_sensitive,
            )
        except HandselError as error:
            form.add_error(None, f"{error.what[:1].upper()}{error.what[1:]}. {error.do}")
        else:
            return see_other(f"/day/hands/new/?begun={hand.code}")
    return _page(request, day, form, HandsForm())


@needs("lead")
@require_POST
def several(request: HttpRequest) -> HttpResponse:
    """Several hands from pasted lines, all or none."""
    day = must_be_open(current_day())
    form = HandsForm(request.POST)
    if form.is_valid():
        try:
            ordered = read_lines(form.cleaned_data["lines"])
            hands = begin_all(day, ordered, person=request.user, client_id=form.cleaned_data["client_id"])
        except HandselError as error:
            form.add_error("lines", f"{error.what[:1].upper()}{error.what[1:]}. {error.do}")
        else:
            first, last = hands[0].pk, hands[-1].pk
            codes = ",".join(h.code for h in hands) if len(hands) <= SHOWN else f"{first}-{last}"
            return see_other(f"/day/hands/new/?begun={codes}")
    return _page(request, day, HandForm(), form)


def _page(request: HttpRequest, day: Day, form: HandForm, several_form: HandsForm) -> HttpResponse:
    begun = _begun(day, request.GET.get("begun", ""))
    design = design_kept(day.design_id)
    context = {
        "day": day,
        "form": form,
        "several": several_form,
        "begun": begun[:SHOWN],
        "begun_more": max(0, len(begun) - SHOWN),
        "begun_count": len(begun),
        "begun_codes": ",".join(h.code for h in begun),
        "sides": [{"value": "left", "words": "Left"}, {"value": "right", "words": "Right"}],
        "side": form["side"].value() or "",
        "scales": f"{100 * design.scale_min_ratio:.0f} to {100 * design.scale_max_ratio:.0f} % for {design.name}",
        "is_first": not Hand.objects.filter(day=day).exists(),
    }
    return render(request, "days/begin.html", context)


def _begun(day: Day, said: str) -> list[Hand]:
    """The hands that an address names: codes, or the first and last of a run."""
    hands = Hand.objects.filter(day=day, practice="").order_by("pk")
    low, dash, high = said[:80].partition("-")
    if dash and low.isdecimal() and high.isdecimal() and len(low) < 16 and len(high) < 16:
        return list(hands.filter(pk__gte=int(low), pk__lte=int(high))[:200])
    codes = [c for c in said[:200].split(",") if c]
    return list(hands.filter(code__in=codes)) if codes else []
