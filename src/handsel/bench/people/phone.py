"""Who has signed in on this phone: a signed cookie, so that a shared phone changes hands in two taps.

The cookie names people by number with a proof that ends when their secret is made anew or they are
sent away. Leads and fitters, who can let a hand go, are asked for their secret again once the phone has been
with others for a quarter of an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.crypto import constant_time_compare

from handsel.bench.people.models import Person

COOKIE = "handsel-phone"
SALT = "handsel.people.phone"
KEPT_S = settings.SESSION_COOKIE_AGE
MOST = 8
SECRET_AFTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Here:
    """One person known on this phone."""

    person: Person
    at: float  # when this person last had the phone, seconds since 1970

    @property
    def asks_secret(self) -> bool:
        """Whether switching to this person needs their passphrase or number now."""
        return self.person.has_secret and timezone.now().timestamp() - self.at > SECRET_AFTER.total_seconds()


def people_here(request: HttpRequest) -> tuple[Here, ...]:
    """The people who may be switched to on this phone, the last one first."""
    noted = _noted(request)
    persons = Person.objects.filter(number__in=[n for n, _, _ in noted], is_active=True).in_bulk(
        field_name="number"
    )
    return tuple(
        Here(person=persons[number], at=at)
        for number, proof, at in noted
        if number in persons and constant_time_compare(proof, proof_of(persons[number]))
    )


def remember(request: HttpRequest, response: HttpResponseBase, *persons: Person) -> None:
    """Note on this phone that these people have it now; the first one is signed in."""
    now = timezone.now().timestamp()
    new = [(p.number, proof_of(p), now) for p in persons]
    numbers = {n for n, _, _ in new}
    _write(response, [*new, *(x for x in _noted(request) if x[0] not in numbers)])


def forget(request: HttpRequest, response: HttpResponseBase, person: Person) -> None:
    """Take a person off this phone."""
    _write(response, [x for x in _noted(request) if x[0] != person.number])


def proof_of(person: Person) -> str:
    """Changes whenever the person's secret does."""
    return str(person.get_session_auth_hash())[:24]


def _noted(request: HttpRequest) -> list[tuple[int, str, float]]:
    try:
        noted = signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=KEPT_S)
    except signing.BadSignature:
        return []
    return [(int(n), str(proof), float(at)) for n, proof, at in noted]


def _write(response: HttpResponseBase, noted: list[tuple[int, str, float]]) -> None:
    if not noted:
        response.delete_cookie(COOKIE, samesite="Lax")
        return
    response.set_cookie(
        COOKIE,
        signing.dumps(noted[:MOST], salt=SALT),
        max_age=KEPT_S,
        httponly=True,
        samesite="Lax",
        secure=settings.HTTPS,
    )
