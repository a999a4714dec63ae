"""Signing in, on, and out. A sign-in always makes a new session key, so one known before is worth nothing."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import login, logout
from django.contrib.auth.hashers import check_password, make_password
from django.db.models import F
from django.http import HttpRequest, HttpResponseBase
from django.utils.http import url_has_allowed_host_and_scheme

from handsel.bench.addresses import is_loopback
from handsel.bench.people import limits, phone
from handsel.bench.people.models import Person
from handsel.bench.people.passphrases import as_kept
from handsel.errors import HandselError

BACKEND = "django.contrib.auth.backends.ModelBackend"
MOST_WRONG = 10  # in a row; then a fitter's number ends and the lead makes a new one


class WrongSecret(HandselError):
    """A passphrase or number that is nobody's, or not this person's: the two are not told apart."""

    status = 403


def sign_in(request: HttpRequest, response: HttpResponseBase, person: Person) -> None:
    """Hand this phone to a person; whoever had it stays known on it for a while."""
    before = request.user if request.user.is_authenticated else None
    login(request, person, backend=BACKEND)
    others = [before] if before is not None and before.pk != person.pk else []
    phone.remember(request, response, person, *others)


def sign_out(request: HttpRequest, response: HttpResponseBase) -> None:
    """End the sign-in and take the person off this phone."""
    if request.user.is_authenticated:
        phone.forget(request, response, request.user)
    logout(request)


def lead_by_passphrase(typed: str, address: str) -> Person:
    """The lead whose passphrase this is. Every wrong try costs, and takes as long as a right one."""
    what = "the lead's passphrase"
    limits.begin_try(what, address)
    words = as_kept(typed)
    leads = list(Person.objects.filter(is_lead=True, is_active=True).order_by("number"))
    right = [p for p in leads if check_password(words, p.password)]
    if not leads:
        make_password(words)  # as slow as looking at one
    if not words or not right:
        raise WrongSecret(
            "these are not a lead's words", where=what, do="Look at them again; case and spaces do not count."
        )
    limits.was_right(what, address)
    return right[0]


def check_secret(person: Person, typed: str, address: str) -> None:
    """Whether somebody knows this person's passphrase or number; WrongSecret otherwise."""
    what = "the passphrase" if person.is_lead else "the fitter's number"
    do = "Try again, or ask the lead for a new one."
    limits.begin_try(what, address)
    if not person.is_lead and person.wrong_count >= MOST_WRONG:
        raise WrongSecret(
            "this number has ended after too many wrong tries", where=what, do="Ask the lead for a new one."
        )
    if not check_password(as_kept(typed), person.password):
        Person.objects.filter(pk=person.pk).update(wrong_count=F("wrong_count") + 1)
        raise WrongSecret("that was not it", where=what, do=do)
    limits.was_right(what, address)
    if person.wrong_count:
        Person.objects.filter(pk=person.pk).update(wrong_count=0)


def address_of(request: HttpRequest) -> str:
    """Where the request came from; behind a trusted proxy the server has put the phone's own address there."""
    return str(request.META.get("REMOTE_ADDR", ""))


def is_at_this_computer(request: HttpRequest) -> bool:
    """Whether somebody sits at the computer itself. Behind a proxy that cannot be known, so it is not."""
    name = request.get_host().rsplit(":", 1)[0]
    return not settings.HTTPS and is_loopback(address_of(request)) and is_loopback(name)


def way_back(request: HttpRequest, default: str = "/") -> str:
    """The page to return to: only one of our own."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    own = url_has_allowed_host_and_scheme(wanted, allowed_hosts=None, require_https=False)
    return wanted if own and wanted.startswith("/") and len(wanted) <= 500 else default
