"""Mending what was written about a hand when it was begun: a slip of the pen, or what was not known yet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from handsel.bench.days.models import Day
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.services import check_order
from handsel.bench.people.models import Person
from handsel.errors import HandselError

MENDABLE = ("recipient_code", "side", "scale_ratio", "target_rest_angle_deg", "latex_sensitive")
BUILT_TO = ("side", "scale_ratio")  # a hand that was looked at as one thing does not become another
SEEN = ("observed", "as-shown", "decided")


class TooLate(HandselError):
    """The hand was looked at already."""

    status = 409


def was_looked_at(hand: Hand) -> bool:
    """Whether anything on record was seen of it."""
    return Entry.objects.filter(hand=hand, kind__in=SEEN).exists()


@transaction.atomic
def mend(hand: Hand, day: Day, said: Mapping[str, Any], *, person: Person, client_id: str) -> int:
    """Change what differs, each as an entry that keeps the old value; how many differed."""
    locked = Hand.objects.select_for_update().get(pk=hand.pk)
    changes = [
        (name, getattr(locked, name), said[name]) for name in MENDABLE if said[name] != getattr(locked, name)
    ]
    if Entry.objects.filter(client_id=f"{client_id}-1").exists() or not changes:
        return 0
    check_order(day, said["recipient_code"], said["side"], said["scale_ratio"])
    if any(name in BUILT_TO for name, _, _ in changes) and was_looked_at(locked):
        raise TooLate(
            "it was looked at already as the hand that it was begun as",
            where=locked.shown_code,
            do="If side or scale is wrong, begin a new hand and scrap this one.",
        )
    news = [
        New(kind="changed", what={"field": name, "old": old, "new": new}, client_id=f"{client_id}-{n}")
        for n, (name, old, new) in enumerate(changes, start=1)
    ]
    append(hand, news, person=person)
    Hand.objects.filter(pk=hand.pk).update(**{name: new for name, _, new in changes})
    return len(changes)
