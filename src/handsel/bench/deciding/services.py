"""What only the lead decides: letting something pass with a reason, sending back, scrapping.

The core refuses what must never be conceded whatever the record says; here it is refused before anything
is written, with the way on. Every form carries the length of the record it was made from: when two decide
at once, the second looks again first.
"""

from __future__ import annotations

from handsel.bench.hands.casebook import out_of_force
from handsel.bench.hands.chain import MovedOn, New, append
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.looking.answering import Known, ask, known
from handsel.bench.people.models import Person
from handsel.errors import HandselError, OutOfRange
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Inspection, Item

SHORTEST_REASON, LONGEST_REASON = 4, 300
# While somebody builds or looks, a concession is only written down; the next decision takes it in.
UNDER_WAY = (Standing.BUILDING, Standing.LOOKING)


class NotConceded(HandselError):
    """Something that may not pass, with the reason and the way on."""

    status = 409


def reason_of(typed: str, *, where: str) -> str:
    """A reason that says something."""
    reason = " ".join(typed.split())
    if len(reason) < SHORTEST_REASON:
        raise OutOfRange("the reason is missing", where=where, do="Write in a few words why; it is printed.")
    if len(reason) > LONGEST_REASON:
        raise OutOfRange(
            f"the reason has {len(reason)} characters; {LONGEST_REASON} fit on the papers",
            where=where,
            do="Say it in fewer words.",
        )
    return reason


def concede(
    hand: Hand, *, of: str, place: str, reason: str, seen_count: int, person: Person, client_id: str
) -> None:
    """Let one thing at one place pass, with the reason; then the hand is decided again."""
    new = New(kind="conceded", what={"of": of, "place": place, "reason": reason}, client_id=client_id)
    if not Entry.objects.filter(client_id=client_id).exists():
        k = known(hand)
        must_be_concedable(k, of, place, person)
        new.what["reason"] = reason_of(reason, where=hand.shown_code)
    else:
        new.what["reason"] = " ".join(reason.split())
    added = append(hand, [new], person=person, if_count=seen_count)[0]
    if added.is_new:
        _decide_again(hand, person)


def take_back(hand: Hand, *, seq: int, seen_count: int, person: Person, client_id: str) -> None:
    """Take a concession back; then the hand is decided again."""
    k = known(hand)
    if not Entry.objects.filter(client_id=client_id).exists():
        gone = out_of_force(k.told)
        if not any(t.seq == seq and t.kind == "conceded" and t.seq not in gone for t in k.told):
            raise OutOfRange(
                "this is no concession that holds",
                where=f"entry {seq} of {hand.shown_code}",
                do="Load the page again.",
            )
    new = New(
        kind="withdrawn",
        what={"seq": seq, "reason": "the lead takes the concession back"},
        client_id=client_id,
    )
    added = append(hand, [new], person=person, if_count=seen_count)[0]
    if added.is_new:
        _decide_again(hand, person)


def _decide_again(hand: Hand, person: Person) -> None:
    if hand.standing in UNDER_WAY:
        return
    try:
        ask(hand, person)
    except MovedOn:  # somebody wrote in between: whoever did has it decided
        return


def must_be_concedable(k: Known, of: str, place: str, person: Person) -> None:
    """Raise NotConceded where the thing may not pass."""
    where = k.hand.shown_code
    c = k.protocol.characteristic(of)
    if c is None:
        raise NotConceded(
            "what was computed from the readings is not conceded",
            where=where,
            do="Put it right by its rework, or read again.",
        )
    if c.severity == "critical":
        instead = f" Its substitute check: {c.substitute.how}" if c.substitute is not None else ""
        raise NotConceded(
            f"“{c.title}” is critical and never conceded: somebody could be hurt",
            where=where,
            do=f"Put it right and look at it again.{instead}",
        )
    if person.role not in k.protocol.concession_roles:
        raise NotConceded(
            f"only {' or '.join(k.protocol.concession_roles)} may concede",
            where=where,
            do="Ask them to decide.",
        )
    item = next((i for i in k.inspection().items if i.key == (of, place)), None)
    if item is None or not item.is_open:
        raise NotConceded(
            f"“{c.title}” is not open at this hand",
            where=where,
            do="Load the page again: it shows what is open now.",
        )
    if item.status == "not seen" and item.called not in hidden_titles(k.inspection()):
        raise NotConceded(
            f"“{item.called}” has not been looked at and still can be",
            where=where,
            do="Let an inspector look at it first.",
        )


def hidden_titles(i: Inspection) -> frozenset[str]:
    """What a step done too early has hidden."""
    return frozenset(title for o in i.out_of_order for title in o.hidden)


def may_concede(item: Item, i: Inspection, protocol: Protocol) -> bool:
    """Whether the page offers a concession for this item."""
    return (
        item.is_open
        and item.severity != "critical"
        and protocol.characteristic(item.id) is not None
        and (item.status != "not seen" or item.called in hidden_titles(i))
    )


def send_back(hand: Hand, *, seen_count: int, person: Person, client_id: str) -> None:
    """Have the hand looked at again at its hold point."""
    new = New(kind="asked", what={"hold_point": hand.hold_point}, client_id=client_id)
    append(hand, [new], person=person, if_count=seen_count)


def scrap(hand: Hand, *, reason: str, seen_count: int, person: Person, client_id: str) -> None:
    """Give the hand up for good. Its record stays."""
    reason = reason_of(reason, where=hand.shown_code)
    append(
        hand,
        [New(kind="scrapped", what={"reason": reason}, client_id=client_id)],
        person=person,
        if_count=seen_count,
    )
