"""The traveller of one hand as a page: a fixed number of queries, however long its record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils import timezone

from handsel.bench.causes.page import CausesPage, causes_page
from handsel.bench.hands.casebook import Told, design_placed, protocol_kept
from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.history import Chapter, history, when_words
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.next_step import NextStep, next_step
from handsel.bench.jobs.models import Job
from handsel.bench.looking.answering import Known, known
from handsel.bench.people.models import Person
from handsel.bench.photos import derived
from handsel.bench.photos.models import Photo, State
from handsel.bench.photos.queries import picture_url
from handsel.bench.work.cards import Card, open_cards
from handsel.bench.work.planning import spoken
from handsel.data.load_figures import figures_of
from handsel.documents.drawing import as_designed
from handsel.documents.hand_map import MapMark, hand_map
from handsel.documents.hand_views import figure_for
from handsel.documents.short_codes import short_codes
from handsel.inspection.result import Inspection, Item
from handsel.rework.result import PoseDrawn

LATEST = 6  # decisions whose drawing may still be kept


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRow:
    """An open rework card."""

    title: str
    number: int
    url: str
    minutes: str
    is_final: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """One characteristic of the drawing, in words: for those who read rather than look."""

    code: str
    title: str
    status: str
    shape: str
    shown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TextRow:
    """A text that the hand is judged by."""

    what: str
    name: str
    version: str
    fingerprint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Traveller:
    """All that the page shows."""

    head: Head
    next: NextStep
    sentence: str
    causes: CausesPage | None  # why it is not right, where it is not
    svg: str
    drawn: str
    marks: tuple[MarkRow, ...]
    open_count: int
    cards: tuple[CardRow, ...]
    chapters: tuple[Chapter, ...]
    facts: tuple[tuple[str, str], ...]
    texts: tuple[TextRow, ...]
    text_changes: tuple[str, ...]
    keeps_its_own: str  # said while the day's new hands are judged by another protocol
    papers: tuple[tuple[str, str], ...]  # words and address
    entry_count: int
    head_sha256: str


def traveller(hand: Hand, person: Person | None) -> Traveller:
    """The page for one hand, as this person may see it."""
    k = known(hand)
    i = k.inspection()
    cards = open_cards(k.told)
    head = head_of(hand)
    pose, drawn = last_pose(k)
    today = f"{timezone.localtime():%Y-%m-%d}"
    shown = tuple(x for x in i.items if _is_shown(x, hand))
    return Traveller(
        head=head,
        next=next_step(hand, person, stage=head.stage, cards=cards),
        sentence=hand.sentence if hand.standing != Standing.BUILDING else "",
        causes=causes_page(hand, k.told, k.protocol, i, person, pose),
        svg=_drawn(hand, pose, tuple(_mark(x, i) for x in shown)),
        drawn=drawn,
        marks=tuple(_mark_row(x, i) for x in i.open_items if _is_shown(x, hand)),
        open_count=len(i.open_items),
        cards=tuple(card_row(c, hand) for c in cards),
        chapters=history(k.told, k.protocol, thumbs(k.told) if person is not None else {}, today),
        facts=_facts(hand, today),
        texts=_texts(hand, k.told),
        text_changes=tuple(_text_changes(k.told, today)),
        keeps_its_own=_keeps_its_own(hand, head.is_closed),
        papers=papers_of(hand, bool(cards)),
        entry_count=hand.entry_count,
        head_sha256=hand.head_sha256,
    )


def card_row(card: Card, hand: Hand) -> CardRow:
    """A card as a line that leads to it."""
    return CardRow(
        title=card.title,
        number=card.number,
        url=f"/h/{hand.code}/cards/{card.seq}/",
        minutes=f"{card.what['minutes']:.0f} min",
        is_final=bool(card.what.get("irreversible")),
    )


# ---- the drawing -------------------------------------------------------------------------------------


def last_pose(k: Known) -> tuple[PoseDrawn | None, str]:
    """The pose that was worked out last from this hand's readings, and what to say below the drawing."""
    decided = [t for t in k.told if t.kind == "decided" and t.what.get("case_key")][-LATEST:]
    keys = [f"answer-{k.key}", *(f"answer-{t.what['case_key']}" for t in reversed(decided))]
    found = dict(
        Job.objects.filter(key__in=keys, state=Job.DONE).values_list("key", "result__assessment__drawn_now")
    )
    for key in keys:
        if isinstance(found.get(key), dict):
            return _pose(found[key]), "Drawn as it rests by its last readings."
    return None, "Drawn as designed: its rest angle has not been worked out yet."


def _pose(table: dict[str, Any]) -> PoseDrawn:
    return PoseDrawn(
        label=table["label"],
        wrist_deg=table["wrist_deg"],
        tilt_deg=table["tilt_deg"],
        phi_deg=tuple((a, b) for a, b in table["phi_deg"]),
        tension_slide_mm=table["tension_slide_mm"],
        thumb_pin_mm=table["thumb_pin_mm"],
        taut=tuple(table["taut"]),
    )


def _is_shown(x: Item, hand: Hand) -> bool:
    """What belongs to the present hold point, and whatever is wrong from an earlier one."""
    return bool(x.hold_point) and (x.hold_point == hand.hold_point or x.is_open)


def _mark(x: Item, i: Inspection) -> MapMark:
    c = i.protocol.characteristic(x.id)
    region = figure_for(c, figures_of(i.protocol.id)).region if c is not None else "hand"
    return MapMark(code=codes_kept(i.protocol.sha256)[x.id], place=x.place, region=region, state=x.status)


@lru_cache(maxsize=16)
def codes_kept(fingerprint: str) -> dict[str, str]:
    """Short codes of a protocol, counted once."""
    return short_codes(protocol_kept(fingerprint))


def _drawn(hand: Hand, pose: PoseDrawn | None, marks: tuple[MapMark, ...]) -> str:
    return _map(hand.design_id, hand.scale_ratio, hand.side, pose, marks, hand.shown_code)


@lru_cache(maxsize=256)
def _map(
    design: str, scale_ratio: float, side: str, pose: PoseDrawn | None, marks: tuple[MapMark, ...], code: str
) -> str:
    placed = design_placed(design, scale_ratio, side)
    return hand_map(
        placed, pose or as_designed(placed), marks, side=side, title=f"Hand {code} with its checks"
    )


STATUS_SHAPES = {
    "conforms": "conforms",
    "recorded": "conforms",
    "does not conform": "not",
    "undecided": "undecided",
    "not seen": "unseen",
}


def _mark_row(x: Item, i: Inspection) -> MarkRow:
    return MarkRow(
        code=codes_kept(i.protocol.sha256).get(x.id, ""),
        title=f"{x.title} ({spoken(x.place)})" if x.place else x.title,
        status=x.status,
        shape=STATUS_SHAPES[x.status],
        shown=x.shown,
    )


# ---- the rest ----------------------------------------------------------------------------------------


def thumbs(told: Iterable[Told]) -> dict[str, str]:
    """Small pictures of the photos that entries name, in one query; only for people who are signed in.

    Of a photo that was read it is the one with what was seen drawn on it.
    """
    told = tuple(told)
    ids = [p for t in told if isinstance(p := t.what.get("photo"), str) and p]
    if not ids:
        return {}
    drawn = {
        derived.name_of(t.what["photo"], derived.drawn_as(t.what["measured"])): t.what["photo"]
        for t in told
        if t.what.get("measured") and t.what.get("photo")
    }
    found = Photo.objects.filter(client_id__in=[*ids, *drawn], state=State.READY).exclude(thumb_sha256="")
    small = {p.client_id: picture_url(p.thumb_sha256) for p in found}
    return small | {photo: small[name] for name, photo in drawn.items() if name in small}


def _facts(hand: Hand, today: str) -> tuple[tuple[str, str], ...]:
    target = hand.target_rest_angle_deg
    latex = {True: "keep latex away", False: "latex is no matter", None: "not known: keep latex away"}
    facts = [
        ("Recipient", hand.recipient_code),
        ("Serial", hand.serial),
        ("Side", hand.side),
        ("Scale", f"{100 * hand.scale_ratio:.4g} %"),
        ("Latex", latex[hand.latex_sensitive]),
        ("Begun", when_words(hand.begun_at.isoformat(), today)),
    ]
    if target is not None:
        facts.append(("Rest angle asked for", f"{target:g}°"))
    return tuple(facts)


def _texts(hand: Hand, told: tuple[Told, ...]) -> tuple[TextRow, ...]:
    rows = [
        TextRow(what=what, name=kept.name, version=kept.version, fingerprint=kept.sha256[:12])
        for what, kept in (("Design", hand.design), ("Protocol", hand.protocol))
    ]
    causes = told[0].what.get("catalogue") if told else None
    if causes:
        rows.append(
            TextRow(
                what="Causes",
                name=causes["name"],
                version=causes["version"],
                fingerprint=causes["sha256"][:12],
            )
        )
    return tuple(rows)


def _keeps_its_own(hand: Hand, is_closed: bool) -> str:
    if is_closed or hand.protocol_id == hand.day.protocol_id:
        return ""
    kept = hand.protocol
    return (
        f"New hands of this day are judged by another protocol. This one is still judged by {kept.name} "
        f"{kept.version} ({kept.sha256[:12]}), until the lead moves it over."
    )


def _text_changes(told: Iterable[Told], today: str) -> Iterable[str]:
    """Each change of protocol, with what it was before: the past stays as it was judged."""
    before: dict[str, Any] | None = None
    for t in told:
        if t.kind not in ("begun", "judged-by"):
            continue
        now = t.what["protocol"]
        if before is not None:
            yield (
                f"{when_words(t.at, today)}, {t.by['called']}: {before['name']} {before['version']} "
                f"({before['sha256'][:12]}) gave way to {now['name']} {now['version']} ({now['sha256'][:12]}). "
                "What was seen before then stays on record under the old one."
            )
        before = now


def papers_of(hand: Hand, has_cards: bool) -> tuple[tuple[str, str], ...]:
    """The papers that make sense now."""
    found = [("Traveller", "traveller")]
    if has_cards:
        found.append(("Rework cards", "rework"))
    if hand.standing in (Standing.RELEASED, Standing.HANDED_OVER):
        found += [("Release record", "release"), ("Hand-over sheet", "hand-over")]
    return tuple((words, f"/h/{hand.code}/papers/{name}.pdf") for words, name in found)
