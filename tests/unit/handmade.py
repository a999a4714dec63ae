"""An assessment put together by hand, for tests of what shows it: every field is chosen here."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import lru_cache

from handsel.data import load_design as designs
from handsel.data import load_protocol as protocols
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.inspection.case import Case, HandRecord, Observation
from handsel.inspection.deciding import inspect
from handsel.rework.result import (
    Assessment,
    CordState,
    Estimate,
    Fix,
    FixKind,
    Lengths,
    NewCord,
    PoseDrawn,
    Prediction,
    Recheck,
    SlideMove,
)

load_protocol, load_design = lru_cache(protocols.load_protocol), lru_cache(designs.load_design)
STRAIGHT = ((0.0, 0.0),) * 5


def estimate(value: float, u: float, unit: str = "deg") -> Estimate:
    return Estimate(value=value, u=u, low=value - 1.96 * u, high=value + 1.96 * u, unit=unit)


def pose(wrist_deg: float, bend_deg: float = 0.0, taut: tuple[bool, ...] = (True, True, True)) -> PoseDrawn:
    return PoseDrawn(
        label="solved",
        wrist_deg=wrist_deg,
        tilt_deg=2.0,
        phi_deg=((bend_deg, 0.7 * bend_deg),) * 5,
        tension_slide_mm=0.5,
        thumb_pin_mm=1.0,
        taut=taut,
    )


def prediction(angle_deg: float) -> Prediction:
    return Prediction(
        worked_rest_angle_deg=estimate(angle_deg, 0.8),
        lowered_rest_angle_deg=estimate(angle_deg, 0.9),
        thumb_lead_deg=estimate(-1.2, 1.0),
        closed_wrist_deg=estimate(-18.0, 3.0),
        screw_turns_left=6.0,
        thumb_pin_left_mm=4.5,
    )


def case(
    angle_deg: float = 22.0, *, side: str = "right", code: str = "R-014", name: str = "made.toml"
) -> Case:
    hand = HandRecord(
        code=code, serial="H-0031", design="linden", scale_ratio=1.1, side=side, hold_point="strung"
    )
    seen = Observation(of="worked-rest-angle", value=angle_deg, unit="deg", u=0.8)
    return Case(name=name, hand=hand, by="inspector 2", on=date(2026, 11, 21), observations=(seen,))


def restring() -> Fix:
    cords = tuple(
        NewCord(
            cord=cord,
            title=title,
            cut_length_mm=512.0,
            finished_length_mm=412.0,
            seating_mm=1.0,
            reason="it is 14 mm too long",
        )
        for cord, title in (("loop_a", "index and middle loop"), ("loop_b", "ring and little loop"))
    )
    return Fix(
        kind=FixKind.RESTRING,
        sentence="Replace both finger loops; cut each to 512 mm.",
        steps=("Take out both finger loops.", "Cut 512 mm for each.", "Work it 20 times, tighten the knots."),
        move=SlideMove(screw_turns=0.0, thumb_pin_mm=0.0),
        new_cords=cords,
        rework_ids=("restring-all",),
        after=prediction(36.0),
        p_success=0.93,
        cautions=("Keep your eyes away from a loaded cord.",),
    )


def made(*, side: str = "right", angle_deg: float = 22.0, **changes: object) -> tuple[Design, Assessment]:
    """A placed design and an assessment of a shallow hand to be restrung, with fields changed as asked."""
    protocol = load_protocol()
    inspection = inspect(case(angle_deg, side=side), protocol)
    again = tuple(
        Recheck(id=c.id, place="", title=c.title, reason="restringing undoes it")
        for c in protocol.characteristics
        if c.hold_point == "strung"
    )
    cords = tuple(
        CordState(cord=c, title=c, excess_mm=estimate(14.0, 1.2, "mm"), taut_probability=0.9)
        for c in ("loop_a", "loop_b", "thumb_cord")
    )
    whole = Assessment(
        sentence="Not yet: the cords are too long. Replace both finger loops, and it should rest at 36°.",
        conforms=False,
        inspection=inspection,
        lengths=Lengths(cords=cords, agrees=True, open_question="", settling_reading=""),
        now=prediction(angle_deg),
        fix=restring(),
        recheck=again,
        drawn_now=pose(angle_deg, taut=(True, True, False)),
        drawn_after=pose(36.0),
        closing=tuple(pose(36.0 - 3.0 * k, 4.0 * k) for k in range(19)),
        angle_limit_deg=(30.0, 45.0),
        target_deg=36.0,
        cautions=("Instant glue bonds skin at once.",),
        notes=("The lowered angle was not read.",),
        design_name="linden",
        design_version="1.0.0",
        design_sha256="ab" * 32,
        protocol_id=protocol.id,
        protocol_sha256=protocol.sha256,
        program_version="0.0.0",
    )
    return placed(load_design("linden"), scale_ratio=1.1, side=side), replace(whole, **changes)  # type: ignore[arg-type]
