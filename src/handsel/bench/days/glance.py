"""The lead's list: every hand, where it stands, what blocks it, who has it, how long; what needs the lead first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from handsel.bench.days.line import hands_of, urgency
from handsel.bench.days.models import Day
from handsel.bench.days.signs import Signs, signs_of
from handsel.bench.days.wording import FINISHED, LABELS, SHAPES, span_words, waits_long
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand, Standing

PAGE = 60  # hands on one page
LONGEST_QUERY = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One hand, ready to be shown."""

    key: str
    code: str
    url: str
    slug: str
    shape: str
    words: str
    about: str
    blocks: str
    signs: tuple[str, ...]
    who: str
    waited: str
    waited_long: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page of rows."""

    rows: tuple[Row, ...]
    count: int  # hands that fit what was typed
    first: int  # number of the first row shown, from 1
    previous: int  # page number; 0: none
    following: int
    for_lead_count: int  # on this page: what wants a decision or a look


def page_of(day: Day, *, q: str = "", number: int = 1, now: datetime) -> Page:
    """A page of the list: four queries at most, however many hands there are."""
    hands = hands_of(day)
    typed = q.strip()[:LONGEST_QUERY]
    for word in typed.split()[:6]:
        hands = hands.filter(_fits(word))
    count = hands.count()
    pages = max(1, -(-count // PAGE))
    number = min(max(1, number), pages)
    start = (number - 1) * PAGE
    # Which come first is found out on narrow rows; only those that are shown are read whole.
    ranks = dict(
        hands.annotate(urgency=urgency(now))
        .order_by("urgency", "since", "pk")
        .values_list("pk", "urgency")[start : start + PAGE]
    )
    whole = Hand.objects.select_related("held_by", "design").defer("design__text").in_bulk(list(ranks))
    shown = [whole[pk] for pk in ranks]
    signs = signs_of([h for h in shown if h.standing not in FINISHED])
    titles = {h.id: h.title for h in protocol_kept(day.protocol_id).hold_points}
    rows = [_row(h, signs.get(h.pk, Signs()), titles, now) for h in shown]
    # What two people saw differently wants the lead too: up, behind what waits for a decision.
    ranked = sorted(
        zip(shown, rows, strict=True),
        key=lambda x: (_rank(ranks[x[0].pk], signs.get(x[0].pk, Signs())), x[0].since, x[0].pk),
    )
    return Page(
        rows=tuple(row for _, row in ranked),
        count=count,
        first=start + 1 if count else 0,
        previous=number - 1,
        following=number + 1 if number < pages else 0,
        for_lead_count=sum(
            h.standing == Standing.FOR_LEAD or bool(signs.get(h.pk, Signs()).differ) for h in shown
        ),
    )


def _rank(urgency: int, signs: Signs) -> float:
    return min(float(urgency), 0.5) if signs.differ else float(urgency)


def _fits(word: str) -> Q:
    """A hand that has this word somewhere: codes, standing, what blocks it, who has it."""
    plain = word.replace("-", "")
    said = [value for value, label in LABELS.items() if word.lower() in label]
    return (
        Q(code__icontains=plain or word)
        | Q(recipient_code__icontains=word)
        | Q(serial__icontains=word)
        | Q(hold_point__icontains=word)
        | Q(blocked_by__icontains=word)
        | Q(held_by__name__icontains=word)
        | Q(side__iexact=word)
        | Q(standing__in=said)
    )


def _row(hand: Hand, signs: Signs, titles: dict[str, str], now: datetime) -> Row:
    standing = hand.standing
    is_done = standing in FINISHED
    title = titles.get(hand.hold_point, hand.hold_point)
    return Row(
        key=hand.code,
        code=hand.shown_code,
        url=f"/h/{hand.code}/decide/" if standing == Standing.FOR_LEAD else f"/h/{hand.code}/",
        slug=standing.replace(" ", "-"),
        shape=SHAPES[standing],
        words=LABELS[standing],
        about=f"{hand.recipient_code} {hand.side}" + ("" if is_done else f", {title.lower()}"),
        blocks="" if standing in (Standing.RELEASED, Standing.HANDED_OVER) else hand.blocked_by,
        signs=signs.words,
        who=hand.held_by.shown if hand.held_by is not None else "",
        waited="" if is_done else span_words(now - hand.since),
        waited_long=waits_long(standing, hand.since, is_held=hand.held_by_id is not None, now=now),
    )
