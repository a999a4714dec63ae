"""Faults put into hands on paper: each effect of the catalogue's vocabulary, and what it does to a build."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue, Effect, Fault
from handsel.diagnosis.ordinary import Sheet, between
from handsel.diagnosis.variants import SIZED, Variant

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

JOINTS = ("knuckle", "tip")
WHICH_PART, HOW_SLACK, OTHER_SIDE, WHICH_WAY = range(4)  # columns of a sheet's shares
WHOLE_DIGIT_SHARE = 0.15  # of parts of the wrong size, both of a digit; otherwise one or the other
BINDS_FROM_PERCENT = 2.0  # what a fork forgives
BINDS_NMM = 1.0  # for one per cent more, up to this much
LEAST_SLACK_SHARE = 0.2  # of an elastic's wrong pull, at least so much is its length, not its rubber
THREAD_LEFT = 0.25  # of its turns, a screw that spins still pulls up to so much
OTHER_TURNED_LEAST = 0.5  # the sound screw was turned at least so far, against the one that spins
NO_ELASTIC_RATIO = 1e-6  # of its stiffness: nothing pulls, and nothing is divided by


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shop:
    """What effects need to know of the hands: the catalogue's words, the design, and its variants."""

    catalogue: Catalogue
    design: Design  # placed, right
    variants: tuple[Variant, ...]


def put_in(shop: Shop, sheet: Sheet, e: Effect, fault: Fault, rows: Ints, size: Floats) -> None:
    """Put one effect into some hands, in place.

    Parameters: shop; sheet, changed; e, effect; fault that has it; rows, which hands; size, of the fault in each.
    Returns: nothing.
    Raises: nothing of its own.
    Valid for: effects that the loader lets pass.
    Source: the vocabulary of the catalogue's format.    Checked by: unit/test_library.py, published/test_diagnosis.py
    """
    design, b = shop.design, sheet.build.build
    digits = [g.name for g in design.digits]
    at = e.at.format_map(shop.catalogue.words(fault.place))
    amount = e.times * size
    pitch = design.slide("tension").pitch_mm_per_turn or 1.0
    if e.to == "cord-length":
        b.excess_mm[rows, _cord_index(shop, at)] += amount
    elif e.to == "tension-slide":
        b.tension_slide_mm[rows] += amount
        sheet.screw_turns[rows] += amount[:, None] / pitch
    elif e.to == "screws-apart":
        sheet.screw_turns[rows, 0] += np.maximum(amount, 0.0)
        sheet.screw_turns[rows, 1] += np.maximum(-amount, 0.0)
        b.tension_slide_mm[rows] += 0.5 * pitch * np.abs(amount)
    elif e.to == "screws-turned-one-follows":
        spins = 1 if at == "little-side" else 0
        other = amount * between((OTHER_TURNED_LEAST, 1.0), sheet.share[rows, OTHER_SIDE])
        sheet.screw_turns[rows, spins] += amount
        sheet.screw_turns[rows, 1 - spins] += other
        follows = THREAD_LEFT * sheet.share[rows, WHICH_PART]
        b.tension_slide_mm[rows] += 0.5 * pitch * (other + follows * amount)
    elif e.to == "thumb-pin":
        slide = design.slide("thumb_pin")
        sign = -1.0 if at == "out" else 1.0
        b.thumb_pin_mm[rows] = np.clip(sign * amount, slide.min_mm, slide.max_mm)
    elif e.to == "block-turn":
        sheet.build.block_turn_deg[rows] += amount
    elif e.to == "block-roll":
        sheet.build.block_roll_deg[rows] += np.abs(amount) * (2.0 * sheet.share[rows, WHICH_WAY] - 1.0)
    elif e.to == "elastic-pull":  # its rubber, its length, or some of both
        slack = between((LEAST_SLACK_SHARE, 1.0), sheet.share[rows, HOW_SLACK])
        b.elastic_pretension_ratio[rows, digits.index(at)] *= amount**slack
        b.elastic_stiffness_ratio[rows, digits.index(at)] *= amount ** (1.0 - slack)
    elif e.to == "elastic-pretension":
        b.elastic_pretension_ratio[rows, digits.index(at)] += amount
    elif e.to == "elastic-stiffness":
        b.elastic_stiffness_ratio[rows, digits.index(at)] *= amount
    elif e.do == "remove":
        b.elastic_stiffness_ratio[rows, digits.index(at)] = NO_ELASTIC_RATIO
    elif e.to == "hinge":
        digit, _, joint = at.partition(".")
        b.hinge_friction_nmm[rows, digits.index(digit), JOINTS.index(joint)] += amount
    elif e.to == "channel":
        b.friction_mu[rows, digits.index(at)] += amount
    elif e.to == "wrist":
        b.wrist_friction_nmm[rows] += np.abs(amount)
    elif e.do == "lock":
        b.bar_locked[rows] = True
        if fault.kind.severity is not None:
            sheet.build.locked_tilt_deg[rows] = amount
    elif e.to == "whippletree":
        b.bar_friction_nmm[rows] += np.abs(amount)
    else:
        _vary(shop, sheet, e, at, rows, size)


def _vary(shop: Shop, sheet: Sheet, e: Effect, at: str, rows: Ints, size: Floats) -> None:
    """Another variant of a digit; of a swap, of both digits."""
    digits = [g.name for g in shop.design.digits]
    names = at.split("-")
    if e.to == "part-size":
        _resize(shop, sheet, digits.index(names[0]), rows, size)
        return
    amount = np.ones(len(rows)) if e.do == "swap-parts" else size
    for name in names:
        sheet.build.variant[rows, digits.index(name)] = _nearest(shop, e.to, amount)
    if e.do != "swap-parts":
        return
    percent, length = (sheet.size_percent, _bone) if e.to == "proximal" else (sheet.tip_percent, _tip_length)
    for name, other in zip(names, reversed(names), strict=True):
        percent[rows, digits.index(name)] = 100.0 * length(shop, other) / length(shop, name)


def _resize(shop: Shop, sheet: Sheet, digit: int, rows: Ints, size: Floats) -> None:
    """One part of a digit, or both, larger or smaller; a larger one binds in its fork."""
    u = sheet.share[rows, WHICH_PART]
    one = 0.5 * (1.0 - WHOLE_DIGIT_SHARE)
    mode = np.where(u < one, SIZED.index("part-size-proximal"), SIZED.index("part-size-tip"))
    mode = np.where(u < 1.0 - WHOLE_DIGIT_SHARE, mode, SIZED.index("part-size"))
    binds = BINDS_NMM * np.maximum(size - BINDS_FROM_PERCENT, 0.0) * sheet.share[rows, HOW_SLACK]
    for k, part in enumerate(SIZED):
        here = mode == k
        mine = rows[here]
        sheet.build.variant[mine, digit] = _nearest(shop, part, size[here])
        for joint, percent in enumerate((sheet.size_percent, sheet.tip_percent)):
            if part in ("part-size", SIZED[1 + joint]):
                percent[mine, digit] += size[here]
                sheet.build.build.hinge_friction_nmm[mine, digit, joint] += binds[here]


def _nearest(shop: Shop, to: str, amount: Floats) -> Ints:
    """The variants of one change that come nearest to the amounts."""
    known = [(i, v.amount) for i, v in enumerate(shop.variants) if v.to == to]
    index, amounts = np.array([i for i, _ in known]), np.array([a for _, a in known])
    return np.asarray(index[np.argmin(np.abs(amount[:, None] - amounts), axis=1)])


def _tip_length(shop: Shop, digit: str) -> float:
    g = next(g for g in shop.design.digits if g.name == digit)
    body = shop.design.hinge(g.tip_hinge).child
    part = next(p for p in shop.design.parts if p.body == body and p.printed)
    return dict(part.measures)["length_mm"]


def _bone(shop: Shop, digit: str) -> float:
    g = next(g for g in shop.design.digits if g.name == digit)
    a, b = shop.design.hinge(g.proximal_hinge).origin_mm, shop.design.hinge(g.tip_hinge).origin_mm
    return float(np.linalg.norm(np.array(b) - np.array(a)))


def _cord_index(shop: Shop, place: str) -> int:
    """A cord by the protocol's place: the one whose digits it serves."""
    digit = next(g for g, cord in shop.catalogue.cord_of_digit.items() if cord == place)
    return next(i for i, cord in enumerate(shop.design.cords) if any(leg.digit == digit for leg in cord.legs))
