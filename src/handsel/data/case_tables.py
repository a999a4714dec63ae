"""The tables of a case file: one hand, and what was seen and measured on it.

These classes say what the file may hold; whether it fits the protocol it is judged by is said by
the inspection. The unit of a number is part of its key, so that it is never guessed.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.fields import Code, Id, Line, Name, Number, Role, Table, Text

FORMAT = "handsel-case/1"
UNITS = ("deg", "mm", "g", "n", "turn", "minute", "count", "percent")

Answer = Annotated[Line, Field(max_length=60)]
Readings = Annotated[tuple[Number, ...], Field(min_length=1, max_length=100)]
Spread = Annotated[Number, Field(gt=0, le=1e6)]
Answers = Annotated[dict[Id, Answer], Field(min_length=1, max_length=12)]


class HandTable(Table):
    """Which hand it is, and how far it has come."""

    code: Code = Field(description="The recipient's code, as in R-014. Never a name.")
    serial: Code = Field(description="The hand's own number, as in H-0031.")
    design: Name = Field(description="Name of the design it was built to.")
    scale_ratio: Annotated[Number, Field(ge=0.3, le=3.0)] = Field(description="Scale it was printed at [-].")
    side: Literal["left", "right"] = Field(description="left or right.")
    hold_point: Id = Field(description="The hold point that is being inspected, as in strung.")
    target_rest_angle_deg: Annotated[Number, Field(ge=-30, le=90)] | None = Field(
        default=None, description="Rest angle that this recipient needs [deg], if another than the usual."
    )
    latex_sensitive: Annotated[bool, Field(strict=True)] | None = Field(
        default=None, description="true or false; left out when not known, and then taken as true."
    )


class InspectedTable(Table):
    """Who inspected it, and when."""

    by: Role = Field(description="The inspector's role, as in inspector 2. Never a name.")
    on: date = Field(description="Day of the inspection, as in 2026-11-21.")
    all_as_shown: Annotated[tuple[Id, ...], Field(max_length=60)] = Field(
        default=(),
        description="Groups or hold points whose yes/no answers are all as they should be. Critical "
        "ones and numbers are not covered; one written down by itself replaces this.",
    )


class PlacedTable(Table):
    """A table that may concern one digit, cord or knot."""

    digit: Id | None = Field(default=None, description="Which digit or finger, as in index.")
    cord: Id | None = Field(default=None, description="Which cord, as in index-middle.")
    knot: Id | None = Field(default=None, description="Which knot, as in thumb-pin.")


class WhenTable(Table):
    """A table that says when something was seen, among the things done."""

    before: Line | None = Field(default=None, description="Seen before this entry of the things done.")
    after: Line | None = Field(default=None, description="Seen after this entry of the things done.")


class ObservationTable(PlacedTable, WhenTable):
    """One answer or number."""

    of: Id = Field(description="Which characteristic, as in worked-rest-angle.")
    answer: Answer | None = Field(
        default=None, description='"yes", "no", "can\'t tell", or one of the characteristic\'s own.'
    )
    digits: Answers | None = Field(default=None, description='Answers digit by digit, { index = "yes" }.')
    cords: Answers | None = Field(default=None, description="Answers cord by cord.")
    knots: Answers | None = Field(default=None, description="Answers knot by knot.")
    value_deg: Number | None = Field(default=None, description="One reading [deg].")
    value_mm: Number | None = Field(default=None, description="One reading [mm].")
    value_g: Number | None = Field(default=None, description="One reading [g].")
    value_n: Number | None = Field(default=None, description="One reading [N].")
    value_turn: Number | None = Field(default=None, description="One reading [turn].")
    value_minute: Number | None = Field(default=None, description="One reading [min].")
    value_count: Number | None = Field(default=None, description="One count.")
    value_percent: Number | None = Field(default=None, description="One reading [%].")
    readings_deg: Readings | None = Field(default=None, description="Readings taken afresh each time [deg].")
    readings_mm: Readings | None = Field(default=None, description="Readings taken afresh each time [mm].")
    readings_g: Readings | None = Field(default=None, description="Readings taken afresh each time [g].")
    readings_n: Readings | None = Field(default=None, description="Readings taken afresh each time [N].")
    readings_turn: Readings | None = Field(
        default=None, description="Readings taken afresh each time [turn]."
    )
    readings_minute: Readings | None = Field(default=None, description="Readings taken afresh [min].")
    readings_count: Readings | None = Field(default=None, description="Counts taken afresh each time.")
    readings_percent: Readings | None = Field(default=None, description="Readings taken afresh [%].")
    u_deg: Spread | None = Field(
        default=None,
        description="Standard uncertainty [deg]: of the value, or of the error that all readings share. "
        "Left out: what the method is known to give.",
    )
    u_mm: Spread | None = Field(default=None, description="Standard uncertainty [mm], as u_deg.")
    u_g: Spread | None = Field(default=None, description="Standard uncertainty [g], as u_deg.")
    u_n: Spread | None = Field(default=None, description="Standard uncertainty [N], as u_deg.")
    u_turn: Spread | None = Field(default=None, description="Standard uncertainty [turn], as u_deg.")
    u_minute: Spread | None = Field(default=None, description="Standard uncertainty [min], as u_deg.")
    u_count: Spread | None = Field(default=None, description="Standard uncertainty of a count, as u_deg.")
    u_percent: Spread | None = Field(default=None, description="Standard uncertainty [%], as u_deg.")
    method: Line | None = Field(
        default=None,
        description='How it was seen or read, as in photo; "substitute" for the substitute check.',
    )
    by: Role | None = Field(default=None, description="Role, where another than the inspector saw it.")
    note: Text | None = Field(default=None, description="Anything worth keeping. No names.")


class PartTable(PlacedTable):
    """One characteristic at one place, of a group that was looked at in part."""

    of: Id = Field(description="Which characteristic, as in knots-tight.")


class AsShownTable(WhenTable):
    """A group or hold point looked at again as a whole or in part, after something was done."""

    group: Id = Field(description="The group or hold point.")
    by: Role | None = Field(default=None, description="Role, where another than the inspector looked.")
    only: Annotated[tuple[PartTable, ...], Field(min_length=1, max_length=400)] | None = Field(
        default=None, description="What of it was looked at; left out: all of it."
    )


class ConcessionTable(PlacedTable):
    """The lead's decision to let something pass that does not conform. Never for what is critical."""

    of: Id = Field(description="Which characteristic.")
    by: Role = Field(description="Role that decides, as in lead.")
    reason: Text = Field(description="Why it may pass.")


class DoneTable(PlacedTable):
    """A step of the build, or a rework, that was done. Their order in the file is the order of work."""

    what: Id = Field(description="The step or rework, as in sealed or restring-all.")
    name: Line | None = Field(
        default=None, description="What before and after call it; needed for the second time."
    )
    at: Id | None = Field(default=None, description="Hold point that was next then, if another than now.")


class CaseTables(Table):
    """A whole case file."""

    format: Literal["handsel-case/1"] = Field(description="Kind and version of this file.")
    hand: HandTable = Field(description="Which hand it is.")
    inspected: InspectedTable = Field(description="Who inspected it, and when.")
    observation: Annotated[tuple[ObservationTable, ...], Field(max_length=2000)] = Field(
        default=(), description="What was seen and measured."
    )
    as_shown: Annotated[tuple[AsShownTable, ...], Field(max_length=200)] = Field(
        default=(), description="Groups looked at as a whole, later than the first time."
    )
    concession: Annotated[tuple[ConcessionTable, ...], Field(max_length=200)] = Field(
        default=(), description="What may pass though it does not conform."
    )
    done: Annotated[tuple[DoneTable, ...], Field(max_length=200)] = Field(
        default=(), description="What was done to the hand, in order."
    )
