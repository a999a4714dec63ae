"""From an answer to rework cards: which, where, in which order, and what is looked at again after each."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from handsel.design.model import Design
from handsel.documents.wording import reading
from handsel.inspection.ordering import rework_undoes
from handsel.inspection.protocol import HAND, Protocol, Rework
from handsel.inspection.result import Inspection, Item
from handsel.inspection.undo import ReworkDone, reinspection_set
from handsel.rework.choosing import RESTRING_ONE, about_cords
from handsel.rework.hand.plain import rework_place
from handsel.rework.result import FixKind

SKILLS = ("builder", "experienced builder", "lead", "fitter", "licensed professional")
MOVES = (FixKind.ADJUST, FixKind.RESTRING)  # fixes that the mechanics worked out to the half turn
SEALED = "sealed"


@dataclass(slots=True, kw_only=True)
class Planned:
    """A card being put together."""

    rework: Rework  # the first of them
    done: list[ReworkDone]
    because: list[Item] = field(default_factory=list)
    fix: dict[str, Any] | None = None  # where the mechanics say by how much


def plan(i: Inspection, fix: dict[str, Any], design: Design) -> tuple[Planned, ...]:
    """The cards for everything open that does not conform, in the order of work.

    What slides and cords put right is one card, with the exact move; while a part hinders the movement or
    a reading is missing there is no such move yet, and no card guesses one.
    """
    protocol = i.protocol
    cards: list[Planned] = []
    for item in i.work_order:
        rework = protocol.rework(item.rework[0]) if item.rework else None
        if item.status != "does not conform" or rework is None:
            continue
        if about_cords(item):
            _into_the_fix(cards, item, fix, design, protocol)
            continue
        done = ReworkDone(rework=rework.id, place=rework_place(item, rework, protocol))
        card = _joins(cards, item, rework, protocol)
        if card is None:
            cards.append(Planned(rework=rework, done=[done], because=[item]))
            continue
        card.because.append(item)
        if done not in card.done:
            card.done.append(done)
    if fix["kind"] in MOVES and not any(c.fix for c in cards):
        # Only the lengths together are at fault: no single check says so, the computed finding does.
        _into_the_fix(cards, None, fix, design, protocol)
    return tuple(cards)


def _joins(cards: list[Planned], item: Item, rework: Rework, protocol: Protocol) -> Planned | None:
    """The card of the same rework that this item may go on, unless work in between would undo it."""
    for card in reversed(cards):
        if card.rework.id == rework.id and card.fix is None:
            return card
        if any(item.key in rework_undoes(other, protocol) for other in card.because):
            return None
    return None


def _into_the_fix(
    cards: list[Planned], item: Item | None, fix: dict[str, Any], design: Design, protocol: Protocol
) -> None:
    if fix["kind"] not in MOVES or not fix["rework_ids"]:
        return
    card = next((c for c in cards if c.fix is not None), None)
    if card is None:
        first = protocol.rework(fix["rework_ids"][0])
        if first is None:
            return
        card = Planned(rework=first, done=_fix_done(fix, design, protocol), fix=fix)
        cards.append(card)
    if item is not None:
        card.because.append(item)


def _fix_done(fix: dict[str, Any], design: Design, protocol: Protocol) -> list[ReworkDone]:
    done: list[ReworkDone] = []
    for id in fix["rework_ids"]:
        places = [_cord_place(n["cord"], design, protocol) for n in fix["new_cords"]]
        done += [ReworkDone(rework=id, place=p) for p in (places if id == RESTRING_ONE else [HAND])]
    return done


def _cord_place(cord: str, design: Design, protocol: Protocol) -> str:
    """The protocol's name for a cord of the design: by the digit that it works."""
    digit = next(c.legs[0].digit for c in design.cords if c.name == cord)
    return next((d.cord for d in protocol.digits if d.id == digit), HAND)


# ---- a card as the record keeps it -------------------------------------------------------------------


def body(card: Planned, i: Inspection) -> dict[str, Any]:
    """What an "ordered" entry says."""
    protocol, fix = i.protocol, card.fix
    reworks = [r for d in card.done if (r := protocol.rework(d.rework)) is not None]
    after = follow_ups(card, i)
    places = list(dict.fromkeys(d.place for d in card.done if d.place))
    every = [*reworks, *after]
    spares = [s for r in every for s in r.spares]
    if fix is not None:
        spares = [f"{n['title']}, {n['cut_length_mm']:.0f} mm" for n in fix["new_cords"]]
    return {
        "rework": card.rework.id,
        "place": places[0] if len(places) == 1 else HAND,
        "reworks": [{"rework": d.rework, "place": d.place} for d in card.done],
        "title": _title(card, places),
        "how": card.rework.how if fix is None else fix["sentence"],
        "steps": _steps(card, reworks, after, places, i),
        "because": [
            {"of": x.id, "place": x.place, "title": x.title, "shown": _shown(x)} for x in card.because
        ],
        "sentence": _sentence(card, places),
        "spares": list(dict.fromkeys(spares)),
        "cautions": _cautions(card, every, protocol),
        "recheck": _recheck(card, i),
        "minutes": round(sum(r.minutes for r in every), 1),
        "skill": max((r.skill for r in every), key=SKILLS.index),
        "irreversible": any(r.irreversible for r in reworks),
        "scraps_part": any(r.scraps_part for r in reworks),
        "refer": any(r.refer for r in reworks),
    }  # fmt: skip


def _shown(x: Item) -> str:
    """The answer, or the number with its 95 % interval."""
    return x.shown if x.decision is None else f"{reading(x.decision.quantity)} (95 %)"


def _title(card: Planned, places: list[str]) -> str:
    if card.fix is None:
        return card.rework.title + (f": {', '.join(spoken(p) for p in places)}" if places else "")
    if card.fix["kind"] == FixKind.RESTRING:
        return "New cord: " + ", ".join(n["title"] for n in card.fix["new_cords"])
    return "Set the slides as worked out"


def _sentence(card: Planned, places: list[str]) -> str:
    if card.fix is not None:
        return str(card.fix["sentence"])
    wrong = " and ".join(dict.fromkeys(f"“{x.title}”" for x in card.because))
    return f"{_title(card, places)}. {wrong} is not so."


def _steps(
    card: Planned, reworks: list[Rework], after: list[Rework], places: list[str], i: Inspection
) -> list[str]:
    if card.fix is not None:
        steps = list(card.fix["steps"])
    elif len(places) > 1:
        steps = [f"{spoken(p)[:1].upper()}{spoken(p)[1:]}: {card.rework.how}" for p in places]
    else:
        steps = [card.rework.how]
    steps += [f"Then: {r.title}. {r.how}" for r in after]
    late = i.protocol.stage(i.case.hand.hold_point)
    sealing = i.protocol.step(SEALED)
    if (
        sealing is not None
        and any(SEALED in r.reopens for r in reworks)
        and late > i.protocol.stage(sealing.after)
    ):
        steps.append("Leave the new knots without glue and grip tips until they have been looked at.")
    return steps


def follow_ups(card: Planned, i: Inspection) -> list[Rework]:
    """Rework that has to come right after it, as far as the hand has come: nothing is glued before its turn."""
    protocol, reached = i.protocol, i.protocol.stage(i.case.hand.hold_point)
    found: dict[str, Rework] = {}
    for d in card.done:
        rework = protocol.rework(d.rework)
        for id in rework.follow_up if rework is not None else ():
            after = protocol.rework(id)
            if after is None or after.irreversible:
                continue  # glue: only once what it hides has been looked at
            touched = [c for m in (*after.undoes, *after.undoes_here) for c in protocol.members(m)]
            if touched and any(protocol.stage(c.hold_point) <= reached for c in touched):
                found[id] = after
    return list(found.values())


def _cautions(card: Planned, reworks: list[Rework], protocol: Protocol) -> list[str]:
    said = list(card.fix["cautions"]) if card.fix is not None else []
    said += [r.caution for r in reworks if r.caution]
    for item in card.because:
        c = protocol.characteristic(item.id)
        if c is not None and c.caution and item.severity == "critical":
            said.append(c.caution)
    return list(dict.fromkeys(said))


def _recheck(card: Planned, i: Inspection) -> list[dict[str, str]]:
    reached = i.protocol.stage(i.case.hand.hold_point)
    return [
        {"id": r.characteristic.id, "place": r.place, "title": r.characteristic.title, "reason": r.reasons[0]}
        for r in reinspection_set(card.done, i.protocol)
        if i.protocol.stage(r.characteristic.hold_point) <= reached
    ]


def spoken(place: str) -> str:
    """A place as people say it: "index and middle", "thumb pin"."""
    return {"index-middle": "index and middle", "ring-little": "ring and little"}.get(
        place, place.replace("-", " ")
    )
