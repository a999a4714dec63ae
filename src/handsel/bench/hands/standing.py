"""Where a hand stands, folded from its record one entry at a time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from handsel.bench.hands.models import Hand, Standing
from handsel.bench.people.models import Person


def move_on(hand: Hand, kind: str, what: dict[str, Any], person: Person, at: datetime) -> None:
    """Change the hand's standing, holder and reasons for what the entry says. Does not save."""
    before = hand.standing
    step = _STEPS.get(kind)
    if step is not None:
        step(hand, what, person, at)
    if hand.standing != before:
        hand.since = at


def _seen(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    if what.get("from") == "causes":
        return  # said to find a cause: it moves nothing
    # Whoever looks again at a hand that was ready to go has it decided again.
    if hand.standing in (Standing.BUILDING, Standing.ASKED, Standing.TO_RELEASE):
        hand.standing = Standing.LOOKING
        hand.held_by = person


def _asked(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.standing = Standing.ASKED
    hand.held_by = None
    hand.blocked_by = ""


def _decided(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.sentence = what["sentence"][:1000]
    hand.blocked_by = what.get("blocked_by", "")[:300]
    hand.held_by = None
    whole = what["whole"]
    if whole == "release":
        hand.hold_point = what["next_hold_point"] or hand.hold_point
        hand.standing = (
            Standing.TO_RELEASE
            if not what["next_hold_point"]
            else Standing.TO_FIT
            if what.get("next_is_fitting")
            else Standing.BUILDING
        )
        return
    if whole in ("rework", "scrap part"):
        hand.was_refused = True
    hand.standing = {
        "rework": Standing.TO_PUT_RIGHT,
        "scrap part": Standing.FOR_LEAD,
        "not decided yet": Standing.ASKED,
    }[whole]


def _ordered(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.standing = Standing.TO_PUT_RIGHT
    hand.held_by = None


def _did(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    if what.get("is_rework") and what.get("closes_card") and not what.get("cards_left"):
        _asked(hand, what, person, at)
    elif what.get("is_rework") and hand.standing in (Standing.TO_FIT, Standing.TO_RELEASE):
        _asked(hand, what, person, at)  # it undid something that had been seen


def _taken(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.held_by = person
    if what.get("to") == "look" and hand.standing in (Standing.BUILDING, Standing.ASKED):
        hand.standing = Standing.LOOKING


def _put_down(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.held_by = None
    if hand.standing == Standing.LOOKING:
        hand.standing = Standing.ASKED


def _scrapped(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.standing, hand.held_by, hand.blocked_by = Standing.SCRAPPED, None, what["reason"][:300]


def _released(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.standing, hand.held_by, hand.blocked_by, hand.released_at = Standing.RELEASED, None, "", at


def _handed_over(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    hand.standing, hand.held_by = Standing.HANDED_OVER, None


def _undone(hand: Hand, what: dict[str, Any], person: Person, at: datetime) -> None:
    """Something recorded before a decision was taken back, or its ground changed: it must be decided again."""
    if what.get("from") == "causes":
        return
    if hand.standing in (Standing.TO_FIT, Standing.TO_RELEASE, Standing.FOR_LEAD, Standing.TO_PUT_RIGHT):
        hand.standing = Standing.ASKED


_STEPS: dict[str, Callable[[Hand, dict[str, Any], Person, datetime], None]] = {
    "observed": _seen,
    "as-shown": _seen,
    "asked": _asked,
    "decided": _decided,
    "ordered": _ordered,
    "did": _did,
    "taken": _taken,
    "put-down": _put_down,
    "scrapped": _scrapped,
    "released": _released,
    "handed-over": _handed_over,
    "withdrawn": _undone,
    "conceded": _undone,
    "judged-by": _undone,
    "changed": _undone,
}
