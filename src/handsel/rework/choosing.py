"""What kind of fix a hand needs: none, a reading, a part, the slides, or new cords."""

from __future__ import annotations

from dataclasses import dataclass

from handsel.inspection.protocol import Characteristic, Protocol
from handsel.inspection.result import Inspection, Item
from handsel.mechanics.excess import LengthPosterior, Readings
from handsel.mechanics.open_question import OpenQuestion
from handsel.metrology.decision import Action
from handsel.rework.moves import Chooser, Outcome
from handsel.rework.result import FixKind

SCREWS_IN, SCREWS_OUT, MOVE_PIN = "turn-screws-in", "turn-screws-out", "move-thumb-pin"
RESTRING_ONE, RESTRING_ALL = "restring-loop", "restring-all"
CORD_REWORK = (SCREWS_IN, SCREWS_OUT, MOVE_PIN, RESTRING_ONE, RESTRING_ALL)
BETTER_BY = 0.05  # new cords have to be worth the cutting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """The kind of fix, and what it rests on."""

    kind: FixKind
    present: Outcome | None = None
    after: Outcome | None = None
    items: tuple[Item, ...] = ()  # what has to be put right first, or looked at
    why: str = ""
    how: str = ""  # for a reading: how to take it


def reader(protocol: Protocol, observable: str, place: str = "") -> Characteristic | None:
    """The characteristic that reads an observable of the mechanics, or None."""
    digits = [d.id for d in protocol.digits]
    return next(
        (
            c
            for c in protocol.characteristics
            if c.reads and observable in {c.observable(p) for p in (place, *digits)}
        ),
        None,
    )


def about_cords(item: Item) -> bool:
    """Whether slides or cords usually put an item right.

    Parameters: item of an inspection.    Returns: bool.    Raises: nothing.
    Valid for: items whose rework is listed usual one first.    Source: own rule.
    Checked by: unit/test_fix.py
    """
    return bool(item.rework) and item.rework[0] in CORD_REWORK


def choose(
    inspection: Inspection, chooser: Chooser | None, question: OpenQuestion | None, strung_stage: int
) -> Choice:
    """The kind of fix for one hand.

    Parameters: inspection; chooser over the lengths' posterior, None when no angle was read;
        question that the readings leave open; strung_stage, number of the hold point at which cords
        are judged.
    Returns: Choice. Parts come first, because what hinders the movement falsifies every reading; then
        readings that are missing or doubtful, since a cord once cut stays cut; then the slides; then cords.
    Raises: nothing of its own.
    Valid for: one inspection.
    Source: own rule.
    Checked by: unit/test_fix.py, unit/test_assessment.py
    """
    protocol = inspection.protocol
    wrong = [i for i in inspection.work_order if i.blocks and i.status == "does not conform"]
    parts = [i for i in wrong if not about_cords(i)]
    first = [
        i
        for i in parts
        if i.severity == "critical" or i.hold_point == "" or protocol.stage(i.hold_point) <= strung_stage
    ]
    now = chooser.stay() if chooser is not None else None
    if first:
        return Choice(kind=FixKind.PART_FIRST, present=now, items=tuple(first))
    cords_wrong = [i for i in wrong if about_cords(i)]
    if chooser is None or now is None:
        return _without_angle(inspection, parts, cords_wrong)
    doubtful = _doubtful(inspection, chooser.found)
    if doubtful is not None:
        return doubtful
    accept = chooser.wanted.accept_p
    level = now.p_level >= 0.5
    if now.p_success >= accept and level and chooser.slides_in_order and not cords_wrong:
        return _nothing_to_move(inspection, parts, now)
    settled = _to_settle(inspection) if not cords_wrong else None
    if settled is not None:
        return settled
    return _move(inspection, chooser, question, now, level, cords_wrong)


def _without_angle(inspection: Inspection, parts: list[Item], cords_wrong: list[Item]) -> Choice:
    if cords_wrong:
        return Choice(
            kind=FixKind.READ_FIRST,
            items=tuple(cords_wrong[:1]),
            why=f"“{cords_wrong[0].called}” does not hold, and no rest angle was read to say by how much.",
        )
    return _nothing_to_move(inspection, parts, None)


def _nothing_to_move(inspection: Inspection, parts: list[Item], now: Outcome | None) -> Choice:
    if parts:
        return Choice(kind=FixKind.PART_FIRST, present=now, items=tuple(parts))
    check = inspection.next_check
    if inspection.whole == "release" or check is None:
        return Choice(kind=FixKind.NOTHING, present=now)
    return Choice(kind=FixKind.READ_FIRST, present=now, items=(check.item,), how=check.how)


def _doubtful(inspection: Inspection, found: LengthPosterior) -> Choice | None:
    if found.agrees:
        return None
    c = reader(inspection.protocol, found.misfits[0])
    items = tuple(i for i in inspection.items if c is not None and i.id == c.id)[:1]
    return Choice(
        kind=FixKind.READ_FIRST,
        items=items,
        how=c.how if c is not None else "",
        why="The readings contradict each other: no cord lengths explain them all.",
    )


def _to_settle(inspection: Inspection) -> Choice | None:
    """A number that further readings settle sooner than a move would."""
    for item in inspection.open_items:
        s = item.settling
        if (
            s is not None
            and item.blocks
            and s.action in (Action.READ_AGAIN, Action.BETTER_METHOD)
            and about_cords(item)
        ):
            return Choice(
                kind=FixKind.READ_FIRST,
                items=(item,),
                why=f"{item.shown} does not decide it.",
                how=s.sentence,
            )
    return None


def _move(
    inspection: Inspection,
    chooser: Chooser,
    question: OpenQuestion | None,
    now: Outcome,
    level: bool,
    cords_wrong: list[Item],
) -> Choice:
    accept = chooser.wanted.accept_p
    adjusted = chooser.adjusted()
    moves = adjusted.turns != 0.0 or adjusted.pin_mm != 0.0
    right = now.p_success >= accept and chooser.slides_in_order
    if level and right and adjusted.p_success < now.p_success + BETTER_BY:
        return _lengths_are_right(inspection, now, cords_wrong)
    if level and moves and adjusted.p_success >= accept:
        return Choice(kind=FixKind.ADJUST, present=now, after=adjusted)
    if question is not None and question.reading not in inspection.readings:
        c = reader(inspection.protocol, question.reading)
        if c is not None:
            items = tuple(i for i in inspection.items if i.id == c.id)[:1]
            return Choice(kind=FixKind.READ_FIRST, present=now, items=items, why=question.text, how=c.how)
    new = _best_cords(chooser, accept)
    if level and moves and new.p_success < adjusted.p_success + BETTER_BY:
        return Choice(kind=FixKind.ADJUST, present=now, after=adjusted)
    return Choice(kind=FixKind.RESTRING, present=now, after=new)


def _lengths_are_right(inspection: Inspection, now: Outcome, wrong: list[Item]) -> Choice:
    """The lengths read right, yet something that cords usually put right does not hold."""
    if not wrong:
        return _nothing_to_move(inspection, [], now)
    words = [inspection.protocol.fault_words.get(f, f) for f in wrong[0].faults]
    how = f"Look for: {'; '.join(words)}." if words else "Look at it together."
    return Choice(
        kind=FixKind.READ_FIRST,
        present=now,
        items=(wrong[0],),
        how=how,
        why=f"The cord lengths read right, yet “{wrong[0].called}” does not hold.",
    )


def _best_cords(chooser: Chooser, accept: float) -> Outcome:
    """The fewest cords whose replacement is likely enough to succeed; else the likeliest."""

    def worth(o: Outcome) -> float:
        return o.p_success * (1.0 if o.p_level >= 0.5 else 0.1)

    options = list(chooser.restrung())
    for count in sorted({len(o.new_cords) for o in options}):
        best = max((o for o in options if len(o.new_cords) == count), key=worth)
        if worth(best) >= accept:
            return best
    return max(options, key=worth)


def readings_of_angle(readings: Readings) -> bool:
    """Whether any reading tells of the cord lengths at all."""
    return any(name in readings for name in ("worked_rest_angle_deg", "lowered_rest_angle_deg"))
