"""The lead's checklist before the hall opens, and the page that a phone opens to show that it gets through."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from handsel.bench.addresses import is_loopback
from handsel.bench.people.gate import needs, open_to_all, wants_json
from handsel.bench.people.signing import address_of
from handsel.bench.people.views import see_other
from handsel.bench.phone_address import base_for_phones
from handsel.bench.ready import queries, services
from handsel.bench.ready.finding import BAD, CARE, GOOD
from handsel.bench.ready.forms import BackupForm, ScaleBarForm
from handsel.documents.qr import qr_svg
from handsel.documents.scale_bar import BAR_MM, scale_bar
from handsel.errors import HandselError, OutOfRange


@needs("lead")
@require_GET
def ready(request: HttpRequest) -> HttpResponseBase:
    """May the hall open?"""
    return _page(request)


@needs("lead")
@require_GET
def points(request: HttpRequest) -> HttpResponseBase:
    """Only the list, for the page to keep itself fresh."""
    return render(request, "ready/_points.html", _points(request))


@needs("lead")
@require_POST
def tick(request: HttpRequest) -> HttpResponseBase:
    """Points that only a person can see."""
    item = request.POST.get("item", "")
    if item not in services.BY_HAND:
        raise HandselError("there is no such point", where="the checklist", do="Load the page again.")
    if request.POST.get("state") == "off":
        services.untick(item)
    else:
        services.tick(item, is_good=True, by=request.user)
    return see_other(f"/ready/#{item}")


@needs("lead")
@require_POST
def try_workers(request: HttpRequest) -> HttpResponseBase:
    """Have both workers answer."""
    services.try_workers()
    return see_other("/ready/#answer")


@needs("lead")
@require_POST
def scale(request: HttpRequest) -> HttpResponseBase:
    """What was measured on the printed bars."""
    form = ScaleBarForm(request.POST)
    if form.is_valid():
        try:
            services.measured(form.cleaned_data["across"], form.cleaned_data["along"], by=request.user)
        except OutOfRange as error:
            form.add_error(None, f"{error.what}. {error.do}")
        else:
            return see_other("/ready/#scale-bar")
    return _page(request, scale_form=form)


@needs("lead")
@require_POST
def backup(request: HttpRequest) -> HttpResponseBase:
    """Where the backup will go."""
    form = BackupForm(request.POST)
    if not form.is_valid():
        return _page(request, backup_form=form)
    services.tick("backup", is_good=True, said=form.cleaned_data["folder"], by=request.user)
    return see_other("/ready/#backup")


@needs("lead")
@require_GET
def bar(request: HttpRequest) -> HttpResponseBase:
    """The page to print."""
    response = HttpResponse(scale_bar(request.GET.get("paper", "a4")), content_type="application/pdf")
    response.headers["Content-Disposition"] = 'inline; filename="handsel-scale-bar.pdf"'
    return response


@open_to_all
@require_http_methods(["GET", "POST"])
def phone(request: HttpRequest) -> HttpResponseBase:
    """Opened on a phone, it ticks the lead's list by itself; opened on the laptop, it says that this proves nothing."""
    address = address_of(request)
    is_here = is_loopback(address)
    if request.method == "GET":
        return render(request, "ready/phone.html", {"is_here": is_here})
    if not is_here:
        services.phone_arrived(address)
    if wants_json(request):
        return JsonResponse({"ticked": not is_here})
    return render(request, "ready/phone.html", {"is_here": is_here, "is_ticked": not is_here})


def _page(request: HttpRequest, **forms: Any) -> HttpResponseBase:
    url = f"{base_for_phones(request)}/ready/phone/"
    told = {
        "qr": mark_safe(qr_svg(url, title="Code for the trial with a phone")),
        "phone_url": url,
        "bar_mm": f"{BAR_MM:g}",
        "scale_form": forms.get("scale_form") or ScaleBarForm(),
        "backup_form": forms.get("backup_form") or BackupForm(),
        "scale_open": "scale_form" in forms,
        "backup_open": "backup_form" in forms,
    }
    return render(request, "ready/ready.html", told | _points(request))


def _points(request: HttpRequest) -> dict[str, Any]:
    found = queries.checklist(base_for_phones(request))
    left = [f for f in found if f.state != GOOD]
    return {
        "points": found,
        "by_hand": services.BY_HAND,
        "left_count": len(left),
        "bad_count": sum(f.state == BAD for f in found),
        "care_count": sum(f.state == CARE for f in found),
        "all_good": not left,
    }
