"""Reworks done to an independent faulty hand, as people do them: cut, tied, seated, turned and set with errors.

A hand here is drawn as in `faulty_hand`, but each of its faults from a stream of its own, so that one fault can
be taken away and everything else of the hand stays as it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from faulty_builds import KINDS, Fault, Recipe, plain_recipe
from faulty_hand import TRIES, sound_hand, which_faults
from faulty_motion import Worked, work
from faulty_ranges import ranges
from faulty_readings import Said, Volunteer, failures

from handsel.design.model import Design
from handsel.inspection.undo import ReworkDone
from handsel.rework.moves import nominal_length_mm

SLIP = 0.03  # share of reworks that leave their fault as it was
TURN_SD, PIN_SD_MM = 0.08, 0.3  # screws counted by half turns, pin set by a caliper's jaws
CUT_HALF_MM = 1.0  # cut and tied by a gauge board: even within this
# Elastics drawn to one mark by eye, and by lifting them side by side: neither mark nor rubber is quite alike.
EVENED_SD_LOG = 0.08
ELASTIC_KINDS = ("elastic-missing", "elastic-weak", "elastic-tight")
LENGTH_KINDS = ("loop-long", "loop-short", "thumb-cord-long", "thumb-cord-short", "knot-slipped")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What was done to lengths and slides, on top of the hand as it was built."""

    new_excess_mm: Mapping[int, float] = field(default_factory=dict)
    turns: tuple[float, float] | None = None
    pin_mm: float | None = None
    pretension: Mapping[int, float] = field(default_factory=dict)  # of elastics drawn anew, by digit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Broken:
    """A faulty hand that can be put right fault by fault."""

    seed: int
    number: int
    harder: float
    faults: tuple[Fault, ...]
    change: Change
    recipe: Recipe
    truth: Worked
    fails: tuple[str, ...]
    said: tuple[Said, ...]


def _recipe(
    design: Design, seed: int, number: int, faults: Sequence[Fault], harder: float, c: Change
) -> Recipe:
    r = plain_recipe(design, np.random.default_rng([seed, number, 0]))
    for fault in faults:
        stream = [seed, number, 1 + sum(map(ord, str(fault)))]
        KINDS[fault.kind](r, fault.place, ranges()["kind"][fault.kind], np.random.default_rng(stream), harder)
        r.faults.append(fault)
    for cord, mm in c.new_excess_mm.items():
        r.build.excess_mm[0, cord] = mm
    for digit, ratio in c.pretension.items():
        r.build.elastic_pretension_ratio[0, digit] = ratio
    if c.turns is not None:
        r.turns = list(c.turns)
        slide = design.slide("tension")
        pitch = slide.pitch_mm_per_turn or 0.5
        r.build.tension_slide_mm[0] = float(np.mean([min(t * pitch, slide.max_mm) for t in c.turns]))
    if c.pin_mm is not None:
        pin = design.slide("thumb_pin")
        r.build.thumb_pin_mm[0] = float(np.clip(c.pin_mm, pin.min_mm, pin.max_mm))
    return r


def broken_hand(design: Design, seed: int, number: int) -> Broken:
    """The hand of this seed and number: it fails something that the protocol asks for, or is faultless.

    Without its faults it would conform; else its ordinary spread would be a fault more than it is said to have.
    """
    rng = np.random.default_rng([seed, number])
    faults, sound = which_faults(design, rng, number), sound_hand(design)
    for k in range(3 * TRIES):
        harder = min(0.04 * k, 0.8) if faults else 0.0
        shifted = seed + 100_003 * k  # another hand altogether, as when a hand is drawn again
        plain = _recipe(design, shifted, number, (), 0.0, Change())
        if faults and failures(plain, work(plain), sound):  # it would not conform without its faults either
            continue
        recipe = _recipe(design, shifted, number, faults, harder, Change())
        truth = work(recipe)
        fails = failures(recipe, truth, sound)
        if truth.settled and bool(fails) == bool(faults):
            return Broken(
                seed=shifted,
                number=number,
                harder=harder,
                faults=faults,
                change=Change(),
                recipe=recipe,
                truth=truth,
                fails=tuple(fails),
                said=tuple(Volunteer(recipe, truth, sound, rng).record()),
            )
    raise RuntimeError(f"hand {seed}/{number}, {[str(f) for f in faults]}: not drawn in {TRIES} tries")


def seen_by_another(hand: Broken, design: Design, rng: np.random.Generator) -> tuple[Said, ...]:
    """What somebody else, with instruments, eyes and slips of their own, would answer to every question."""
    return tuple(Volunteer(hand.recipe, hand.truth, sound_hand(design), rng).record())


def reworked(
    hand: Broken,
    design: Design,
    *,
    reworks: Sequence[ReworkDone],
    cures: Sequence[str],
    turns: float,
    pin_mm: float,
    finished_mm: Mapping[int, float],
    rng: np.random.Generator,
) -> Broken:
    """The hand after a rework: its faults that were worked on gone, lengths and slides as they then are.

    cures: causes, kind@place, that were worked on; turns and pin_mm, moves of the slides; finished_mm, lengths
    that new cords were cut for, by cord.
    """
    done = {r.rework for r in reworks}
    new = dict(hand.change.new_excess_mm)
    for cord, mm in finished_mm.items():
        own = design.cords[cord]
        seating = own.u_knot_seating_mm * np.sqrt(own.knot_count) * rng.standard_normal()
        new[cord] = (
            mm - nominal_length_mm(design, cord) + rng.uniform(-CUT_HALF_MM, CUT_HALF_MM) + float(seating)
        )
    strung = set(finished_mm)
    left = tuple(
        f for f in hand.faults if not _gone(f, hand.recipe, cures, done, strung, slipped=rng.random() < SLIP)
    )
    change = replace(hand.change, new_excess_mm=new)
    now_turns, now_pin = tuple(hand.recipe.turns), float(hand.recipe.build.thumb_pin_mm[0])
    if "restring-all" in done:
        now_turns, now_pin = (0.0, 0.0), 0.0
    if turns or done & {"turn-screws-out", "even-screws", "replace-screw", "restring-all"}:
        level = min(now_turns) if "even-screws" in done else float(np.mean(now_turns))
        level = 0.0 if "replace-screw" in done else level  # run over its whole travel, and left forward
        level = 0.0 if "turn-screws-out" in done and not turns else level + turns
        error = TURN_SD * float(rng.standard_normal())
        change = replace(change, turns=(max(level + error, 0.0),) * 2)
    if pin_mm or done & {"move-thumb-pin", "restring-all"}:
        aim = now_pin + pin_mm if pin_mm else 0.0
        change = replace(change, pin_mm=aim + PIN_SD_MM * float(rng.standard_normal()))
    return _now(hand, design, left, change)


def evened(hand: Broken, design: Design, rng: np.random.Generator) -> Broken:
    """The hand with the elastics of its fingers drawn to the pull of the middle one; a slip leaves all as they were.

    An elastic that has a fault is left as it is: it is replaced or set by a rework of its own.
    """
    if rng.random() < SLIP:
        return hand
    faulty = {f.place for f in hand.faults if f.kind in ELASTIC_KINDS}
    digits = [d.name for d in design.digits]
    fingers = [k for k, d in enumerate(digits) if d != "thumb" and d not in faulty]
    stiffness = hand.recipe.build.elastic_stiffness_ratio[0]
    pull = stiffness * hand.recipe.build.elastic_pretension_ratio[0]
    wanted = float(np.median(pull[fingers]))
    drawn = {
        k: wanted * float(np.exp(EVENED_SD_LOG * rng.standard_normal())) / float(stiffness[k])
        for k in fingers
    }
    change = replace(hand.change, pretension={**hand.change.pretension, **drawn})
    return _now(hand, design, hand.faults, change)


def _now(hand: Broken, design: Design, faults: tuple[Fault, ...], change: Change) -> Broken:
    """The hand with these faults left and these changes made, worked anew."""
    recipe = _recipe(design, hand.seed, hand.number, faults, hand.harder, change)
    truth = work(recipe)
    return replace(
        hand,
        faults=faults,
        change=change,
        recipe=recipe,
        truth=truth,
        fails=tuple(failures(recipe, truth, sound_hand(design))),
    )


def rebuilt(hand: Broken, design: Design, rng: np.random.Generator) -> Broken:
    """The hand taken apart, each part looked at and what is wrong mended, and strung anew with people's errors.

    What a hand without its faults has of ordinary spread in its parts and elastics it keeps, but for elastics that were
    drawn anew.
    """
    nominal = {cord: nominal_length_mm(design, cord) for cord in range(len(design.cords))}
    return reworked(
        replace(hand, faults=(), change=Change(pretension=hand.change.pretension)),
        design,
        reworks=[ReworkDone(rework="restring-all")],
        cures=(),
        turns=0.0,
        pin_mm=0.0,
        finished_mm=nominal,
        rng=rng,
    )


def _gone(
    f: Fault, r: Recipe, cures: Sequence[str], done: set[str], strung: set[int], *, slipped: bool
) -> bool:
    """Whether a fault is gone after a rework."""
    if (
        f.kind in LENGTH_KINDS
    ):  # the old cord's length goes with the old cord; a slipped knot by tying it again
        digit = "thumb" if f.kind.startswith("thumb") or f.place == "thumb-pin" else f.place.split("-")[0]
        return r.cord(r.design.cord_of(digit).name) in strung or (
            f.kind == "knot-slipped" and str(f) in cures and "retie-knot" in done and not slipped
        )
    if f.kind == "cord-through-gap":
        return not slipped and (str(f) in cures or r.cord(r.design.cord_of(f.place).name) in strung)
    return str(f) in cures and not slipped
