"""The head of every page about one hand: its label, where it stands, and the line of hold points."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from handsel.bench.days.wording import SHAPES
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.codes import read_code
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.words import hold_point_title
from handsel.errors import HandselError
from handsel.inspection.protocol import Protocol

PASSED_ALL = (Standing.TO_RELEASE, Standing.RELEASED, Standing.HANDED_OVER)
STOPPED = (Standing.TO_PUT_RIGHT, Standing.FOR_LEAD, Standing.SCRAPPED)


class NoSuchHand(HandselError, LookupError):
    """A code that is right in itself and on no hand of these records."""

    status = 404


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One hold point on the line."""

    title: str
    state: str  # "passed", "here", "stopped" or "ahead"


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """All that the head of a hand's page shows."""

    code: str
    shown_code: str
    about: str  # recipient, side and scale
    shape: str
    standing: str
    standing_class: str
    held_by: str
    stage: str  # title of its hold point
    stations: tuple[Station, ...]
    is_practice: bool
    is_closed: bool


def hand_by(code: str) -> Hand:
    """The hand with this code, typed in any way a person might; NoSuchHand or BadCode otherwise."""
    # The texts are long, and remembered under their fingerprints: not read again for every request.
    around = Hand.objects.select_related("design", "protocol", "held_by", "day")
    return _found(around.defer("design__text", "protocol__text"), code)


def bare_hand_by(code: str) -> Hand:
    """The same without what lies around it, for what is asked at every tap."""
    return _found(Hand.objects.all(), code)


def _found(hands: QuerySet[Hand], code: str) -> Hand:
    read = read_code(code)
    hand = hands.filter(code=read).order_by().first()
    if hand is None:
        raise NoSuchHand(
            "no hand has this code here",
            where=f"{read[:3]}-{read[3:]}",
            do="Compare it with the label, or ask the lead whether it belongs to another day's records.",
        )
    return hand


def head_of(hand: Hand) -> Head:
    """The head for one hand."""
    protocol = protocol_kept(hand.protocol_id)
    standing = Standing(hand.standing)
    shape = SHAPES[standing]
    return Head(
        code=hand.code,
        shown_code=hand.shown_code,
        about=f"{hand.recipient_code} · {hand.side} · {100 * hand.scale_ratio:.4g} %",
        shape=shape,
        standing=standing.label,
        standing_class=f"standing-{shape}" if shape != "conforms" else "standing-released",
        held_by=hand.held_by.called if hand.held_by is not None else "",
        stage=hold_point_title(hand.hold_point, protocol),
        stations=stations(hand, protocol),
        is_practice=bool(hand.practice),
        is_closed=standing in (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED),
    )


def stations(hand: Hand, protocol: Protocol) -> tuple[Station, ...]:
    """The line of hold points as it is for one hand."""
    standing = Standing(hand.standing)
    here = len(protocol.hold_points) if standing in PASSED_ALL else protocol.stage(hand.hold_point)
    return tuple(
        Station(
            title=h.title,
            state="passed"
            if n < here
            else "ahead"
            if n > here
            else "stopped"
            if standing in STOPPED
            else "here",
        )
        for n, h in enumerate(protocol.hold_points)
    )
