"""Practice hands: begun for a newcomer, looked at in the real flow, and talked through at the end."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.hands.casebook import Told, case_of, out_of_force, protocol_kept, told_of
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.services import begin_hand
from handsel.bench.hands.words import answer_words, as_it_should_be, characteristic_words
from handsel.bench.looking import answering
from handsel.bench.people.models import Person
from handsel.data.load_practice import PracticeFault, Shown, practice_faults
from handsel.errors import HandselError
from handsel.inspection.deciding import due
from handsel.inspection.protocol import HAND, Characteristic, Protocol
from handsel.inspection.rules import NumberRule

MADE_UP = "practice"  # where an answer comes from that nobody gave
CLOSE = 0.5  # a number written down to within half a unit was read as told
SIGNS = {"deg": "°", "percent": " %", "mm": " mm", "turn": " turns"}


class NoPractice(HandselError):
    """There is nothing to practise on now."""

    status = 409


def unfinished(person: Person) -> Hand | None:
    """The practice hand that this person has begun and not had decided yet."""
    mine = Entry.objects.filter(kind="begun", person=person).exclude(hand__practice="")
    for entry in mine.select_related("hand").order_by("-at")[:3]:
        if not is_finished(entry.hand, told_of(entry.hand)):
            return entry.hand
    return None


def begin(person: Person, *, client_id: str) -> Hand:
    """A practice hand for a newcomer, with a fault that this person has not had yet. Sent twice, it is one."""
    again = Hand.objects.filter(entries__client_id=client_id).first() or unfinished(person)
    if again is not None:
        return again
    day = Day.objects.filter(closed_at=None).select_related("design", "protocol").first()
    if day is None:
        raise NoPractice("no day is open", where="practice", do="Let the lead open one first.")
    fault = _another_fault(person, protocol_kept(day.protocol_id))
    with transaction.atomic():
        hand = begin_hand(
            day=day,
            recipient_code=f"P-{person.number}",
            side="right",
            scale_ratio=1.0,
            person=person,
            client_id=client_id,
            practice=fault.id,
        )
        for stage in protocol_kept(hand.protocol_id).hold_points:
            if stage.id == fault.hold_point:
                break
            append(hand, _in_order(hand, stage.id), person=person)
            answering.ask(hand, person)  # no mechanics before the cords are in: decided at once
    return hand


def _another_fault(person: Person, protocol: Protocol) -> PracticeFault:
    faults = practice_faults(protocol)
    if not faults:
        raise NoPractice(
            "there is no practice hand for this day's protocol",
            where="practice",
            do="Ask the lead to show you.",
        )
    had = set(
        Entry.objects.filter(kind="begun", person=person)
        .exclude(hand__practice="")
        .values_list("hand__practice", flat=True)
    )
    return secrets.choice([f for f in faults if f.id not in had] or list(faults))


def _in_order(hand: Hand, hold_point: str) -> list[New]:
    """What somebody would have recorded of a hand in order at an earlier hold point."""
    protocol = protocol_kept(hand.protocol_id)
    case = case_of(hand, told_of(hand), hold_point=hold_point)
    return [
        New(
            kind="observed",
            what={"of": c.id, "place": HAND, "from": MADE_UP, "protocol": hand.protocol_id} | _sound(c),
        )
        for c in due(case, protocol)
        if c.hold_point == hold_point
    ]


def _sound(c: Characteristic) -> dict[str, Any]:
    if not isinstance(c.rule, NumberRule):
        return {"answer": c.rule.accepted[0]}
    low, high = c.rule.plausible_min, c.rule.plausible_max
    if c.rule.limits is not None:
        low = c.rule.limits.low if c.rule.limits.low is not None else low
        high = c.rule.limits.high if c.rule.limits.high is not None else high
    return {"value": (low + high) / 2, "unit": c.rule.unit, "method": c.rule.methods[0].name}


def fault_of(hand: Hand) -> PracticeFault:
    """The fault that a practice hand has."""
    found = next((f for f in practice_faults(protocol_kept(hand.protocol_id)) if f.id == hand.practice), None)
    if found is None:
        raise NoPractice(
            "this is no practice hand" if not hand.practice else "its fault is no longer known",
            where=hand.shown_code,
            do="Take another one from the page for practising.",
        )
    return found


def is_finished(hand: Hand, told: tuple[Told, ...]) -> bool:
    """Whether it has been decided at the hold point that is practised."""
    try:
        at = fault_of(hand).hold_point
    except NoPractice:
        return True
    return any(t.kind == "decided" and t.what["hold_point"] == at for t in told)


def finish(hand: Hand, person: Person) -> None:
    """The newcomer asks for the answer: it is decided like any other, and this person has practised."""
    if not is_finished(hand, told_of(hand)):
        answering.ask(hand, person)
    Person.objects.filter(pk=person.pk, practised_at=None).update(practised_at=timezone.now())


def told_to_newcomer(fault: PracticeFault, protocol: Protocol) -> dict[str, Any]:
    """What the card beside each screen says: readings as numbers, and what is seen where it is not as shown."""
    numbers = {}
    for id, value in fault.readings.items():
        c = protocol.characteristic(id)
        unit = c.rule.unit if c is not None and isinstance(c.rule, NumberRule) else ""
        numbers[id] = f"{value:g}{SIGNS.get(unit, f' {unit}')}".replace("-", "\u2212")
    seen: dict[str, list[str]] = {}
    for s in fault.shows:
        if s.words:
            seen.setdefault(s.of, []).append(s.words)
    return {"numbers": numbers, "seen": seen}


# ---- at the end ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a newcomer made of a practice hand."""

    found: tuple[str, ...]
    missed: tuple[str, ...]
    too_much: tuple[str, ...]  # called wrong, and in order
    otherwise: tuple[str, ...]  # numbers written down differently from what was read
    not_looked: bool  # nothing was answered at all


def outcome(hand: Hand) -> Outcome:
    """What was found, missed and called wrong on a practice hand."""
    protocol, fault, told = protocol_kept(hand.protocol_id), fault_of(hand), told_of(hand)
    gone = out_of_force(told)
    mine = [
        t.what for t in told if t.kind == "observed" and t.seq not in gone and t.what.get("from") != MADE_UP
    ]
    looked = any(t.kind == "as-shown" for t in told) or bool(mine)
    numbers = {w["of"]: w for w in mine if w["of"] in fault.readings}
    bad = [w for w in mine if not as_it_should_be(w, protocol) and w.get("answer") != "can't tell"]
    found: list[str] = []
    missed: list[str] = []
    for s in fault.shows:
        called = characteristic_words(s.of, s.place, protocol)
        (found if _was_found(s, bad, numbers, fault) else missed).append(called)
    shown = {(s.of, s.place) for s in fault.shows}
    too_much = [
        characteristic_words(w["of"], w.get("place", ""), protocol)
        for w in bad
        if (w["of"], w.get("place", "")) not in shown
        and not (w.get("place", "") == HAND and w["of"] in {of for of, _ in shown})
    ]
    otherwise = [
        f"{characteristic_words(of, '', protocol)}: you read {told_to_newcomer(fault, protocol)['numbers'][of]}, "
        f"and wrote {answer_words(w, protocol)}"
        for of, w in numbers.items()
        if not _is_close(w, fault.readings[of])
    ]
    return Outcome(
        found=tuple(found),
        missed=tuple(missed),
        too_much=tuple(dict.fromkeys(too_much)),
        otherwise=tuple(otherwise),
        not_looked=not looked,
    )


def _was_found(
    s: Shown, bad: list[dict[str, Any]], numbers: dict[str, dict[str, Any]], fault: PracticeFault
) -> bool:
    if not s.answer:
        return s.of in numbers and _is_close(numbers[s.of], fault.readings[s.of])
    return any(w["of"] == s.of and w.get("place", "") in (s.place, HAND) for w in bad)


def _is_close(w: dict[str, Any], told: float) -> bool:
    values = [v for v in (w.get("readings") or [w.get("value")]) if isinstance(v, int | float)]
    return bool(values) and abs(sum(values) / len(values) - told) <= CLOSE
