"""The day as a line: stations along a thread, and at each the hands that are there. For the lead and the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Case, Count, F, IntegerField, QuerySet, Value, When, Window
from django.db.models.functions import RowNumber

from handsel.bench.days.models import Day
from handsel.bench.days.wording import FINISHED, LABELS, LONG, SHAPES, WAITING, span_words, waits_long
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand, Standing

OUT = "out"  # the station after the last hold point


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag:
    """One hand as a label on the line."""

    code: str
    url: str
    shape: str
    words: str
    waited: str
    is_waiting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One hold point, how many hands are there, and those that come first."""

    id: str
    title: str
    count: int
    tags: tuple[Tag, ...]
    standings: tuple[tuple[str, str, int], ...]  # shape, words, how many

    @property
    def more(self) -> int:
        """Hands there that are not shown."""
        return self.count - len(self.tags)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """All stations, and what the whole comes to."""

    stations: tuple[Station, ...]
    count: int
    open_count: int
    released_count: int
    handed_over_count: int
    scrapped_count: int
    saved_count: int  # once refused, and passed since


def hands_of(day: Day) -> QuerySet[Hand]:
    """The hands of a day that will go to somebody; practice hands are not among them."""
    return Hand.objects.filter(day=day, practice="")


def urgency(now: datetime) -> Case:
    """What needs the lead first: decisions, then what nobody has taken up for long, then the rest, then the done."""
    return Case(
        When(standing=Standing.FOR_LEAD, then=Value(0)),
        When(standing__in=WAITING, held_by=None, since__lt=now - LONG, then=Value(1)),
        When(standing=Standing.TO_PUT_RIGHT, then=Value(2)),
        When(standing__in=FINISHED, then=Value(9)),
        default=Value(3),
        output_field=IntegerField(),
    )


def line_of(day: Day, *, now: datetime, tags: int) -> Line:
    """The line in three queries, however many hands there are."""
    hands = hands_of(day)
    counts: dict[str, dict[str, int]] = {}
    for hold_point, standing, n in (
        hands.values_list("hold_point", "standing").annotate(Count("pk")).order_by()
    ):
        here = counts.setdefault(OUT if standing in FINISHED else hold_point, {})
        here[standing] = here.get(standing, 0) + n
    saved = hands.filter(
        was_refused=True,
        standing__in=(Standing.TO_FIT, Standing.TO_RELEASE, Standing.RELEASED, Standing.HANDED_OVER),
    ).count()
    first = _first_at_each(hands.exclude(standing__in=FINISHED), now, tags)
    protocol = protocol_kept(day.protocol_id)
    titles = {h.id: h.title for h in protocol.hold_points}
    titles |= {
        hold_point: hold_point for hold_point in counts if hold_point != OUT and hold_point not in titles
    }
    out: dict[Any, int] = {**counts.pop(OUT, {})}
    stations = tuple(
        _station(id, title, counts.get(id, {}), first.get(id, ()), now) for id, title in titles.items()
    )
    open_count = sum(s.count for s in stations)
    return Line(
        stations=stations,
        count=open_count + sum(out.values()),
        open_count=open_count,
        released_count=out.get(Standing.RELEASED, 0),
        handed_over_count=out.get(Standing.HANDED_OVER, 0),
        scrapped_count=out.get(Standing.SCRAPPED, 0),
        saved_count=saved,
    )


def _first_at_each(hands: QuerySet[Hand], now: datetime, tags: int) -> dict[str, list[Hand]]:
    first_comes = [urgency(now).asc(), F("since").asc(), F("pk").asc()]
    ranked = hands.annotate(
        nth=Window(RowNumber(), partition_by=[F("hold_point")], order_by=first_comes)
    ).filter(nth__lte=tags)
    found: dict[str, list[Hand]] = {}
    for hand in ranked.order_by("nth").only("code", "standing", "hold_point", "since", "held_by_id"):
        found.setdefault(hand.hold_point, []).append(hand)
    return found


def _station(id: str, title: str, counts: dict[str, int], hands: Sequence[Hand], now: datetime) -> Station:
    return Station(
        id=id,
        title=title,
        count=sum(counts.values()),
        tags=tuple(tag_of(h, now) for h in hands),
        standings=tuple((SHAPES[s], label, counts[s]) for s, label in LABELS.items() if counts.get(s)),
    )


def tag_of(hand: Hand, now: datetime) -> Tag:
    """A hand's label on the line."""
    standing = hand.standing
    is_waiting = waits_long(standing, hand.since, is_held=hand.held_by_id is not None, now=now)
    return Tag(
        code=hand.shown_code,
        url=f"/h/{hand.code}/",
        shape=SHAPES[standing],
        words=LABELS[standing],
        waited=span_words(now - hand.since),
        is_waiting=is_waiting,
    )
