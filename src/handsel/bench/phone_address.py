"""Which address a phone shall open: for QR codes on the lead's screen."""

from __future__ import annotations

import os

from django.http import HttpRequest
from django.http.request import split_domain_port

from handsel.bench.addresses import is_loopback, lan_addresses
from handsel.bench.days.queries import current_day


def base_for_phones(request: HttpRequest) -> str:
    """The address without a slash at its end: set by the lead, else by the server's start, else found here.

    The lead's browser may call this computer "localhost", which on a phone is the phone itself.
    """
    day = current_day()
    for told in (day.address if day is not None else "", os.environ.get("HANDSEL_ADDRESS", "")):
        if told:
            return told.rstrip("/")
    host = request.get_host()
    name, _ = split_domain_port(host)
    own = f"{request.scheme}://{host}"
    if not is_loopback(name):
        return own
    numbers = lan_addresses()
    port = os.environ.get("HANDSEL_PORT") or request.get_port()
    return f"http://{numbers[0]}:{port}" if numbers else own


def reaches_phones(base: str) -> bool:
    """Whether this address means anything on another device."""
    name, _ = split_domain_port(base.split("://", 1)[-1].split("/", 1)[0])
    return bool(name) and not is_loopback(name)
