"""Hands to compare with: drawn as ordinary hands differ, with the faults that are asked for, and looked at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue, Effect, Fault, Observable, Severity
from handsel.diagnosis.variants import SIZED, Variant, variants_of, varied
from handsel.mechanics.build import nominal_build
from handsel.mechanics.digit_curves import DigitTables, digit_tables
from handsel.mechanics.draws import Draws
from handsel.mechanics.swift_hand import Looks, SwiftBuild, as_drawn, looks

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.intp]

NONE = -1  # no fault in that column
JOINTS = ("knuckle", "tip")
PULL_ROUGH_LOG2, WRIST_ROUGH_NMM, BAR_ROUGH_NMM = 1.6, 50.0, 40.0
LEAST_MU, LEAST_PRETENSION = 0.03, 0.02
WHICH_PART, HOW_SLACK, OTHER_SIDE, WHICH_WAY = range(4)  # columns of a sheet's shares
WHOLE_DIGIT_SHARE = 0.15  # of parts of the wrong size, both of a digit; otherwise one or the other
BINDS_FROM_PERCENT = 2.0  # what a fork forgives
BINDS_NMM = 1.0  # for one per cent more, up to this much
LEAST_SLACK_SHARE = 0.2  # of an elastic's wrong pull, at least so much is its length, not its rubber
THREAD_LEFT = 0.25  # of its turns, a screw that spins still pulls up to so much
OTHER_TURNED_LEAST = 0.5  # the sound screw was turned at least so far, against the one that spins


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A design at one scale with its variants, ready to try hands on."""

    catalogue: Catalogue
    design: Design  # placed, right
    scale_ratio: float
    variants: tuple[Variant, ...]
    tables: DigitTables
    columns: tuple[str, ...]  # quantities that are kept, in order
    as_designed: Looks  # one hand exactly as designed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """n simulated hands: their faults, how bad, and what there is to see.

    faults : (n, 2) int, NONE where there is none; severity : (n, 2) float, in the fault's unit;
    seen : (columns, n) float.
    """

    faults: NDArray[np.int16]
    severity: Floats32
    seen: Floats32


def column_of(o: Observable, place: str) -> str:
    """Name of the quantity behind a look at a place.

    Parameters: o, the look; place, "" for the whole hand.    Returns: the name.
    """
    return f"{o.reads}@{place}" if place else o.reads


def columns_of(catalogue: Catalogue) -> tuple[str, ...]:
    """All quantities that a catalogue's looks read.

    Parameters: catalogue.    Returns: their names, in order.
    """
    names = {
        column_of(o, place)
        for o in catalogue.observables
        if o.reads and o.kind != "meets"
        for place in o.places
    }
    return tuple(sorted(names))


def make_bench(catalogue: Catalogue, design: Design, scale_ratio: float) -> Bench:
    """All that hands of one design and scale have in common.

    Parameters: catalogue; design, placed at scale_ratio on the right side; scale_ratio [-].
    Returns: Bench.
    Raises: nothing of its own.
    Valid for: designs with the cords and digits that the catalogue names.
    Source: mechanics.swift_hand.    Checked by: published/test_diagnosis.py
    """
    variants = variants_of(catalogue)
    tables = digit_tables(tuple(varied(design, v, catalogue, scale_ratio) for v in variants))
    return Bench(
        catalogue=catalogue,
        design=design,
        scale_ratio=scale_ratio,
        variants=variants,
        tables=tables,
        columns=columns_of(catalogue),
        as_designed=looks(design, tables, as_drawn(design, nominal_build(design, 1))),
    )


def severities(s: Severity | None, share: Floats, sign_share: Floats) -> Floats:
    """Severities at even shares 0..1 of their triangular distribution; (n,).

    Source: inverse of the triangular distribution's function.
    """
    if s is None:
        return np.ones(len(share))
    width = max(s.high - s.low, 1e-12)
    peak = (s.typical - s.low) / width
    rising = s.low + np.sqrt(share * width * (s.typical - s.low))
    falling = s.high - np.sqrt((1.0 - share) * width * (s.high - s.typical))
    value = np.where(share < peak, rising, falling)
    return value * np.where((sign_share < 0.5) & s.either_sign, -1.0, 1.0)


@dataclass(slots=True, kw_only=True, eq=False)
class _Sheet:
    """Arrays of n hands while faults are put in."""

    build: SwiftBuild
    screw_turns: Floats  # (n, 2) thumb side, little side, as counted
    size_percent: Floats  # (n, d) proximal part
    tip_percent: Floats  # (n, d)
    share: Floats  # (n, 4) even: which part of a digit it is, and the like


def draw(bench: Bench, faults: NDArray[np.int16], draws: Draws, severity: Floats | None = None) -> Drawn:
    """Simulated hands with given faults, as ordinary hands differ otherwise.

    Parameters: bench; faults : (n, 2) int, NONE for none; draws; severity : (n, 2) float, to be used
        where it is a number; nan, or None for all: drawn.
    Returns: Drawn.
    Raises: nothing of its own.
    Valid for: faults whose pairs the catalogue allows.
    Source: the catalogue's spread, severities and effects.
    Checked by: unit/test_library.py, published/test_diagnosis.py
    """
    c, n = bench.catalogue, len(faults)
    sheet = _ordinary(bench, n, draws)
    shares, signs = draws.uniform(n, 2), draws.uniform(n, 2)
    size = np.zeros((n, 2))
    for fault in c.faults:
        for k in range(2):
            rows = np.flatnonzero(faults[:, k] == fault.index)
            if not len(rows):
                continue
            drawn = severities(fault.kind.severity, shares[rows, k], signs[rows, k])
            if severity is not None:
                given = severity[rows, k]
                drawn = np.where(np.isnan(given), drawn, given)
            size[rows, k] = drawn
            for effect in fault.kind.effects:
                _apply(bench, sheet, effect, fault, rows, drawn)
    seen = looks(bench.design, bench.tables, sheet.build)
    return Drawn(
        faults=faults,
        severity=size.astype(np.float32),
        seen=_table(bench, sheet, seen).astype(np.float32),
    )


def _ordinary(bench: Bench, n: int, draws: Draws) -> _Sheet:
    s, design = bench.catalogue.spread, bench.design
    d, cords = len(design.digits), len(design.cords)
    b = nominal_build(design, n)
    mu = np.maximum(s.cord_friction_mean + s.cord_friction_sd * draws.normal(n), LEAST_MU)
    channel = np.maximum(mu[:, None] + s.channel_friction_sd * draws.normal(n, d), LEAST_MU)
    forward = draws.uniform(n) * 3.0  # one in three is not quite forward
    slide = np.where(forward < 1.0, forward * s.tension_slide_high_mm, 0.0)
    low, high = s.wrist_friction_low_nmm, s.wrist_friction_high_nmm
    follow = s.length_follows_route
    build = replace(
        b,
        excess_mm=s.cord_length_sd_mm * draws.normal(n, cords)
        + s.cord_length_common_sd_mm * draws.normal(n)[:, None],
        tension_slide_mm=slide,
        thumb_pin_mm=s.thumb_pin_sd_mm * draws.normal(n),
        friction_mu=channel,
        elastic_stiffness_ratio=np.exp(s.elastic_stiffness_sd_ratio * draws.normal(n, d)),
        elastic_pretension_ratio=np.maximum(
            b.elastic_pretension_ratio + s.elastic_pretension_sd_ratio * draws.normal(n, d), LEAST_PRETENSION
        ),
        wrist_friction_nmm=low + (high - low) * draws.uniform(n),
        hinge_friction_nmm=b.hinge_friction_nmm * s.hinge_friction_factor ** draws.normal(n, d, 2),
        cuff_mass_ratio=1.0 + s.cuff_mass_sd_ratio * draws.normal(n),
    )
    pitch = design.slide("tension").pitch_mm_per_turn or 1.0
    turns = slide[:, None] / pitch + np.where(slide > 0.0, s.screws_uneven_sd_turn, 0.0)[
        :, None
    ] * draws.normal(n, 2)
    return _Sheet(
        build=SwiftBuild(
            build=build,
            variant=np.zeros((n, d), dtype=np.intp),
            follows_ratio=follow[0] + (follow[1] - follow[0]) * _one_or_other(draws.uniform(n, d)),
            eyelet_mu=mu,
            block_turn_deg=np.zeros(n),
            block_roll_deg=np.zeros(n),
            locked_tilt_deg=np.zeros(n),
            dragged_deg=_between(s.starts_dragged_deg, draws.uniform(n)),
            meet_mm=_between(s.pads_meet_mm, draws.uniform(n)),
            presliding_mm=_between(s.presliding_mm, draws.uniform(n)),
        ),
        screw_turns=turns,
        size_percent=np.full((n, d), 100.0),
        tip_percent=np.full((n, d), 100.0),
        share=draws.uniform(n, 4),
    )


def _between(ends: tuple[float, float], share: Floats) -> Floats:
    return np.asarray(ends[0] + (ends[1] - ends[0]) * share)


def _one_or_other(share: Floats) -> Floats:
    """Two in five cut their cords to the board, two in five tie them to what is there; the others are between."""
    return np.clip(2.5 * share - 0.75, 0.0, 1.0)


def _apply(bench: Bench, sheet: _Sheet, e: Effect, fault: Fault, rows: Ints, size: Floats) -> None:
    """Put one effect into some hands, in place."""
    design, b = bench.design, sheet.build.build
    digits = [g.name for g in design.digits]
    at = e.at.format_map(bench.catalogue.words(fault.place))
    amount = e.times * size
    pitch = design.slide("tension").pitch_mm_per_turn or 1.0
    if e.to == "cord-length":
        b.excess_mm[rows, _cord_index(bench, at)] += amount
    elif e.to == "tension-slide":
        b.tension_slide_mm[rows] += amount
        sheet.screw_turns[rows] += amount[:, None] / pitch
    elif e.to == "screws-apart":
        sheet.screw_turns[rows, 0] += np.maximum(amount, 0.0)
        sheet.screw_turns[rows, 1] += np.maximum(-amount, 0.0)
        b.tension_slide_mm[rows] += 0.5 * pitch * np.abs(amount)
    elif e.to == "screws-turned-one-follows":
        spins = 1 if at == "little-side" else 0
        other = amount * _between((OTHER_TURNED_LEAST, 1.0), sheet.share[rows, OTHER_SIDE])
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
        slack = _between((LEAST_SLACK_SHARE, 1.0), sheet.share[rows, HOW_SLACK])
        b.elastic_pretension_ratio[rows, digits.index(at)] *= amount**slack
        b.elastic_stiffness_ratio[rows, digits.index(at)] *= amount ** (1.0 - slack)
    elif e.to == "elastic-pretension":
        b.elastic_pretension_ratio[rows, digits.index(at)] += amount
    elif e.to == "elastic-stiffness":
        b.elastic_stiffness_ratio[rows, digits.index(at)] *= amount
    elif e.do == "remove":
        b.elastic_stiffness_ratio[rows, digits.index(at)] = 1e-6
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
        _vary(bench, sheet, e, at, rows, size)


def _vary(bench: Bench, sheet: _Sheet, e: Effect, at: str, rows: Ints, size: Floats) -> None:
    """Another variant of a digit; of a swap, of both digits."""
    digits = [g.name for g in bench.design.digits]
    names = at.split("-")
    if e.to == "part-size":
        _resize(bench, sheet, digits.index(names[0]), rows, size)
        return
    amount = np.ones(len(rows)) if e.do == "swap-parts" else size
    for name in names:
        sheet.build.variant[rows, digits.index(name)] = _nearest(bench, e.to, amount)
    if e.do != "swap-parts":
        return
    percent, length = (sheet.size_percent, _bone) if e.to == "proximal" else (sheet.tip_percent, _tip_length)
    for name, other in zip(names, reversed(names), strict=True):
        percent[rows, digits.index(name)] = 100.0 * length(bench, other) / length(bench, name)


def _resize(bench: Bench, sheet: _Sheet, digit: int, rows: Ints, size: Floats) -> None:
    """One part of a digit, or both, larger or smaller; a larger one binds in its fork."""
    u = sheet.share[rows, WHICH_PART]
    one = 0.5 * (1.0 - WHOLE_DIGIT_SHARE)
    mode = np.where(u < one, SIZED.index("part-size-proximal"), SIZED.index("part-size-tip"))
    mode = np.where(u < 1.0 - WHOLE_DIGIT_SHARE, mode, SIZED.index("part-size"))
    binds = BINDS_NMM * np.maximum(size - BINDS_FROM_PERCENT, 0.0) * sheet.share[rows, HOW_SLACK]
    for k, part in enumerate(SIZED):
        here = mode == k
        mine = rows[here]
        sheet.build.variant[mine, digit] = _nearest(bench, part, size[here])
        for joint, percent in enumerate((sheet.size_percent, sheet.tip_percent)):
            if part in ("part-size", SIZED[1 + joint]):
                percent[mine, digit] += size[here]
                sheet.build.build.hinge_friction_nmm[mine, digit, joint] += binds[here]


def _nearest(bench: Bench, to: str, amount: Floats) -> Ints:
    """The variants of one change that come nearest to the amounts."""
    known = [(i, v.amount) for i, v in enumerate(bench.variants) if v.to == to]
    index, amounts = np.array([i for i, _ in known]), np.array([a for _, a in known])
    return np.asarray(index[np.argmin(np.abs(amount[:, None] - amounts), axis=1)])


def _tip_length(bench: Bench, digit: str) -> float:
    g = next(g for g in bench.design.digits if g.name == digit)
    body = bench.design.hinge(g.tip_hinge).child
    part = next(p for p in bench.design.parts if p.body == body and p.printed)
    return dict(part.measures)["length_mm"]


def _bone(bench: Bench, digit: str) -> float:
    g = next(g for g in bench.design.digits if g.name == digit)
    a, b = bench.design.hinge(g.proximal_hinge).origin_mm, bench.design.hinge(g.tip_hinge).origin_mm
    return float(np.linalg.norm(np.array(b) - np.array(a)))


def _cord_index(bench: Bench, place: str) -> int:
    """A cord by the protocol's place: the one whose digits it serves."""
    digit = next(g for g, cord in bench.catalogue.cord_of_digit.items() if cord == place)
    return next(
        i for i, cord in enumerate(bench.design.cords) if any(leg.digit == digit for leg in cord.legs)
    )


def _table(bench: Bench, sheet: _Sheet, seen: Looks) -> Floats:
    """The quantities that are kept; (columns, n)."""
    design, b, ideal = bench.design, sheet.build.build, bench.as_designed
    names = [g.name for g in design.digits]
    thumb = names.index("thumb")
    surplus = seen.return_nmm / np.maximum(ideal.return_nmm, 1e-6)
    rough = np.maximum(seen.pull_log2.max(-1) / PULL_ROUGH_LOG2, b.wrist_friction_nmm / WRIST_ROUGH_NMM)
    rough = np.maximum(rough, np.minimum(seen.bar_friction_nmm, 100.0) / BAR_ROUGH_NMM)
    single = {
        "worked_rest_deg": seen.worked_rest_deg,
        "lowered_rest_deg": seen.lowered_rest_deg,
        "tilt_deg": seen.tilt_deg,
        "slide_mm": b.tension_slide_mm,
        "pin_mm": b.thumb_pin_mm,
        "turns_thumb_side": sheet.screw_turns[:, 0],
        "turns_little_side": sheet.screw_turns[:, 1],
        "turns_apart": np.abs(sheet.screw_turns[:, 0] - sheet.screw_turns[:, 1]),
        "thumb_tip_bend_deg": seen.thumb_tip_bend_deg,
        "thumb_lead_deg": seen.thumb_lead_deg,
        "thumb_slack_mm": seen.slack_mm[:, thumb],
        "bar_friction_nmm": seen.bar_friction_nmm,
        "wrist_friction_ratio": seen.wrist_friction_ratio,
        "roughness": rough,
    }
    by_digit = {
        "part_size_percent": sheet.size_percent,
        "slack_mm": seen.slack_mm,
        "bend_deg": seen.bend_deg,
        "start_lead_deg": seen.start_lead_deg,
        "reach_ratio": seen.reach_deg / np.maximum(ideal.reach_deg, 1.0),
        "apart_deg": seen.apart_deg,
        "pull_log2": seen.pull_log2,
        "tip_size_percent": sheet.tip_percent,
        "left_bent_deg": seen.left_bent_deg,
    }
    out = []
    for column in bench.columns:
        quantity, _, place = column.partition("@")
        if not place:
            out.append(single[quantity])
        elif quantity == "tip_gap_mm":
            out.append(seen.tip_gap_mm[:, ("index", "middle").index(place)])
        elif quantity == "return_surplus_ratio":
            digit, _, joint = place.partition(".")
            out.append(surplus[:, names.index(digit), JOINTS.index(joint)])
        else:
            out.append(by_digit[quantity][:, names.index(place)])
    return np.stack(out)
