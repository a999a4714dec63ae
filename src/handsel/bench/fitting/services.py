"""Release and hand-over."""

from __future__ import annotations

from handsel.bench.fitting.cautions import cautions, tick_ids
from handsel.bench.fitting.readiness import Readiness, readiness
from handsel.bench.hands.chain import Added, MovedOn, New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.people.models import Person
from handsel.errors import HandselError


class NotReleased(HandselError):
    """Something stands in the way of a release."""

    status = 409

    def __init__(self, hand: Hand, found: Readiness) -> None:
        first = found.obstacles[0] if found.obstacles else None
        super().__init__(
            first.what if first is not None else "the answer is still being worked out",
            where=f"release of {hand.shown_code}",
            do=first.do if first is not None else "Wait a few seconds and press it once more.",
        )
        self.found = found


class NotYet(HandselError):
    """Asked for before its turn."""

    status = 409


def release(hand: Hand, *, person: Person, client_id: str, seen_sha256: str) -> Added | None:
    """Release a hand; None when this was sent before and is stored.

    What it rests on is read outside of the transaction and holds for one length of the record only: the entry
    is refused if anything was added meanwhile, by whomever.
    """
    if Entry.objects.filter(hand=hand, kind="released", client_id=client_id).exists():
        return None
    found = readiness(hand)
    if found.is_ready and seen_sha256 != found.head_sha256:
        raise MovedOn(
            "somebody added to this hand's record since this page was opened",
            where=hand.shown_code,
            do="Read the page again, then release it if it still says so.",
        )
    if not found.is_ready:
        raise NotReleased(hand, found)
    what = found.rests_on | {"cautions_version": cautions("en").sha256[:12]}
    new = New(kind="released", what=what, client_id=client_id)
    return append(hand, [new], person=person, if_count=found.count)[0]


def hand_over(
    hand: Hand, *, person: Person, client_id: str, language: str, to: str, call: str, ticked: tuple[str, ...]
) -> Added:
    """Give a released hand to its wearer, every caution gone through. Sent twice, it is stored once."""
    words = cautions(language)
    left = [i for i in tick_ids(words) if i not in ticked]
    if left:
        raise NotYet(
            f"{len(left)} caution{'s were' if len(left) > 1 else ' was'} not gone through",
            where=hand.shown_code,
            do="Talk each one through together, and tick it.",
        )
    sent = Entry.objects.filter(hand=hand, client_id=client_id).exists()
    if hand.standing != Standing.RELEASED and not sent:
        raise NotYet(
            f"this hand is {Standing(hand.standing).label}",
            where=hand.shown_code,
            do="Only a released hand is handed over; its page says what comes next.",
        )
    what = {
        "language": language,
        "to": to,
        "cautions_gone_through": True,
        "call": " ".join(call.split()),
        "cautions_version": words.sha256[:12],
    }
    return append(hand, [New(kind="handed-over", what=what, client_id=client_id)], person=person)[0]
