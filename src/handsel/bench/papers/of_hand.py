"""The papers of one hand, made from its record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from handsel import __version__
from handsel.bench.days.models import Lot
from handsel.bench.hands.casebook import Told, out_of_force, protocol_kept
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.traveller import codes_kept
from handsel.bench.hands.words import hold_point_title, work_title
from handsel.bench.looking.answering import Known, known
from handsel.bench.papers.naming import moment_of, on_paper
from handsel.bench.work.cards import Card, open_cards
from handsel.bench.work.planning import spoken
from handsel.data.load_hand_over import load_hand_over
from handsel.documents.hand_over import HandOverSheet, hand_over_sheet
from handsel.documents.release_record import (
    Concession,
    HoldPointSeen,
    LotUsed,
    NumberHeld,
    ReleaseRecord,
    ReworkDone,
    release_record,
)
from handsel.documents.rework_card import LookAgain, ReworkCard, rework_cards
from handsel.documents.traveller import Traveller, travellers
from handsel.documents.wording import minus
from handsel.errors import HandselError
from handsel.inspection.protocol import Protocol


class NoSuchPaper(HandselError):
    """A paper that does not make sense for this hand now."""

    status = 409


def traveller_pdf(hand: Hand, base: str, *, whole: bool) -> bytes:
    """The traveller: the whole protocol, or from the hold point on that the hand has reached."""
    protocol = protocol_kept(hand.protocol_id)
    start = "" if whole or protocol.stage(hand.hold_point) == 0 else hand.hold_point
    return travellers([Traveller(hand=on_paper(hand, base), protocol=protocol, from_hold_point=start)])


# ---- rework ------------------------------------------------------------------------------------------


def rework_pdf(hand: Hand, base: str, *, seq: int | None = None) -> bytes:
    """The open rework cards, or one of them by the number of its entry."""
    k = known(hand)
    cards = [c for c in open_cards(k.told) if seq in (None, c.seq)]
    if not cards:
        raise NoSuchPaper(
            "there is no open rework card",
            where=hand.shown_code,
            do="Look at its traveller for what comes next.",
        )
    return rework_cards([_card(c, k, base) for c in cards])


def _card(card: Card, k: Known, base: str) -> ReworkCard:
    w = card.what
    codes = codes_kept(k.hand.protocol_id)
    again: dict[str, dict[str, Any]] = {}
    for r in w.get("recheck", ()):
        row = again.setdefault(r["id"], {"title": r["title"], "reason": r.get("reason", ""), "places": []})
        if r.get("place"):
            row["places"].append(r["place"])
    return ReworkCard(
        hand=on_paper(k.hand, base),
        number=card.number,
        hold_point=hold_point_title(k.hand.hold_point, k.protocol),
        found=tuple(_placed(b["title"], b.get("place", "")) for b in w.get("because", ())),
        sentence=w.get("sentence") or w["title"],
        steps=tuple(w.get("steps") or (w["how"],)),
        spares=tuple(w.get("spares", ())),
        cautions=tuple(w.get("cautions", ())),
        again=tuple(
            LookAgain(code=codes.get(id, ""), title=r["title"], places=tuple(r["places"]), reason=r["reason"])
            for id, r in again.items()
        ),
        skill=w.get("skill", ""),
        minutes=w.get("minutes"),
        ordered_by=card.ordered_by,
        ordered_at=moment_of(card.ordered_at),
        cannot_be_undone=bool(w.get("irreversible")),
    )


def _placed(title: str, place: str) -> str:
    return f"{title} ({spoken(place)})" if place else title


# ---- release -----------------------------------------------------------------------------------------


def release_pdf(hand: Hand, base: str) -> bytes:
    """What the hand was released on."""
    return release_record(release_of(hand, base))


def release_of(hand: Hand, base: str) -> ReleaseRecord:
    """The release record as data; its fingerprint is that of the release itself, so that a reprint is the same."""
    released = Entry.objects.filter(hand=hand, kind="released").first()
    if released is None:
        raise NoSuchPaper(
            "the hand is not released",
            where=hand.shown_code,
            do="Release it first; then its record can be printed.",
        )
    k = known(hand)
    told = tuple(t for t in k.told if t.seq <= released.seq)
    gone = out_of_force(told)
    by = released.told()
    items = k.inspection().items
    codes = codes_kept(hand.protocol_id)
    return ReleaseRecord(
        hand=on_paper(hand, base),
        released_by=by["by"]["called"],
        released_at=moment_of(by["at"]),
        place=hand.day.place,
        seen=seen_of(told, k.protocol, Counter(i.hold_point for i in items if i.status != "not seen")),
        numbers=tuple(
            NumberHeld(
                code=codes.get(i.id, ""),
                title=i.called,
                value=i.decision.quantity,
                asked=minus(str(i.decision.limits)).replace(" percent", " %"),
                p_conform=i.p_conform,
                by=_who_read(told, i.id, i.place, gone),
            )
            for i in items
            if i.decision is not None
        ),
        head_sha256=released.sha256,
        entries_count=released.seq,
        concessions=concessions_of(told, k.protocol),
        rework=tuple(
            ReworkDone(
                title=_placed(work_title(t.what["what"], k.protocol), t.what.get("place", "")),
                by=t.by["called"],
                at=moment_of(t.at),
            )
            for t in told
            if t.kind == "did" and t.what.get("is_rework") and t.seq not in gone
        ),
        lots=lots_of(told),
        notes=tuple(t.what["text"] for t in told if t.kind == "noted" and t.seq not in gone),
        program_version=__version__,
    )


def seen_of(told: Iterable[Told], protocol: Protocol, looked: Mapping[str, int]) -> tuple[HoldPointSeen, ...]:
    """Each hold point: who looked, when it was passed, how much was found there at first."""
    told = tuple(told)
    point_of = {c.id: c.hold_point for c in protocol.characteristics}
    point_of |= {g.id: h.id for h in protocol.hold_points for g in h.groups}
    point_of |= {h.id: h.id for h in protocol.hold_points}
    rows = []
    for h in protocol.hold_points:
        looks = [
            t
            for t in told
            if t.kind in ("observed", "as-shown")
            and not t.is_for_causes
            and point_of.get(t.what.get("of") or t.what.get("group", "")) == h.id
        ]
        decided = [t for t in told if t.kind == "decided" and t.what["hold_point"] == h.id]
        passed = [t for t in decided if t.what["whole"] == "release"]
        found = {
            (o["of"], o["place"])
            for t in decided
            for o in t.what["open"]
            if o["status"] == "does not conform" and point_of.get(o["of"]) == h.id
        }
        if looks or decided:
            rows.append(
                HoldPointSeen(
                    title=h.title,
                    by=tuple(dict.fromkeys(t.by["called"] for t in looks)),
                    passed_at=moment_of(passed[-1].at) if passed else None,
                    looked_count=looked.get(h.id, 0),
                    found_count=len(found),
                )
            )
    return tuple(rows)


def _who_read(told: Iterable[Told], of: str, place: str, gone: frozenset[int]) -> str:
    read = [
        t.by["called"]
        for t in told
        if t.kind == "observed"
        and not t.is_for_causes
        and t.seq not in gone
        and t.what["of"] == of
        and t.what.get("place", "") in (place, "")
    ]
    return read[-1] if read else ""


def concessions_of(
    told: Iterable[Told], protocol: Protocol, *, hand_code: str = ""
) -> tuple[Concession, ...]:
    """What was let pass, as far as it counts: a critical one never does, whatever the record says."""
    told = tuple(told)
    gone, codes = out_of_force(told), codes_kept(protocol.sha256)
    found = []
    for t in told:
        c = protocol.characteristic(t.what["of"]) if t.kind == "conceded" else None
        if c is None or t.seq in gone or c.severity == "critical":
            continue
        found.append(
            Concession(
                code=codes.get(c.id, ""),
                title=_placed(c.title, t.what.get("place", "")),
                severity=c.severity,
                reason=t.what["reason"],
                by=t.by["called"],
                at=moment_of(t.at),
                hand_code=hand_code,
            )
        )
    return tuple(found)


def lots_of(told: Iterable[Told]) -> tuple[LotUsed, ...]:
    """What went into the hand, as far as somebody wrote it down."""
    used: dict[tuple[str, str], None] = {}
    kinds = dict(Lot.KINDS)
    for t in told:
        if t.kind == "lot-used":
            kind = t.what.get("kind", "")
            used[(str(kinds.get(kind, kind)), t.what.get("name") or "see photo")] = None
    return tuple(LotUsed(kind=kind, lot=name) for kind, name in used)


# ---- hand-over ---------------------------------------------------------------------------------------


def hand_over_pdf(hand: Hand, base: str, *, language: str = "") -> bytes:
    """What wearer and carer take home; in the language of the hand-over unless another is asked for."""
    if not Entry.objects.filter(hand=hand, kind="released").exists():
        raise NoSuchPaper(
            "the hand is not released",
            where=hand.shown_code,
            do="Release it first; then the sheet goes with it.",
        )
    handed = Entry.objects.filter(hand=hand, kind="handed-over").order_by("-seq").first()
    what = handed.what if handed is not None else {}
    given: date | None = moment_of(handed.told()["at"]).date() if handed is not None else None
    sheet = HandOverSheet(
        hand=replace(on_paper(hand, base), latex_sensitive=hand.latex_sensitive is True),
        given_on=given,
        whom_to_call=str(what.get("call", "")),
    )
    return hand_over_sheet(sheet, load_hand_over(language or str(what.get("language") or "en")))
