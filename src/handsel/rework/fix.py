"""The exact fix in hand words: what to turn, move or cut, in which order, and what it undoes."""

from __future__ import annotations

from handsel.design.model import Design
from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.choosing import MOVE_PIN, RESTRING_ALL, RESTRING_ONE, SCREWS_IN, SCREWS_OUT, Choice
from handsel.rework.moves import Chooser, Outcome, cut_length_mm
from handsel.rework.result import Fix, FixKind, NewCord, Prediction, SlideMove
from handsel.rework.words import cord_title, digit_place, joined, listed, number, pin_words, turns_words

WORK_AND_READ = "close the hand fully five times and read the angle again"


def write_fix(
    choice: Choice, design: Design, protocol: Protocol, chooser: Chooser | None, after: Prediction | None
) -> Fix:
    """The fix as data and words.

    Parameters: choice; design, placed; protocol, for its reworks; chooser and the prediction after
        the move, where there is a move.
    Returns: Fix. Its sentence is complete on its own.
    Raises: nothing of its own.
    Valid for: a choice made for this design and protocol.
    Source: own rule.
    Checked by: unit/test_fix.py
    """
    if choice.after is not None and chooser is not None:
        return _moving(choice.kind, choice.after, design, protocol, chooser, after)
    reworks = _item_reworks(choice, protocol) if choice.kind is FixKind.PART_FIRST else ()
    sentence, steps = _still_words(choice, protocol, reworks)
    return Fix(
        kind=choice.kind,
        sentence=sentence,
        steps=steps,
        move=None,
        new_cords=(),
        rework_ids=reworks,
        after=None,
        p_success=choice.present.p_success if choice.present is not None else None,
        cautions=_cautions(reworks, protocol),
    )


def done_by(fix: Fix, choice: Choice, design: Design, protocol: Protocol) -> tuple[ReworkDone, ...]:
    """The reworks of a fix with their places, for what they undo.

    Parameters: fix and the choice behind it; design and protocol.
    Returns: ReworkDone, in the order of work.
    Raises: nothing of its own.
    Valid for: a protocol that names the same digits as the design.
    Source: own rule.
    Checked by: unit/test_assessment.py
    """
    done: list[ReworkDone] = []
    for id in fix.rework_ids:
        if id == RESTRING_ONE and choice.after is not None:
            done += [
                ReworkDone(rework=id, place=_cord_place(design, c, protocol)) for c in choice.after.new_cords
            ]
            continue
        place = HAND
        rework = protocol.rework(id)
        for item in choice.items:
            if rework is not None and id in item.rework and item.place in protocol.places(rework.per):
                place = item.place
        done.append(ReworkDone(rework=id, place=place))
    return tuple(done)


def _cord_place(design: Design, cord: int, protocol: Protocol) -> str:
    digit = digit_place(design, cord)
    return next((d.cord for d in protocol.digits if d.id == digit), HAND)


def _item_reworks(choice: Choice, protocol: Protocol) -> tuple[str, ...]:
    first = [i.rework[0] for i in choice.items if i.rework and protocol.rework(i.rework[0]) is not None]
    return tuple(dict.fromkeys(first))


def _still_words(choice: Choice, protocol: Protocol, reworks: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """Sentence and steps of a fix that moves no slide."""
    item = choice.items[0] if choice.items else None
    if choice.kind is FixKind.NOTHING or item is None:
        return "Nothing to change.", ()
    if choice.kind is FixKind.READ_FIRST:
        how = choice.how or item.to_check
        text = f"{choice.why} " if choice.why else ""
        return f"{text}Check first, “{item.called}”: {how}", (how,) if how else ()
    steps = tuple(f"{r.title}. {r.how}" for id in reworks if (r := protocol.rework(id)) is not None)
    rework = protocol.rework(reworks[0]) if reworks else None
    do = f" {rework.title}." if rework is not None else " Put that right."
    more = len(choice.items) - 1
    rest = f" {more} more to put right after that." if more else ""
    leave = (
        " Leave the screws and the thumb pin as they are until then." if choice.present is not None else ""
    )
    return f"First “{item.called}”, which does not hold.{do}{rest}{leave}", steps


def _moving(
    kind: FixKind, o: Outcome, design: Design, protocol: Protocol, chooser: Chooser, after: Prediction | None
) -> Fix:
    new = tuple(_new_cord(c, design, chooser) for c in o.new_cords)
    cut = [f"cut the new {n.title} to {n.cut_length_mm:.0f} mm" for n in new]
    orders = [turns_words(o.turns), pin_words(o.pin_mm)]
    if new:
        replace = (
            f"replace {listed([f'the {n.title} (cut the new one to {n.cut_length_mm:.0f} mm)' for n in new])}"
        )
        sentence = joined([replace, *orders, f"work the knots in, {WORK_AND_READ}"])
    else:
        sentence = joined([*orders, WORK_AND_READ])
    ids = _rework_ids(o, design, protocol)
    steps = [joined([order]) for order in (*orders, *cut) if order]
    steps += [
        r.how for id in ids if (r := protocol.rework(id)) is not None and id in (RESTRING_ONE, RESTRING_ALL)
    ]
    steps.append(joined([WORK_AND_READ]))
    return Fix(
        kind=kind,
        sentence=sentence,
        steps=tuple(steps),
        move=SlideMove(screw_turns=o.turns, thumb_pin_mm=o.pin_mm),
        new_cords=new,
        rework_ids=ids,
        after=after,
        p_success=o.p_success,
        cautions=_cautions(ids, protocol),
    )


def _new_cord(cord: int, design: Design, chooser: Chooser) -> NewCord:
    c, finished = design.cords[cord], chooser.finished_mm(cord)
    found = chooser.found
    off = float(found.weight @ found.excess_mm[:, cord])
    way = "long" if off > 0 else "short"
    return NewCord(
        cord=c.name,
        title=cord_title(c),
        finished_length_mm=finished,
        cut_length_mm=cut_length_mm(c, finished),
        seating_mm=c.knot_count * c.knot_seating_mm,
        reason=f"it is about {number(off)} mm too {way}, more than the slides should take up",
    )


def _rework_ids(o: Outcome, design: Design, protocol: Protocol) -> tuple[str, ...]:
    ids = []
    if o.new_cords:
        ids.append(RESTRING_ALL if len(o.new_cords) == len(design.cords) else RESTRING_ONE)
    if o.turns:
        ids.append(SCREWS_IN if o.turns > 0 else SCREWS_OUT)
    if o.pin_mm:
        ids.append(MOVE_PIN)
    return tuple(id for id in ids if protocol.rework(id) is not None)


def _cautions(reworks: tuple[str, ...], protocol: Protocol) -> tuple[str, ...]:
    """Cautions of the reworks and of what has to follow them."""
    ids = list(reworks)
    for id in ids:
        rework = protocol.rework(id)
        if rework is not None:
            ids += [f for f in rework.follow_up if f not in ids]
    said = [r.caution for id in ids if (r := protocol.rework(id)) is not None and r.caution]
    return tuple(dict.fromkeys(said))
