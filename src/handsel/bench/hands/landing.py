"""Where a label leads: to the page that suits the person and where the hand stands."""

from __future__ import annotations

from handsel.bench.hands.casebook import protocol_kept, told_of
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.hands.next_step import next_step
from handsel.bench.hands.words import hold_point_title
from handsel.bench.people.models import Person
from handsel.bench.work.cards import open_cards


def landing(hand: Hand, person: Person | None) -> str:
    """The address to go on to; the traveller where there is nothing for this person to do."""
    traveller = f"/h/{hand.code}/"
    if person is None:
        return traveller
    cards = open_cards(told_of(hand)) if hand.standing == Standing.TO_PUT_RIGHT else ()
    stage = hold_point_title(hand.hold_point, protocol_kept(hand.protocol_id))
    return next_step(hand, person, stage=stage, cards=cards).url or traveller
