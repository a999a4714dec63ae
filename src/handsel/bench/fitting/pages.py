"""What the fitter's pages show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from handsel.bench.fitting.cautions import cautions, languages
from handsel.bench.fitting.readiness import Obstacle, readiness
from handsel.bench.hands.casebook import Told, told_of
from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.history import when_words
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.hands.next_step import NextStep, next_step
from handsel.bench.hands.once import new_client_id
from handsel.bench.looking.answering import FITTING, known
from handsel.bench.people.models import Person
from handsel.bench.work.cards import open_cards
from handsel.bench.work.page_bits import today
from handsel.inspection.protocol import Protocol

WAITS_MIN = {"on": 5, "off": 20}  # of common practice: first look at the skin, and marks gone


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One way of sitting together: what is looked at in it."""

    title: str
    how: str
    seen: str  # "3 of 5"
    is_done: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FitPage:
    """The fitter's page."""

    head: Head
    is_here: bool  # the hand is at the fitting
    next: NextStep
    turns: tuple[Turn, ...]
    left: int
    clock: str  # when the skin is looked at, and what was noted
    is_worn: bool
    may_release: bool
    has_it: bool
    ids: dict[str, str]


def fit_page(hand: Hand, person: Person) -> FitPage:
    """The fitting of one hand."""
    k = known(hand)
    head = head_of(hand)
    is_here = hand.hold_point == FITTING
    worn, clock = _clock(k.told)
    turns: tuple[Turn, ...] = ()
    left = 0
    if is_here:
        status = {x.key: x.status for x in k.inspection().items}
        turns = _turns(k.protocol, status)
        left = sum(s not in ("conforms", "recorded") for s in status.values())
    return FitPage(
        head=head,
        is_here=is_here,
        next=next_step(hand, person, stage=head.stage, cards=open_cards(k.told)),
        turns=turns,
        left=left,
        clock=clock,
        is_worn=worn,
        may_release=hand.standing == Standing.TO_RELEASE,
        has_it=hand.held_by_id == person.pk,
        ids={name: new_client_id() for name in ("begin", "clock", "note", "put")},
    )


def _turns(protocol: Protocol, status: Mapping[tuple[str, str], str]) -> tuple[Turn, ...]:
    fitting = next(h for h in protocol.hold_points if h.id == FITTING)
    found = []
    for g in fitting.groups:
        keys = [
            key for key in status if (c := protocol.characteristic(key[0])) is not None and c.held == g.id
        ]
        seen = sum(status[key] in ("conforms", "recorded") for key in keys)
        if keys:
            found.append(
                Turn(title=g.title, how=g.how, seen=f"{seen} of {len(keys)}", is_done=seen == len(keys))
            )
    return tuple(found)


def _clock(told: tuple[Told, ...]) -> tuple[bool, str]:
    """Whether it is worn, by the last note of it, and when the skin is looked at next."""
    last = next((t for t in reversed(told) if t.kind == "noted" and t.what.get("clock") in WAITS_MIN), None)
    if last is None:
        return False, ""
    what = last.what["clock"]
    due = datetime.fromisoformat(last.at) + timedelta(minutes=WAITS_MIN[what])
    at, then = when_words(last.at, today()), when_words(due.isoformat(), today())
    over = " That time has come." if timezone.now() >= due else ""
    if what == "on":
        return True, f"On since {at}. Compare colour and feeling with the other arm at {then}.{over}"
    return False, f"Off since {at}. Look whether marks are gone at {then}.{over}"


def clock_note(what: str, now: datetime) -> str:
    """What is written down when the hand goes on or comes off."""
    then = f"{timezone.localtime(now + timedelta(minutes=WAITS_MIN[what])):%H:%M}"
    return (
        f"Put on; colour and feeling again at {then}" if what == "on" else f"Taken off; marks again at {then}"
    )


# ---- release -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleasePage:
    """The release page."""

    head: Head
    is_ready: bool
    is_waiting: bool
    obstacles: tuple[Obstacle, ...]
    more: int
    remarks: tuple[str, ...]  # what stays open and does not stand in the way
    let_pass: tuple[str, ...]
    seen: str
    client_id: str


SHOWN_OBSTACLES = 6


def release_page(hand: Hand) -> ReleasePage:
    """Whether one hand may be released, and what stands in the way."""
    found = readiness(hand)
    protocol = known(hand).protocol
    titles = {c.id: c.title for c in protocol.characteristics}
    return ReleasePage(
        head=head_of(hand),
        is_ready=found.is_ready,
        is_waiting=found.is_waiting,
        obstacles=found.obstacles[:SHOWN_OBSTACLES],
        more=max(0, len(found.obstacles) - SHOWN_OBSTACLES),
        remarks=tuple(titles.get(x["of"], x["of"]) for x in found.rests_on.get("open", ())),
        let_pass=tuple(
            f"{titles.get(x['of'], x['of'])}, by the {x['by']}: {x['reason']}"
            for x in found.rests_on.get("conceded", ())
        ),
        seen=found.head_sha256,
        client_id=new_client_id(),
    )


# ---- hand-over ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionRow:
    """One caution to talk through."""

    id: str
    words: str
    is_ticked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionSection:
    """Cautions under one heading."""

    title: str
    rows: tuple[CautionRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOverPage:
    """The hand-over page."""

    head: Head
    is_here: bool
    is_over: bool
    next: NextStep
    languages: tuple[tuple[str, str], ...]
    language: str
    direction: str
    draft: str
    take_off: str
    call_words: str
    sections: tuple[CautionSection, ...]
    limits: str
    call: str
    to: str
    no_latex: str
    wrong: str
    client_id: str


def hand_over_page(
    hand: Hand,
    person: Person,
    *,
    language: str,
    ticked: tuple[str, ...] = (),
    call: str | None = None,
    to: str = "recipient",
    wrong: str = "",
) -> HandOverPage:
    """The cautions for one hand in one language."""
    words = cautions(language)
    head = head_of(hand)
    return HandOverPage(
        head=head,
        is_here=hand.standing == Standing.RELEASED,
        is_over=hand.standing == Standing.HANDED_OVER,
        next=next_step(hand, person, stage=head.stage, cards=open_cards(told_of(hand))),
        languages=languages(),
        language=words.language,
        direction=words.direction,
        draft=words.draft,
        take_off=words.words["take_off"],
        call_words=words.words["call"],
        sections=tuple(
            CautionSection(
                title=s.title,
                rows=tuple(
                    CautionRow(id=f"{s.id}-{n}", words=text, is_ticked=f"{s.id}-{n}" in ticked)
                    for n, text in enumerate(s.items)
                ),
            )
            for s in words.sections
        ),
        limits=words.limits,
        call=_last_call(hand) if call is None else call,
        to=to,
        no_latex="" if hand.latex_sensitive is False else words.words["no_latex"],
        wrong=wrong,
        client_id=new_client_id(),
    )


def _last_call(hand: Hand) -> str:
    """Whom the last wearer of this day was told to call: nearly always the same."""
    before = Entry.objects.filter(kind="handed-over", hand__day=hand.day_id).order_by("-at").first()
    return str(before.what.get("call", "")) if before is not None else ""
