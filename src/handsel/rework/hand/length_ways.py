"""What turning screws, moving the pin or new cords would bring, by the model, as ways that a plan can weigh."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.inspection.case import Case
from handsel.inspection.deciding import inspect
from handsel.inspection.protocol import Protocol
from handsel.mechanics.excess import estimate_lengths, slides_of
from handsel.mechanics.taut_map import NotThisKind
from handsel.rework.assessment import wanted_from
from handsel.rework.choosing import MOVE_PIN, SCREWS_IN, SCREWS_OUT, readings_of_angle
from handsel.rework.forecast import estimate
from handsel.rework.hand.actions import Setting
from handsel.rework.moves import Chooser, Outcome, cut_length_mm
from handsel.rework.result import Estimate
from handsel.rework.setting import THUMB_IN_BETWEEN_DEG, conforms_as_left, once_set
from handsel.rework.words import cord_title, digit_place, joined, pin_words, turns_words


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthWay:
    """One change of slides or cords: what is done, and what the model says of it."""

    reworks: tuple[str, ...]  # of the protocol, in order
    title: str
    p_success: float  # angle, thumb timing and level bar then conform, were lengths the only trouble
    # Both as the hand is left, set by its own readings where that is how the rework ends.
    screw_turns: float
    thumb_pin_mm: float
    worked_rest_angle_deg: Estimate
    thumb_lead_deg: Estimate
    finished_mm: Mapping[int, float] = field(
        default_factory=dict
    )  # of new cords, by their place in the design


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthWays:
    """All such changes for one hand."""

    now_p: float  # that angle, thumb timing and bar conform as the hand is, were nothing else the trouble
    slides: LengthWay | None  # None: no move of the slides betters it
    cords: Mapping[str, LengthWay] = field(default_factory=dict)  # by the protocol's name of the cord
    every: LengthWay | None = None  # all cords new


def length_ways(
    case: Case, protocol: Protocol, design: Design, setting: Setting | None = None
) -> LengthWays | None:
    """What the slides and new cords would bring to this hand.

    Parameters: case, with at least one rest angle; protocol; design at scale 1, right side; setting, how a
        rework of slides or cords ends, None: with the move itself.
    Returns: LengthWays; None where no angle was read, or the design is of another kind.
    Raises: as inspect and estimate_lengths.
    Valid for: hands whose other parts are sound; how probable that is, the diagnosis says.
    Source: Chooser: posterior of the lengths, and moves as people make them. Screws are asked for no
        further in than leaves their adjustment for the cords' settling, new loops are cut for screws
        fully forward.
    Checked by: unit/test_hand_plan.py
    """
    hand = placed(design, scale_ratio=case.hand.scale_ratio, side=case.hand.side)
    known = tuple(o for o in case.observations if protocol.characteristic(o.of) is not None)
    inspection = inspect(replace(case, observations=known), protocol)  # looks of a diagnosis left aside
    if not readings_of_angle(inspection.readings):
        return None
    try:
        found = estimate_lengths(hand, inspection.readings, slides_of(hand, inspection.readings))
    except NotThisKind:
        return None
    chooser = Chooser(hand, found, wanted_from(case, protocol), thumb_aim_deg=THUMB_IN_BETWEEN_DEG)
    moved, now = chooser.adjusted(), chooser.stay()
    cords: dict[str, LengthWay] = {}
    every = None
    for outcome in chooser.restrung():
        if len(outcome.new_cords) == 1:
            digit = digit_place(hand, outcome.new_cords[0])
            name = next((d.cord for d in protocol.digits if d.id == digit), digit)
            cords[name] = _way(outcome, hand, chooser, ("restring-loop",), setting)
        elif len(outcome.new_cords) == len(hand.cords):
            every = _way(outcome, hand, chooser, ("restring-all",), setting)
    still = moved.turns == 0.0 and moved.pin_mm == 0.0
    slides = None if still else _way(moved, hand, chooser, (), setting)
    return LengthWays(now_p=conforms_as_left(chooser, now), slides=slides, cords=cords, every=every)


def _way(
    o: Outcome, design: Design, chooser: Chooser, new: tuple[str, ...], setting: Setting | None
) -> LengthWay:
    p, worked_deg, lead_deg = conforms_as_left(chooser, o), o.worked_deg, o.lead_deg
    if setting is not None:
        left = once_set(chooser, o, angle_u_deg=setting.angle_u_deg, lead_u_deg=setting.lead_u_deg)
        if left.p_conforms > p:  # then that is what it ends with
            p, worked_deg, lead_deg = left.p_conforms, left.worked_deg, left.lead_deg
    reworks = list(new)
    if o.turns:
        reworks.append(SCREWS_IN if o.turns > 0 else SCREWS_OUT)
    if o.pin_mm:
        reworks.append(MOVE_PIN)
    cut = [
        f"replace the {cord_title(design.cords[c])} (cut the new one to "
        f"{cut_length_mm(design.cords[c], chooser.finished_mm(c)):.0f} mm)"
        for c in o.new_cords
    ]
    return LengthWay(
        reworks=tuple(reworks),
        title=joined([*cut, turns_words(o.turns), pin_words(o.pin_mm)]).rstrip("."),
        p_success=p,
        screw_turns=o.turns,
        thumb_pin_mm=o.pin_mm,
        worked_rest_angle_deg=estimate(worked_deg, chooser.found.weight, "deg"),
        thumb_lead_deg=estimate(lead_deg, chooser.found.weight, "deg"),
        finished_mm={c: chooser.finished_mm(c) for c in o.new_cords},
    )
