"""What `--json` writes: the tables of an assessment, published as a JSON Schema."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from handsel.inspection.result import Item
from handsel.metrology.quantity import Quantity
from handsel.rework.result import Assessment, FixKind


class Told(BaseModel):
    """A table of results. Numbers are finite; units are in the keys, or beside the value."""

    model_config = ConfigDict(extra="forbid", frozen=True, from_attributes=True, allow_inf_nan=False)


class EstimateTable(Told):
    """A computed value."""

    value: float = Field(description="Best estimate, in unit.")
    u: float = Field(description="Standard uncertainty, in unit.")
    low: float = Field(description="Lower end of the 95 % interval, in unit.")
    high: float = Field(description="Upper end of the 95 % interval, in unit.")
    unit: str = Field(description="deg, mm or turn.")


class ReadingTable(Told):
    """A number that was read, as the mechanics took it, or an answer in words."""

    name: str = Field(description="Which observable, as in worked_rest_angle_deg.")
    answer: str | None = Field(default=None, description="The answer, where it was one in words.")
    value: float | None = Field(default=None, description="The number, in unit.")
    u: float | None = Field(default=None, description="Its standard uncertainty, in unit.")
    unit: str | None = Field(default=None, description="Unit of value and u.")


class ItemTable(Told):
    """One characteristic at one place, or one computed finding."""

    id: str
    place: str = Field(description="Digit, finger, cord or knot; empty for the whole hand.")
    title: str
    hold_point: str = Field(description="Empty for a finding that was computed.")
    severity: Literal["critical", "major", "minor"]
    status: Literal["conforms", "does not conform", "undecided", "not seen", "recorded"]
    p_conform: float | None = Field(description="Probability that it conforms; null when nothing counted.")
    reason: str
    shown: str = Field(description="The answer or number, as text.")
    to_check: str = Field(description="What to do to see it, while it is not seen or not decided.")
    settling: str = Field(default="", description="What would settle an undecided number.")
    minutes: float = Field(description="Time that this check takes [min].")
    advisories: tuple[str, ...]
    conceded_by: str
    concession_reason: str
    rework: tuple[str, ...]
    faults: tuple[str, ...]
    open: bool = Field(description="True while something remains to be seen, decided or put right.")


class OutOfOrderTable(Told):
    """A step done before its hold point was passed."""

    step: str
    title: str
    reason: str
    hidden: tuple[str, ...]
    ways_on: tuple[str, ...]


class RefusedConcessionTable(Told):
    """A concession that does not count."""

    of: str
    by: str
    reason: str


class CordTable(Told):
    """How much too long (+) or short (-) a cord is, as far as the readings tell."""

    cord: str
    title: str
    excess_mm: EstimateTable
    taut_probability: float


class LengthsTable(Told):
    """The cord lengths behind the readings."""

    cords: tuple[CordTable, ...]
    agrees: bool = Field(description="False: no lengths explain the readings.")
    open_question: str
    settling_reading: str


class PredictionTable(Told):
    """How the hand rests and closes."""

    worked_rest_angle_deg: EstimateTable
    lowered_rest_angle_deg: EstimateTable
    thumb_lead_deg: EstimateTable
    closed_wrist_deg: EstimateTable | None
    screw_turns_left: float
    thumb_pin_left_mm: float


class MoveTable(Told):
    """What both slides are moved by."""

    screw_turns: float = Field(description="Both tension screws together; + is in, clockwise [turn].")
    thumb_pin_mm: float = Field(description="+ is pulled in [mm].")


class NewCordTable(Told):
    """A cord to replace."""

    cord: str
    title: str
    cut_length_mm: float
    finished_length_mm: float
    seating_mm: float
    reason: str


class FixTable(Told):
    """The change, and what it brings."""

    kind: FixKind
    sentence: str
    steps: tuple[str, ...]
    move: MoveTable | None
    new_cords: tuple[NewCordTable, ...]
    rework_ids: tuple[str, ...]
    after: PredictionTable | None
    p_success: float | None
    cautions: tuple[str, ...]


class RecheckTable(Told):
    """One characteristic to look at again after the fix."""

    id: str
    place: str
    title: str
    reason: str


class PoseTable(Told):
    """A solved state; digits in the design's order, each with its proximal and its tip angle."""

    label: str
    wrist_deg: float
    tilt_deg: float
    phi_deg: tuple[tuple[float, float], ...]
    tension_slide_mm: float
    thumb_pin_mm: float
    taut: tuple[bool, ...]


class HandOfCaseTable(Told):
    """Which hand it is."""

    code: str
    serial: str
    design: str
    scale_ratio: float
    side: Literal["left", "right"]
    hold_point: str
    target_rest_angle_deg: float | None
    latex_sensitive: bool | None


class RecordTable(Told):
    """What the assessment stands on."""

    design_name: str
    design_version: str
    design_sha256: str
    protocol_id: str
    protocol_sha256: str
    program_version: str


class AssessmentTable(Told):
    """The whole answer for one hand."""

    case: str = Field(description="Name of the case file.")
    sentence: str
    conforms: bool = Field(description="True: it may be released, or go on to the next hold point.")
    whole: Literal["release", "rework", "scrap part", "not decided yet"]
    released_to: str
    hand: HandOfCaseTable
    by: str = Field(description="Role of the inspector.")
    on: date
    fix: FixTable
    recheck: tuple[RecheckTable, ...]
    now: PredictionTable | None
    lengths: LengthsTable | None
    next_check: str = Field(description="How to make the next check; empty when none is open.")
    items: tuple[ItemTable, ...] = Field(description="All characteristics, as the hand is held.")
    open_items: tuple[tuple[str, str], ...] = Field(description="Id and place, gravest first.")
    out_of_order: tuple[OutOfOrderTable, ...]
    refused_concessions: tuple[RefusedConcessionTable, ...]
    readings: tuple[ReadingTable, ...]
    advisories: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    open_minutes: float
    angle_limit_deg: tuple[float, float] = Field(description="Least allowed, and most without a question.")
    target_deg: float
    drawn_now: PoseTable | None
    drawn_after: PoseTable | None
    closing: tuple[PoseTable, ...]
    record: RecordTable


class UnusableTable(Told):
    """A case that could not be assessed, and what to do about it."""

    file: str
    what: str
    where: str
    do: str


class AssessmentsTable(Told):
    """Everything that one call says."""

    format: Literal["handsel-assessment/1"] = "handsel-assessment/1"
    assessments: tuple[AssessmentTable, ...]
    unusable: tuple[UnusableTable, ...] = ()


def assessment_table(a: Assessment) -> AssessmentTable:
    """An assessment as it is written down.

    Parameters: a.
    Returns: AssessmentTable.
    Raises: ValueError when a number in it is not finite.
    Valid for: any assessment.
    Source: own format; `handsel schema assessment` prints it.
    Checked by: unit/test_cli.py
    """
    i = a.inspection
    return AssessmentTable(
        **{key: getattr(a, key) for key in _SAME},
        case=i.case.name,
        whole=i.whole,
        released_to=i.released_to,
        hand=HandOfCaseTable.model_validate(i.case.hand),
        by=i.case.by,
        on=i.case.on,
        fix=FixTable.model_validate(a.fix),
        recheck=tuple(RecheckTable.model_validate(r) for r in a.recheck),
        now=None if a.now is None else PredictionTable.model_validate(a.now),
        lengths=None if a.lengths is None else LengthsTable.model_validate(a.lengths),
        next_check="" if i.next_check is None else i.next_check.how,
        items=tuple(_item(x) for x in i.items),
        open_items=tuple(x.key for x in i.open_items),
        out_of_order=tuple(OutOfOrderTable.model_validate(o) for o in i.out_of_order),
        refused_concessions=tuple(RefusedConcessionTable.model_validate(r) for r in i.refused_concessions),
        readings=tuple(_reading(name, value) for name, value in i.readings.items()),
        advisories=i.advisories,
        open_minutes=i.open_minutes,
        drawn_now=None if a.drawn_now is None else PoseTable.model_validate(a.drawn_now),
        drawn_after=None if a.drawn_after is None else PoseTable.model_validate(a.drawn_after),
        closing=tuple(PoseTable.model_validate(p) for p in a.closing),
        record=RecordTable.model_validate(a),
    )


_SAME = ("sentence", "conforms", "cautions", "notes", "angle_limit_deg", "target_deg")


def _item(x: Item) -> ItemTable:
    same = {key: getattr(x, key) for key in ItemTable.model_fields if key not in ("open", "settling")}
    return ItemTable(**same, open=x.is_open, settling=x.settling.sentence if x.settling is not None else "")


def _reading(name: str, value: Quantity | str) -> ReadingTable:
    if isinstance(value, Quantity):
        return ReadingTable(name=name, value=value.value, u=value.u, unit=value.unit)
    return ReadingTable(name=name, answer=value)
