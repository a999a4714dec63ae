"""What the lead's decision page shows: open items in words, what may pass, what never does, and the ways on."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.bench.deciding.services import may_concede
from handsel.bench.hands.casebook import Told, out_of_force
from handsel.bench.hands.head import Head, head_of
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.traveller import codes_kept
from handsel.bench.hands.words import characteristic_words
from handsel.bench.looking.answer_page import for_page
from handsel.bench.looking.answering import known, worked_out
from handsel.documents.wording import reason as reason_words
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Inspection, Item

MOST_ITEMS = 40
SEVERITY_WORDS = {
    "critical": "critical: could hurt somebody",
    "major": "major: unfit for its use",
    "minor": "minor: a blemish",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """One thing that stands open."""

    id: str
    place: str
    key: str  # for ids in the page
    code: str
    title: str
    verdict: str
    severity: str
    is_critical: bool
    reason: str
    to_check: str
    may_pass: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """One concession that holds."""

    seq: int
    title: str
    reason: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Early:
    """A step that was done too early."""

    title: str
    reason: str
    hidden: tuple[str, ...]
    ways_on: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Everything on the page."""

    head: Head
    sentence: str
    blocked_by: str
    drawing: str
    found: tuple[Open, ...]  # seen and not in order, or not decided, or hidden by a step
    unseen: tuple[Open, ...]  # not looked at yet
    unseen_more: int
    passed: tuple[Passed, ...]
    early: tuple[Early, ...]
    computed: tuple[str, ...]  # what the mechanics holds against it
    seen_count: int
    is_closed: bool
    may_order: bool
    may_send_back: bool


def page_of(hand: Hand) -> Page:
    """Read the hand's record and judge it, without the mechanics; those are taken where they were worked out."""
    k = known(hand)
    i = k.inspection()
    told = worked_out(k)
    codes = codes_kept(hand.protocol_id)
    found: list[Open] = []
    unseen: list[Open] = []
    for item in i.open_items:
        row = _open(item, codes, may_concede(item, i, k.protocol))
        (unseen if item.status == "not seen" and not row.may_pass else found).append(row)
    standing = hand.standing
    is_closed = standing in (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED)
    return Page(
        head=head_of(hand),
        sentence=hand.sentence,
        blocked_by=hand.blocked_by,
        drawing=for_page(told["drawing"]) if told is not None else "",
        found=tuple(found),
        unseen=tuple(unseen[:MOST_ITEMS]),
        unseen_more=max(0, len(unseen) - MOST_ITEMS),
        passed=_passed(k.told, k.protocol),
        early=tuple(
            Early(title=o.title, reason=o.reason, hidden=o.hidden, ways_on=o.ways_on) for o in i.out_of_order
        ),
        computed=(hand.blocked_by,) if hand.blocked_by and not _is_item(hand.blocked_by, i) else (),
        seen_count=k.told[-1].seq,
        is_closed=is_closed,
        may_order=standing in (Standing.TO_PUT_RIGHT, Standing.FOR_LEAD),
        may_send_back=not is_closed and standing not in (Standing.ASKED, Standing.LOOKING),
    )


def _is_item(blocked_by: str, i: Inspection) -> bool:
    return any(blocked_by.endswith(f": {item.called}") for item in i.items)


def _open(item: Item, codes: dict[str, str], may_pass: bool) -> Open:
    return Open(
        id=item.id,
        place=item.place,
        key=f"{item.id}-{item.place}" if item.place else item.id,
        code=codes.get(item.id, ""),
        title=item.called,
        verdict=item.status,
        severity=SEVERITY_WORDS[item.severity],
        is_critical=item.severity == "critical",
        reason=reason_words(item),
        to_check=item.to_check,
        may_pass=may_pass,
    )


def _passed(told: tuple[Told, ...], protocol: Protocol) -> tuple[Passed, ...]:
    gone = out_of_force(told)
    return tuple(
        Passed(
            seq=t.seq,
            title=characteristic_words(t.what["of"], t.what.get("place", ""), protocol),
            reason=t.what["reason"],
            by=t.by["called"],
        )
        for t in told
        if t.kind == "conceded" and t.seq not in gone
    )
