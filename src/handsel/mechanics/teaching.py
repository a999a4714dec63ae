"""Readings that teach a design, and what the engine would read on a trial design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsel.design.model import Design
from handsel.errors import OutOfRange, Unsolved
from handsel.mechanics.arms import KNUCKLE, TIP, Arm, arm_mm, arms_of, with_arms
from handsel.mechanics.build import Build, nominal_build
from handsel.mechanics.closing import closing_path
from handsel.mechanics.model import PER_HAND, Model, compile_model
from handsel.mechanics.paths import Crossing, WristLegs
from handsel.mechanics.rest import rest_lowered
from handsel.metrology.quantity import Quantity

Floats = NDArray[np.float64]

LOWERED, TILT = "lowered_rest_angle_deg", "whippletree_tilt_deg"
DIGIT_ANGLE, CORD_LENGTH, ARM = "digit_angle_deg", "cord_length_mm", "arm_mm"
UNIT_OF = {LOWERED: "deg", TILT: "deg", DIGIT_ANGLE: "deg", CORD_LENGTH: "mm", ARM: "mm"}
PATH_STEP_DEG = 4.0  # wrist steps on the way to a digit's angle


@dataclass(frozen=True, slots=True, kw_only=True)
class TeachingReading:
    """One thing measured on a good hand, and how the hand stood."""

    of: str  # LOWERED, TILT (lowered too), DIGIT_ANGLE, CORD_LENGTH (knot to knot) or ARM (caliper)
    value: Quantity
    tension_slide_mm: float = 0.0
    thumb_pin_mm: float = 0.0
    digit: str = ""  # of a DIGIT_ANGLE
    joint: str = ""  # of a DIGIT_ANGLE: KNUCKLE or TIP
    wrist_deg: float | None = None  # of a DIGIT_ANGLE: wrist bent down slowly to here
    cord: str = ""  # of a CORD_LENGTH
    arm: Arm | None = None  # of an ARM

    def describe(self) -> str:
        """What to read, in the maker's words."""
        slides = f"tension slide at {self.tension_slide_mm:g} mm, thumb pin at {self.thumb_pin_mm:g} mm"
        if self.of == LOWERED:
            return f"the lowered rest angle with {slides}"
        if self.of == TILT:
            return f"the whippletree's tilt with {slides}"
        if self.of == DIGIT_ANGLE:
            at = "" if self.wrist_deg is None else f" with the wrist bent to {self.wrist_deg:g}°"
            return f"the {self.digit}'s {self.joint} angle{at} and {slides}"
        if self.of == CORD_LENGTH:
            return f"the length of {self.cord} from knot to knot, pulled straight"
        if self.arm is not None:
            return f"with a caliper, how far the guides lie from the hinge line: {self.arm.name}"
        return f'"{self.of}"'


def check_readings(design: Design, readings: Sequence[TeachingReading]) -> None:
    """Whether these are readings that a hand of this design could give.

    Parameters: design, placed; readings.    Returns: nothing.
    Raises: OutOfRange for the first that cannot be, or for none at all.
    Source: the design's travel and limits.
    Checked by: unit/test_calibration.py
    """
    if not readings:
        raise OutOfRange(
            "there are no readings",
            where="teaching",
            do="Measure a hand that works well, then give what was read.",
        )
    for number, r in enumerate(readings, start=1):
        where = f"teaching reading {number}"
        if r.of not in UNIT_OF:
            raise OutOfRange(
                f'"{r.of}" is not a reading that teaches',
                where=where,
                do=f"Give one of: {', '.join(UNIT_OF)}.",
            )
        where = f"{where}, {r.describe()}"
        if r.value.unit != UNIT_OF[r.of]:
            raise OutOfRange(
                f"its unit is {r.value.unit}; expected {UNIT_OF[r.of]}",
                where=where,
                do="Convert it, and its uncertainty too.",
            )
        if not r.value.u > 0.0:
            raise OutOfRange(
                "its u is 0; nothing is read without doubt",
                where=where,
                do="Give the standard uncertainty of the reading.",
            )
        for slide in design.slides:
            at = r.tension_slide_mm if slide.body == "whippletree" else r.thumb_pin_mm
            if not (isfinite(at) and slide.min_mm <= at <= slide.max_mm):
                raise OutOfRange(
                    f"the {slide.name} slide is at {at:g} mm; it has {slide.min_mm:g} to {slide.max_mm:g}",
                    where=where,
                    do="Read the slide again.",
                )
        _check_place(design, r, where)


def _check_place(design: Design, r: TeachingReading, where: str) -> None:
    if r.of == DIGIT_ANGLE:
        names = [g.name for g in design.digits]
        if r.digit not in names or r.joint not in (KNUCKLE, TIP):
            raise OutOfRange(
                f'digit "{r.digit}", joint "{r.joint}" is not there',
                where=where,
                do=f"Name a digit ({', '.join(names)}) and {KNUCKLE} or {TIP}.",
            )
        wrist, top = design.hinge("wrist"), design.target_rest_angle_deg
        if r.wrist_deg is None or not (wrist.min_deg <= r.wrist_deg < top):
            raise OutOfRange(
                f"wrist_deg is {r.wrist_deg}; cords are taut from {wrist.min_deg:g} to below {top:g}",
                where=where,
                do="Bend the wrist further down and give its angle too.",
            )
    if r.of == CORD_LENGTH and r.cord not in [c.name for c in design.cords]:
        raise OutOfRange(
            f'cord "{r.cord}" is not there',
            where=where,
            do=f"Name one of: {', '.join(c.name for c in design.cords)}.",
        )
    if r.of == ARM and r.arm not in arms_of(design):
        raise OutOfRange(
            "no arm of this design is named",
            where=where,
            do=f"Name one of: {', '.join(a.name for a in arms_of(design))}.",
        )


def predict(
    design: Design, readings: Sequence[TeachingReading], arm_ratios: Floats, excess_mm: Floats
) -> Floats:
    """What the engine reads on k trial hands, all in one batch.

    Parameters: design, placed; readings, checked, of which only the places count; arm_ratios : (k, a)
        float [-], in the order of `arms_of`; excess_mm : (k, c) float [mm].
    Returns: (k, r) float, in the units of the readings.
    Raises: Unsolved when a hand finds no balance.
    Valid for: cord friction of rows after the first is that at the bends of the first, so they
        serve for derivatives; the first row is exact. Digit angles before pads meet.
    Source: rest_lowered and closing_path of the engine.
    Checked by: unit/test_calibration.py
    """
    arms = arms_of(design)
    by_row: dict[tuple[float, ...], Design] = {}
    for row in arm_ratios:
        key = tuple(map(float, row))
        if key not in by_row:
            by_row[key] = with_arms(design, {a: x for a, x in zip(arms, key, strict=True) if x != 1.0})
    trials = [by_row[tuple(map(float, row))] for row in arm_ratios]
    out = np.zeros((len(trials), len(readings)))
    resting = [i for i, r in enumerate(readings) if r.of in (LOWERED, TILT)]
    if resting:
        m, place, n = _batch(trials, readings, resting, excess_mm)
        rest = rest_lowered(m)
        _solved(rest.converged)
        for i, at in zip(resting, place, strict=True):
            of = rest.rest_angle_deg if readings[i].of == LOWERED else rest.tilt_deg
            out[:, i] = of.reshape(-1, n)[:, at]
    bending = [i for i, r in enumerate(readings) if r.of == DIGIT_ANGLE]
    if bending:
        m, place, n = _batch(trials, readings, bending, excess_mm)
        path = closing_path(
            m,
            to_deg=min(float(readings[i].wrist_deg or 0.0) for i in bending),
            step_deg=PATH_STEP_DEG,
            contact=False,
        )
        _solved(path.converged)
        names = [g.name for g in design.digits]
        for i, at in zip(bending, place, strict=True):
            g, j = names.index(readings[i].digit), 0 if readings[i].joint == KNUCKLE else 1
            for k in range(len(trials)):
                row = k * n + at
                out[k, i] = np.interp(
                    -float(readings[i].wrist_deg or 0.0), -path.wrist_deg[row], path.phi_deg[row, :, g, j]
                )
    for i, r in enumerate(readings):
        if r.of == CORD_LENGTH:
            c = next(c for c, cord in enumerate(design.cords) if cord.name == r.cord)
            ea = design.cords[c].axial_stiffness_n
            one = {
                id(t): ea / compile_model(t, nominal_build(t)).cord_stiffness[0, c] for t in by_row.values()
            }
            lengths = [one[id(t)] for t in trials]
            out[:, i] = np.array(lengths) + excess_mm[:, c]
        elif r.of == ARM and r.arm is not None:
            out[:, i] = arm_mm(design, r.arm) * arm_ratios[:, arms.index(r.arm)]
    return out


def _solved(converged: NDArray[np.bool_]) -> None:
    if not converged.all():
        raise Unsolved(
            "a trial hand found no balance",
            where="teaching",
            do="Check the readings' slides, signs and units; leave out the least certain.",
        )


def _batch(
    trials: Sequence[Design], readings: Sequence[TeachingReading], which: Sequence[int], excess_mm: Floats
) -> tuple[Model, list[int], int]:
    """All trial hands in all settings of some readings; each reading's setting; how many there are."""
    stands = [(readings[i].tension_slide_mm, readings[i].thumb_pin_mm) for i in which]
    settings = sorted(set(stands))
    n = len(settings)
    # One compilation for all hands of one geometry, then back in the order asked for.
    groups: dict[int, list[int]] = {}
    for k, trial in enumerate(trials):
        groups.setdefault(id(trial), []).append(k)
    models = [
        compile_model(trials[ks[0]], _set(trials[ks[0]], settings, excess_mm[ks])) for ks in groups.values()
    ]
    order = np.argsort(np.concatenate([ks for ks in groups.values()]), kind="stable")
    rows = (order[:, None] * n + np.arange(n)).ravel()
    return _joined(models).take(rows), [settings.index(s) for s in stands], n


def _set(design: Design, settings: Sequence[tuple[float, float]], excess_mm: Floats) -> Build:
    """Each hand, by its excess (k, c), in each setting."""
    build = nominal_build(design, len(excess_mm) * len(settings))
    build.excess_mm[:] = np.repeat(excess_mm, len(settings), axis=0)
    build.tension_slide_mm[:] = np.tile([s[0] for s in settings], len(excess_mm))
    build.thumb_pin_mm[:] = np.tile([s[1] for s in settings], len(excess_mm))
    return build


def _joined(models: Sequence[Model]) -> Model:
    """One batch of the hands of several models; what is not kept per hand is the first's."""

    def together(parts: Sequence[Any]) -> Any:
        first = parts[0]
        if isinstance(first, Crossing | WristLegs):
            return type(first)(
                **{f.name: np.concatenate([getattr(x, f.name) for x in parts]) for f in fields(first)}
            )
        return np.concatenate([np.asarray(x) for x in parts])

    return Model(
        **{
            f.name: together([getattr(m, f.name) for m in models])
            if f.name in PER_HAND
            else getattr(models[0], f.name)
            for f in fields(Model)
        }
    )
