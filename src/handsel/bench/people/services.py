"""Adding people. Signing in and out is beside this, in signing.py."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from handsel.bench.people.models import Person


def add_person(*, name: str = "", at: datetime | None = None, **rights: bool) -> Person:
    """A new person with the next free number and no passphrase."""
    with transaction.atomic():
        last = Person.objects.aggregate(last=Max("number"))["last"] or 0
        person = Person(number=last + 1, name=name.strip()[:40], joined_at=at or timezone.now(), **rights)
        person.set_unusable_password()
        person.save()
    return person


def maker() -> Person:
    """The one person of a bench that a maker uses alone."""
    with transaction.atomic():
        person = Person.objects.order_by("number").first()
        if person is None:
            person = add_person(name="", is_lead=True, may_inspect=True, may_build=True, may_fit=True)
    return person
