"""Joining by the lead's QR code, and the lead's page that shows it."""

from __future__ import annotations

import secrets
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from handsel.bench.people import limits, passes, services, signing
from handsel.bench.people.forms import JoinForm
from handsel.bench.people.gate import needs, open_to_all
from handsel.bench.people.limits import TooManyTries
from handsel.bench.people.models import JoinPass, Person
from handsel.bench.people.views import see_other
from handsel.bench.phone_address import base_for_phones, reaches_phones
from handsel.documents.qr import qr_svg

OFFERED = (
    {"value": "both", "words": "Builder and inspector", "small": "looks at what others built"},
    {"value": "build", "words": "Builder"},
    {"value": "inspect", "words": "Inspector"},
    {"value": "fit", "words": "Fitter", "small": "gets a number to type"},
    {"value": "lead", "words": "Another lead", "small": "gets six words"},
)
WORDS = {o["value"]: o["words"] for o in OFFERED}
KEPT = "join-pass"  # in the lead's session: number, token and role of the pass that is shown


@open_to_all
@require_GET
def typed(request: HttpRequest) -> HttpResponseBase:
    """For a phone whose camera reads no codes: the ten characters by hand."""
    token = passes.cleaned(request.GET.get("code", ""))
    if token:
        return see_other(f"/join/{token}/")
    return render(request, "people/join_typed.html")


@open_to_all
@sensitive_post_parameters("secret")
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, token: str) -> HttpResponseBase:
    """A first name or just the next number, and this phone is in."""
    try:
        given = _opened(request, token)
    except passes.PassEnded as error:
        return render(request, "people/join_ended.html", {"error": error}, status=404)
    form = JoinForm(
        request.POST if request.method == "POST" else None, initial={"client_id": secrets.token_hex(16)}
    )
    told = {"form": form, "token": token, "role": _role(given), "known": _returning(given)}
    if request.method == "POST" and "number" in request.POST:
        return _come_back(request, given, told)
    if request.method == "POST" and form.is_valid():
        person = services.add_person(
            name=form.cleaned_data["name"], joined_by=form.cleaned_data["client_id"], **given.flags()
        )
        return _welcome(request, person)
    return render(request, "people/join.html", told)


def _opened(request: HttpRequest, token: str) -> JoinPass:
    address, what = signing.address_of(request), "the join code"
    limits.begin_try(what, address)
    given = passes.open_pass(token)
    limits.was_right(what, address)
    return given


def _welcome(request: HttpRequest, person: Person) -> HttpResponseBase:
    """Signed in; who got a secret sees it this once."""
    secret = None
    if (person.is_lead or person.may_fit) and not person.has_usable_password():
        secret = services.renew_secret(person)
    response: HttpResponse = see_other("/")
    if secret is not None:
        response = HttpResponse()
    signing.sign_in(request, response, person)
    if secret is not None:
        told = {"secret": secret, "for_whom": person, "goes_on_to": "/"}
        response.content = render(request, "people/shown_once.html", told).content
    return response


def _returning(given: JoinPass) -> list[Person]:
    """Who may say "I was here before" with this pass: people with no more rights than it hands out."""
    rights = given.flags()
    people = Person.objects.filter(is_active=True).order_by("number")
    return [p for p in people if all(rights[k] or not getattr(p, k) for k in rights)]


def _come_back(request: HttpRequest, given: JoinPass, told: dict[str, Any]) -> HttpResponseBase:
    number = request.POST["number"]
    person = next((p for p in _returning(given) if str(p.number) == number), None)
    if person is None:
        return render(request, "people/join.html", told | {"is_unknown": True})
    if person.has_secret:
        asked = {"chosen": person, "is_joining": True}
        if "secret" not in request.POST:
            return render(request, "people/secret.html", asked)
        try:
            signing.check_secret(person, request.POST["secret"], signing.address_of(request))
        except (signing.WrongSecret, TooManyTries) as error:
            asked["error"] = f"{error.what.capitalize()}. {error.do}"
            return render(request, "people/secret.html", asked, status=getattr(error, "status", 403))
    response = see_other("/")
    signing.sign_in(request, response, person)
    return response


def _role(given: JoinPass) -> str:
    role = next(
        (
            r
            for r, rights in passes.ROLES.items()
            if {k for k, v in given.flags().items() if v} == set(rights)
        ),
        "",
    )
    return WORDS.get(role, "helper").lower()


# ---- the lead's side --------------------------------------------------------------------------------


@needs("lead")
@require_GET
def code(request: HttpRequest) -> HttpResponseBase:
    """The code to scan, for as long as it counts."""
    kept = request.session.get(KEPT)
    given = JoinPass.objects.filter(pk=kept["pk"]).first() if kept else None
    told: dict[str, Any] = {"options": OFFERED, "chosen": kept["role"] if kept else "both"}
    if kept and given is not None and given.ended_at is None:
        base = base_for_phones(request)
        left_s = (given.expires_at - timezone.now()).total_seconds()
        told |= {
            "pass": given,
            "is_open": left_s > 0,
            "minutes_left": max(1, round(left_s / 60)),
            "until": given.expires_at,
            "role": WORDS[kept["role"]],
            "url": f"{base}/join/{kept['token']}/",
            "typed_at": f"{base}/join/",
            "code": f"{kept['token'][:5]}-{kept['token'][5:]}",
            "reaches": reaches_phones(base),
        }
        told["qr"] = mark_safe(qr_svg(told["url"], title="Code to join"))
    return render(request, "people/code.html", told)


@needs("lead")
@require_POST
def code_new(request: HttpRequest) -> HttpResponseBase:
    """A new code for a role; the one shown before ends."""
    role = request.POST.get("role", "")
    given, token = passes.new_pass(role, by=request.user)
    _end_shown(request)
    request.session[KEPT] = {"pk": given.pk, "token": token, "role": role}
    return see_other("/people/join/")


@needs("lead")
@require_POST
def code_renew(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Ten minutes more."""
    passes.renew(get_object_or_404(JoinPass, pk=pk))
    return see_other("/people/join/")


@needs("lead")
@require_POST
def code_end(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Nobody joins by this code any more."""
    passes.end(get_object_or_404(JoinPass, pk=pk))
    return see_other("/people/join/")


def _end_shown(request: HttpRequest) -> None:
    kept = request.session.get(KEPT)
    given = JoinPass.objects.filter(pk=kept["pk"]).first() if kept else None
    if given is not None:
        passes.end(given)
