"""Errors as people can use them: what happened, where, what to do. Never a stack trace, never a lost answer."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from django.core.exceptions import RequestDataTooBig, SuspiciousOperation, TooManyFieldsSent
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render

from handsel.bench.people.gate import wants_json
from handsel.errors import HandselError

log = logging.getLogger("handsel")

BUSY = {
    "title": "Not stored",
    "what": "The records could not be written just now.",
    "do": "Nothing of this was stored. Wait a moment and send it again; a phone that kept answers does so by itself.",
}
FULL = {
    "title": "Not stored",
    "what": "There is no room left on the disk of the lead's laptop.",
    "do": "Nothing of this was stored. Tell the lead: free some room, then send it again.",
}
NOT_UNDERSTOOD = {
    "title": "Not understood",
    "what": "The browser sent something that this page does not know.",
    "do": "Go back, load the page again and repeat the step.",
}
TOO_MUCH = {
    "title": "Too much at once",
    "what": "What was sent is larger than this page takes.",
    "do": "Send less at a time; a photo may have up to 40 MB.",
}
# the cross-site check failed: nearly always a page left open since before a sign-in
TOO_OLD = {
    "title": "Page too old",
    "what": "This page was opened before somebody signed in on this phone, or not on this bench.",
    "do": "Load it again and repeat the last step. Answers kept on the phone are not lost.",
}
NOT_HERE = {
    "title": "Not here",
    "what": "There is nothing at this address.",
    "do": "Check the code on the label, or go to the first page and type it there.",
}
NOT_FOR_YOU = {"title": "Not for you", "what": "This is not open to you.", "do": "Ask the lead."}


def answer(request: HttpRequest, status: int, told: dict[str, Any]) -> HttpResponseBase:
    """The same words as a page or, for a script, as JSON."""
    if wants_json(request):
        return JsonResponse({k: v for k, v in told.items() if k != "title"}, status=status)
    return render(request, "bench/error.html", told, status=status)


class PlainErrors:
    """Turns what a view raises into words."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        try:
            return self.get_response(request)
        except (RequestDataTooBig, TooManyFieldsSent):
            return answer(request, 413, TOO_MUCH)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponseBase | None:
        """None leaves it to Django: 404, and 500 for what nobody thought of."""
        if isinstance(error, HandselError):
            told = {"title": "That did not work", "what": error.what, "where": error.where, "do": error.do}
            return answer(request, getattr(error, "status", 400), told)
        if isinstance(error, (RequestDataTooBig, TooManyFieldsSent)):
            return answer(request, 413, TOO_MUCH)
        if isinstance(error, SuspiciousOperation):
            return answer(request, 400, NOT_UNDERSTOOD)
        if isinstance(error, OperationalError):
            return not_stored(request, error)
        if isinstance(error, OSError) and error.errno == 28:
            return answer(request, 507, FULL)
        return None


def not_stored(request: HttpRequest, error: OperationalError) -> HttpResponseBase:
    """Disk full, locked or broken: nothing was written, since a transaction is whole or not at all."""
    log.error("not stored: %s", error)
    full = "full" in str(error).lower()
    response = answer(request, 507 if full else 503, FULL if full else BUSY)
    response.headers["Retry-After"] = "3"
    return response


def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponseBase:
    return answer(request, 403, TOO_OLD)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    return answer(request, 400, NOT_UNDERSTOOD)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    return answer(request, 404, NOT_HERE)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    return answer(request, 403, NOT_FOR_YOU)


def broken(request: HttpRequest) -> HttpResponse:
    """Something nobody thought of. As little as can fail again is used to say so."""
    if wants_json(request):
        return JsonResponse(
            {"what": "The bench made a mistake.", "do": "Nothing was stored. Try once more."}, status=500
        )
    return HttpResponse(
        "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>"
        "<title>handsel</title><link rel=stylesheet href=/static/bench/handsel.css>"
        "<h1>The bench made a mistake</h1><p>Nothing was stored by this step. Go back and "
        "try once more; if it comes again, tell the lead and go on with the paper traveller.</p>"
        "<p><a href='/'>To the first page</a></p></html>",
        status=500,
    )
