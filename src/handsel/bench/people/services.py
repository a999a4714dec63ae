"""Adding people and changing what they may do. Signing in and out is beside this, in signing.py."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from handsel.bench.people.models import Person
from handsel.bench.people.passphrases import new_passphrase, new_pin
from handsel.errors import HandselError


class StillNeeded(HandselError):
    """The last lead cannot be sent away."""

    status = 409


def add_person(
    *, name: str = "", at: datetime | None = None, joined_by: str | None = None, **rights: bool
) -> Person:
    """A new person with the next free number and no secret. Sent twice with one client id, added once."""
    with transaction.atomic():
        again = Person.objects.filter(joined_by=joined_by).first() if joined_by else None
        if again is not None:
            return again
        last = Person.objects.aggregate(last=Max("number"))["last"] or 0
        person = Person(
            number=last + 1,
            name=name.strip()[:40],
            joined_at=at or timezone.now(),
            joined_by=joined_by,
            **rights,
        )
        person.set_unusable_password()
        person.save()
    return person


def maker() -> Person:
    """The one person of a bench that a maker uses alone."""
    with transaction.atomic():
        person = Person.objects.filter(is_active=True, is_lead=True).order_by("number").first()
        if person is None:
            person = add_person(name="", is_lead=True, may_inspect=True, may_build=True, may_fit=True)
    return person


def first_lead() -> str | None:
    """At the very first start: a lead and the passphrase, which is shown once. None when somebody leads already."""
    with transaction.atomic():
        lead = Person.objects.filter(is_lead=True, is_active=True).order_by("number").first()
        if lead is not None and lead.has_usable_password():
            return None
        if lead is None:
            lead = add_person(is_lead=True, may_inspect=True, may_build=True, may_fit=True)
        return renew_secret(lead)


def unclaimed_lead() -> bool:
    """Whether no lead has ever signed in: only then may the computer itself make one without a passphrase."""
    return not Person.objects.filter(is_lead=True, last_login__isnull=False).exists()


def claim_lead() -> tuple[Person, str] | None:
    """The first lead with a new passphrase, if none has ever signed in. The one shown before ends."""
    with transaction.atomic():
        if not unclaimed_lead():
            return None
        lead = Person.objects.filter(is_lead=True, is_active=True).order_by("number").first()
        if lead is None:
            lead = add_person(is_lead=True, may_inspect=True, may_build=True, may_fit=True)
        return lead, renew_secret(lead)


def renew_secret(person: Person) -> str:
    """A new passphrase for a lead or number for a fitter; ends every sign-in this person has."""
    secret = new_passphrase() if person.is_lead else new_pin()
    person.set_password(secret)
    person.wrong_count = 0
    person.save(update_fields=["password", "wrong_count"])
    return secret


def end_sign_ins(person: Person) -> None:
    """Sign a person without a secret out everywhere: the proof in their cookies no longer holds."""
    person.set_unusable_password()
    person.save(update_fields=["password"])


def change_rights(
    person: Person, *, is_lead: bool, may_inspect: bool, may_build: bool, may_fit: bool
) -> str | None:
    """Set what a person may do. Returns a secret to show once, when the new rights ask for one."""
    with transaction.atomic():
        if person.is_lead and not is_lead:
            _not_the_last_lead(person)
        had = "passphrase" if person.is_lead else "number" if person.may_fit else ""
        person.is_lead, person.may_inspect, person.may_build, person.may_fit = (
            is_lead, may_inspect, may_build, may_fit,
        )  # fmt: skip
        person.save(update_fields=["is_lead", "may_inspect", "may_build", "may_fit"])
        needs = "passphrase" if person.is_lead else "number" if person.may_fit else ""
        if needs == had:
            return None
        if needs:
            return renew_secret(person)
        end_sign_ins(person)
        return None


def set_active(person: Person, is_active: bool) -> None:
    """Send a person away, or let them in again. What they recorded stays."""
    with transaction.atomic():
        if not is_active:
            _not_the_last_lead(person)
        person.is_active = is_active
        person.save(update_fields=["is_active"])


def forget_name(person: Person) -> None:
    """Clear the first name; records never had it, they carry role and number."""
    person.name = ""
    person.save(update_fields=["name"])


def _not_the_last_lead(person: Person) -> None:
    others = Person.objects.filter(is_lead=True, is_active=True).exclude(pk=person.pk)
    if person.is_lead and person.is_active and not others.exists():
        raise StillNeeded(
            "this is the only lead, and somebody has to lead",
            where=person.called,
            do="Make another person lead first.",
        )
