"""Signing in, switching, signing out, and the very first start."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from handsel.bench.people import phone, services, signing
from handsel.bench.people.forms import WordsForm
from handsel.bench.people.gate import open_to_all
from handsel.bench.people.limits import TooManyTries
from handsel.bench.people.models import Person


def see_other(url: str) -> HttpResponseRedirect:
    """Go on elsewhere with GET after something was stored."""
    response = HttpResponseRedirect(url)
    response.status_code = 303
    return response


@open_to_all
@sensitive_post_parameters("words")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Who is at this screen? People known on this phone go on; the lead types six words; others scan."""
    back = signing.way_back(request)
    form = WordsForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            lead = signing.lead_by_passphrase(form.cleaned_data["words"], signing.address_of(request))
        except (signing.WrongSecret, TooManyTries) as error:
            form.add_error("words", f"{error.what.capitalize()}. {error.do}")
            status = 429 if isinstance(error, TooManyTries) else 200
        else:
            response = see_other(back)
            signing.sign_in(request, response, lead)
            return response
    elif back == "/" and signing.is_at_this_computer(request) and services.unclaimed_lead():
        return see_other("/first/")
    told = {
        "form": form,
        "back": back,
        "was_inside": back != "/",
        "here": phone.people_here(request),
        "at_laptop": signing.is_at_this_computer(request),
    }
    return render(request, "people/sign_in.html", told, status=status)


@open_to_all
@sensitive_post_parameters("secret")
@require_http_methods(["GET", "POST"])
def switch(request: HttpRequest) -> HttpResponseBase:
    """Hand this screen to somebody who has signed in on it before."""
    back = signing.way_back(request)
    here = phone.people_here(request)
    told = {"here": here, "back": back}
    if request.method == "GET":
        return render(request, "people/switch.html", told)
    number = request.POST.get("number", "")
    chosen = next((h for h in here if str(h.person.number) == number), None)
    if chosen is None:
        return render(request, "people/switch.html", told | {"is_unknown": True})
    if chosen.asks_secret:
        asked = told | {"chosen": chosen.person}
        if "secret" not in request.POST:
            return render(request, "people/secret.html", asked)
        try:
            signing.check_secret(chosen.person, request.POST["secret"], signing.address_of(request))
        except (signing.WrongSecret, TooManyTries) as error:
            asked["error"] = f"{error.what.capitalize()}. {error.do}"
            return render(request, "people/secret.html", asked, status=getattr(error, "status", 403))
    response = see_other(back)
    signing.sign_in(request, response, chosen.person)
    return response


@open_to_all
@require_http_methods(["GET", "POST"])
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """Leave this phone."""
    if request.method == "GET":
        return render(request, "people/sign_out.html")
    response: HttpResponse = see_other("/sign-in/")
    signing.sign_out(request, response)
    return response


@open_to_all
@require_http_methods(["GET", "POST"])
def first(request: HttpRequest) -> HttpResponseBase:
    """The very first start, at the computer itself: a lead is made, the passphrase shown this once."""
    if settings.SOLO:
        return see_other("/")
    is_here = signing.is_at_this_computer(request)
    if request.method == "GET" or not is_here:
        told = {"is_here": is_here, "is_open": services.unclaimed_lead()}
        return render(request, "people/first.html", told, status=200 if request.method == "GET" else 403)
    claimed = services.claim_lead()
    if claimed is None:
        return render(request, "people/first.html", {"is_here": True, "is_open": False}, status=409)
    lead, passphrase = claimed
    return _shown_once(request, lead, passphrase)


def _shown_once(request: HttpRequest, person: Person, secret: str) -> HttpResponseBase:
    response = HttpResponse()
    signing.sign_in(request, response, person)
    told = {"secret": secret, "for_whom": person, "goes_on_to": "/"}
    response.content = render(request, "people/shown_once.html", told).content
    return response
