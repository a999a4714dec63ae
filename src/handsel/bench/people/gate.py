"""Who may open which page. Every view says so; a view that says nothing is for nobody.

@needs("inspect")     a signed-in inspector or the lead
@needs("build", "fit")  any of these
@needs("anyone")      anyone who is signed in
@open_to_all          the wall, a traveller, joining
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar
from urllib.parse import quote

from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect, JsonResponse
from django.shortcuts import render

View = TypeVar("View", bound=Callable[..., HttpResponseBase])
RIGHTS = ("lead", "inspect", "build", "fit", "anyone")


def needs(*rights: str) -> Callable[[View], View]:
    """Mark a view as open to people with one of these rights."""
    unknown = [r for r in rights if r not in RIGHTS]
    if unknown or not rights:
        raise ValueError(f"rights are some of {', '.join(RIGHTS)}, not {unknown}")

    def mark(view: View) -> View:
        view.handsel_rights = rights  # type: ignore[attr-defined]
        return view

    return mark


def open_to_all(view: View) -> View:
    """Mark a view as open without sign-in."""
    view.handsel_rights = ()  # type: ignore[attr-defined]
    return view


class Gate:
    """Holds every request against what its view asks for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponseBase | None:
        """None lets the request through."""
        if settings.SOLO and not request.user.is_authenticated:
            from handsel.bench.people.services import maker

            login(request, maker())
        rights = getattr(view, "handsel_rights", None)
        if rights == ():
            return None
        person = request.user
        if not person.is_authenticated or not person.is_active:
            return _sign_in(request)
        if rights is not None and any(person.may(right) for right in rights):
            return None
        return _not_yours(request, rights or ("lead",))


def wants_json(request: HttpRequest) -> bool:
    """Whether a script asked, that needs a plain answer."""
    return request.headers.get("Accept", "").startswith("application/json")


def _sign_in(request: HttpRequest) -> HttpResponseBase:
    if wants_json(request):
        return JsonResponse(
            {"what": "You are not signed in on this phone.", "do": "Sign in; your answers are kept."},
            status=401,
        )
    response: HttpResponse = HttpResponseRedirect(
        f"{settings.LOGIN_URL}?next={quote(request.get_full_path() if request.method == 'GET' else '/')}"
    )
    if request.headers.get("HX-Request"):  # a fragment: take the whole page there instead
        response = HttpResponse(status=204, headers={"HX-Redirect": response["Location"]})
    return response


WORDS = {"lead": "the lead", "inspect": "an inspector", "build": "a builder", "fit": "a fitter"}


def _not_yours(request: HttpRequest, rights: tuple[str, ...]) -> HttpResponseBase:
    who = " or ".join(WORDS.get(r, r) for r in rights)
    told = {
        "what": f"This page is for {who}.",
        "do": "Switch to another person, or ask the lead to change what you may do.",
    }
    if wants_json(request):
        return JsonResponse(told, status=403)
    return render(request, "bench/error.html", {"title": "Not for you", **told}, status=403)
