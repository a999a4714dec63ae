"""Hands to compare with: drawn as ordinary hands differ, with the faults that are asked for, and looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue, Observable, Severity
from handsel.diagnosis.effects import JOINTS, Shop, put_in
from handsel.diagnosis.ordinary import Sheet, ordinary_hands
from handsel.diagnosis.variants import Variant, variants_of, varied
from handsel.mechanics.build import nominal_build
from handsel.mechanics.digit_curves import DigitTables, digit_tables
from handsel.mechanics.draws import Draws
from handsel.mechanics.swift_cords import as_drawn
from handsel.mechanics.swift_hand import Looks, looks

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.intp]

NONE = -1  # no fault in that column
PULL_ROUGH_LOG2, WRIST_ROUGH_NMM, BAR_ROUGH_NMM = 1.6, 50.0, 40.0


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
    sheet = ordinary_hands(bench.design, c.spread, n, draws)
    shop = Shop(catalogue=c, design=bench.design, variants=bench.variants)
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
                put_in(shop, sheet, effect, fault, rows, drawn)
    seen = looks(bench.design, bench.tables, sheet.build)
    return Drawn(
        faults=faults,
        severity=size.astype(np.float32),
        seen=_table(bench, sheet, seen).astype(np.float32),
    )


def _table(bench: Bench, sheet: Sheet, seen: Looks) -> Floats:
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
