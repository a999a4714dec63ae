"""What the builder's page of a hand shows."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.bench.days.models import Lot
from handsel.bench.hands.casebook import Told
from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.history import when_words
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.once import new_client_id
from handsel.bench.looking.answering import known
from handsel.bench.people.models import Person
from handsel.bench.work.cards import Card, cards_of
from handsel.bench.work.page_bits import Option, today
from handsel.data.load_steps import BuildStep, build_stages
from handsel.inspection.protocol import Protocol, gravity
from handsel.inspection.result import OutOfOrder
from handsel.inspection.rules import AnswerRule

SHORT_LIST = 7  # own checks shown before an inspection


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One step of the instructions."""

    id: str
    title: str
    how: str
    caution: str
    reports: str  # build step to report; empty where nothing is recorded
    done: str  # "14:05 by builder 3"
    client_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """One thing that the builder looks at before asking."""

    value: str
    words: str
    small: str
    done: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """A rework card in the list."""

    number: int
    title: str
    url: str
    about: str
    is_open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildPage:
    """The builder's page."""

    head: Head
    question: str
    intro: str
    gate: str  # what was passed, and what must wait
    steps: tuple[StepRow, ...]
    minutes: str
    early: tuple[OutOfOrder, ...]
    cards: tuple[CardLine, ...]
    first_card: str  # address of the first open one
    may_order: bool
    for_lead: bool
    may_ask: bool
    is_waiting: bool
    checks: tuple[CheckRow, ...]
    others: tuple[Option, ...]
    reworks: tuple[Option, ...]
    lots: tuple[Option, ...]
    lots_used: tuple[str, ...]
    has_it: bool  # this person has the hand
    ids: dict[str, str]  # an id for each form


def build_page(hand: Hand, person: Person) -> BuildPage:
    """The builder's page of one hand."""
    k = known(hand)
    protocol, head = k.protocol, head_of(hand)
    standing = Standing(hand.standing)
    cards = cards_of(k.told)
    waiting = [c for c in cards if c.is_open]
    stage = next(s for s in build_stages(protocol) if s.hold_point == hand.hold_point)
    is_building = standing == Standing.BUILDING
    return BuildPage(
        head=head,
        question=_question(standing, head, len(waiting)),
        intro=stage.intro if is_building else "",
        gate=_gate(hand, protocol),
        steps=tuple(_step_row(s, k.told) for s in stage.steps),
        minutes=f"about {sum(s.minutes for s in stage.steps):.0f} min",
        early=k.inspection().out_of_order,
        cards=tuple(_card_line(c, hand) for c in cards if c.is_open or standing == Standing.TO_PUT_RIGHT),
        first_card=f"/h/{hand.code}/cards/{waiting[0].seq}/" if waiting else "",
        may_order=standing == Standing.TO_PUT_RIGHT and not waiting and not _any_done_since_decided(k.told),
        for_lead=standing == Standing.FOR_LEAD,
        may_ask=standing in (Standing.BUILDING, Standing.TO_PUT_RIGHT, Standing.TO_FIT) and not waiting,
        is_waiting=standing in (Standing.ASKED, Standing.LOOKING),
        checks=_checks(hand, protocol, k.told),
        others=tuple(_others(hand, protocol, stage.steps)),
        reworks=tuple(
            Option(value=r.id, words=r.title, url=f"/h/{hand.code}/build/step/{r.id}/")
            for r in protocol.reworks
        ),
        lots=tuple(
            Option(value=str(lot.pk), words=str(lot))
            for lot in Lot.objects.filter(day=hand.day_id, used_up_at=None)
        ),
        lots_used=tuple(t.what["name"] or t.what["kind"] for t in k.told if t.kind == "lot-used"),
        has_it=hand.held_by_id == person.pk,
        ids={name: new_client_id() for name in ("order", "ask", "checks", "note", "lot", "take", "put")},
    )


def _question(standing: Standing, head: Head, cards: int) -> str:
    if standing == Standing.TO_PUT_RIGHT:
        return "Put it right" if cards else "Something has to be put right"
    return {
        Standing.BUILDING: f"Build up to “{head.stage}”",
        Standing.ASKED: f"“{head.stage}” waits to be looked at",
        Standing.LOOKING: f"“{head.stage}” is being looked at",
        Standing.FOR_LEAD: "The lead decides first",
        Standing.TO_FIT: "It goes to the fitter now",
        Standing.TO_RELEASE: "It waits for its release",
        Standing.RELEASED: "Released",
        Standing.HANDED_OVER: "Handed over",
        Standing.SCRAPPED: "Scrapped",
    }[standing]


def _gate(hand: Hand, protocol: Protocol) -> str:
    """What is passed, and what waits for the coming hold point."""
    at = protocol.stage(hand.hold_point)
    coming = protocol.hold_points[at]
    passed = f"“{protocol.hold_points[at - 1].title}” is passed. " if at else ""
    return f"{passed}Next stop: “{coming.title}”. {coming.before}"


def _step_row(s: BuildStep, told: tuple[Told, ...]) -> StepRow:
    did = next((t for t in reversed(told) if t.kind == "did" and t.what["what"] == s.reports), None)
    done = f"reported {when_words(did.at, today())} by {did.by['called']}" if did is not None else ""
    return StepRow(
        id=s.id,
        title=s.title,
        how=s.how,
        caution=s.caution,
        reports=s.reports,
        done=done,
        client_id=new_client_id(),
    )


def _card_line(c: Card, hand: Hand) -> CardLine:
    about = f"{c.what['minutes']:.0f} min · {c.what['skill']}"
    if c.done_by:
        about = f"done by {c.done_by}"
    elif c.taken_back:
        about = f"taken back: {c.taken_back}"
    return CardLine(
        number=c.number, title=c.title, url=f"/h/{hand.code}/cards/{c.seq}/", about=about, is_open=c.is_open
    )


def _any_done_since_decided(told: tuple[Told, ...]) -> bool:
    """Whether somebody has worked on it since: then it is looked at again, and no card is written from before."""
    for t in reversed(told):
        if t.kind == "decided":
            return False
        if t.kind == "did":
            return True
    return False


def _checks(hand: Hand, protocol: Protocol, told: tuple[Told, ...]) -> tuple[CheckRow, ...]:
    """A short list of the coming hold point: what could hurt, then what is most often wrong."""
    if hand.standing not in (Standing.BUILDING, Standing.TO_PUT_RIGHT):
        return ()
    since = max((t.seq for t in told if t.kind in ("decided", "did")), default=0)
    done = {t.what["of"] for t in told if t.kind == "self-checked" and t.seq > since}
    mine = [
        c
        for c in protocol.characteristics
        if c.hold_point == hand.hold_point
        and isinstance(c.rule, AnswerRule)
        and c.rule.decides
        and c.method != "ask"
    ]
    mine.sort(key=lambda c: (gravity(c.severity) > 0, -c.prior_nonconforming))
    return tuple(
        CheckRow(value=c.id, words=c.title, small=c.how, done=c.id in done) for c in mine[:SHORT_LIST]
    )


def _others(hand: Hand, protocol: Protocol, told_here: tuple[BuildStep, ...]) -> list[Option]:
    """Build steps that belong to other stages: someone may have done one of them all the same."""
    here = {s.reports for s in told_here}
    return [
        Option(
            value=s.id, words=f"{s.title[:1].upper()}{s.title[1:]}", url=f"/h/{hand.code}/build/step/{s.id}/"
        )
        for s in protocol.steps
        if s.id not in here
    ]
