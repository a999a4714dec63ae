"""By which names the bench answers.

A page on the internet could point its own name at this laptop and read the records through somebody's
browser. So names are held against a list: numbers (nobody can point a number elsewhere), this
computer's own names, and the ones the lead has set. A number changes with the hall's router; that is fine.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.http.request import split_domain_port
from django.shortcuts import render

from handsel.bench.addresses import is_loopback

NAMES_FILE = "names.txt"  # one name a line, set by the lead


@lru_cache(maxsize=1)
def own_names() -> frozenset[str]:
    """This computer's names, as phones on the same network may call it."""
    name = socket.gethostname().lower()
    short = name.split(".")[0]
    return frozenset({"localhost", name, short, f"{short}.local", f"{short}.home", f"{short}.lan"})


def set_names() -> frozenset[str]:
    """The names that the lead has set."""
    return _names_in(settings.DATA / NAMES_FILE)


def add_name(name: str) -> None:
    """Let the bench answer by one more name, from now on and after the next start."""
    path: Path = settings.DATA / NAMES_FILE
    names = sorted(set_names() | {name.lower()})
    path.write_text("".join(f"{n}\n" for n in names), encoding="utf-8")


def _names_in(path: Path) -> frozenset[str]:
    try:
        return frozenset(
            line.strip().lower() for line in path.read_text(encoding="utf-8").splitlines() if line
        )
    except FileNotFoundError:
        return frozenset()


def answers_to(host: str) -> bool:
    """Whether a Host header names this bench."""
    name, _ = split_domain_port(host)
    if not name:
        return False
    if settings.SOLO:  # nobody signs in, so nothing but this computer's own names will do
        return is_loopback(name)
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return name in own_names() or name in settings.NAMES or name in set_names()
    return True


class HostGuard:
    """Refuses requests that came by a name nobody gave this bench."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        host = request.META.get("HTTP_HOST") or request.META.get("SERVER_NAME", "")
        if answers_to(host):
            return self.get_response(request)
        told = {
            "title": "Unknown address",
            "what": "This bench does not know itself by the name in your browser's address line.",
            "do": "Scan the lead's code, or let the lead add this name to the day.",
        }
        # Rendered without the request: nothing of it has been checked yet.
        return render(None, "bench/error.html", told, status=400)
