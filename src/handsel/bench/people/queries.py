"""What pages show of people, and what waits for each of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.days.wording import count_words, span_words, waits_long
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.people.models import Person

MOST_ROWS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """One person in the lead's list."""

    number: int
    name: str
    called: str
    may: str
    holding: str
    joined: datetime
    is_active: bool
    is_you: bool


def people_rows(viewer: Person) -> list[PersonRow]:
    """Everybody, in the order they came."""
    counted = Person.objects.annotate(holding_count=Count("holding", distinct=True)).order_by("number")
    return [
        PersonRow(
            number=p.number,
            name=p.name,
            called=p.called,
            may=_may(p),
            holding=count_words(p.holding_count, "hand", "hands") if p.holding_count else "",
            joined=p.joined_at,
            is_active=p.is_active,
            is_you=p.pk == viewer.pk,
        )
        for p in counted
    ]


def _may(p: Person) -> str:
    if p.is_lead:
        return "leads"
    words = [
        w for has, w in ((p.may_build, "builds"), (p.may_inspect, "inspects"), (p.may_fit, "fits")) if has
    ]
    return " and ".join(words) or "looks on"


def held_by(person: Person) -> list[Hand]:
    """The hands a person has now."""
    return list(Hand.objects.filter(held_by=person).order_by("since")[:MOST_ROWS])


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One hand that waits for somebody, as the list of hands shows it."""

    code: str
    url: str
    standing: str
    words: str
    about: str
    blocks: str
    who: str
    waited: str
    waited_long: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A group of hands under one heading."""

    head: str
    rows: tuple[Row, ...]
    more_count: int


def waiting_for(person: Person, day: Day | None) -> tuple[Waiting, ...]:
    """What waits for this person, the longest first; one query for the hands of all groups."""
    groups = _groups(person)
    if day is None or not groups:
        return ()
    wanted = Q(held_by=person)
    for _, standings in groups:
        wanted |= Q(standing__in=standings)
    hands = list(
        Hand.objects.filter(wanted, day=day, practice="")
        .exclude(standing__in=(Standing.HANDED_OVER, Standing.SCRAPPED))
        .select_related("held_by")
        .order_by("since")[:200]
    )
    now = timezone.now()
    found = []
    mine = [h for h in hands if h.held_by_id == person.pk]
    seen = {h.pk for h in mine}
    for head, some in [
        ("In your hands", mine),
        *((head, [h for h in hands if h.standing in standings]) for head, standings in groups),
    ]:
        fresh = [h for h in some if h.pk not in seen or some is mine]
        seen |= {h.pk for h in fresh}
        if fresh:
            rows = tuple(_row(h, now) for h in fresh[:MOST_ROWS])
            found.append(Waiting(head=head, rows=rows, more_count=len(fresh) - len(rows)))
    return tuple(found)


def _groups(p: Person) -> list[tuple[str, tuple[Any, ...]]]:
    groups: list[tuple[str, tuple[Any, ...]]] = []
    if p.is_lead:
        groups.append(("For you to decide", (Standing.FOR_LEAD,)))
    if p.may_inspect:
        groups.append(("Waiting to be looked at", (Standing.ASKED,)))
    if p.may_build:
        groups.append(("To put right", (Standing.TO_PUT_RIGHT,)))
        groups.append(("On the bench", (Standing.BUILDING,)))
    if p.may_fit:
        groups.append(("Ready to fit", (Standing.TO_FIT,)))
        groups.append(("Ready to release", (Standing.TO_RELEASE,)))
        groups.append(("To hand over", (Standing.RELEASED,)))
    return groups


def _row(hand: Hand, now: datetime) -> Row:
    return Row(
        code=hand.shown_code,
        url=f"/l/{hand.code}/",
        standing=hand.standing,
        words="ready to release" if hand.standing == Standing.TO_RELEASE else "",
        about=f"{hand.recipient_code}, {hand.side}",
        blocks=hand.blocked_by,
        who=hand.held_by.shown if hand.held_by is not None else "",
        waited=span_words(now - hand.since),
        waited_long=waits_long(hand.standing, hand.since, is_held=hand.held_by_id is not None, now=now),
    )
