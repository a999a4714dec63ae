"""What every answer tells the browser not to do."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

# Nothing from elsewhere, nothing inline. `blob:` and `data:` are pictures the phone itself has just taken.
POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


class SecureHeaders:
    """Adds them, to files and errors too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Permissions-Policy"] = "geolocation=(), microphone=(), payment=(), usb=()"
        if settings.HTTPS:
            response.headers["Strict-Transport-Security"] = "max-age=31536000"
            response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        # What is on record changes by the minute, and a shared phone's back button must not show another's page.
        # Files and pictures that never change under their address have said so themselves by now.
        response.headers.setdefault("Cache-Control", "no-store")
        return response
