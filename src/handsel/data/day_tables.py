"""The tables of a day's file: hands, people, spares, and minutes to closing."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from handsel.data.fields import Code, Id, Line, Number, Role, Table

FORMAT = "handsel-day/1"

Minutes = Annotated[Number, Field(ge=0, le=2000)]
Chance = Annotated[Number, Field(ge=0, le=1)]
Weight = Annotated[Number, Field(gt=0, le=1000)]
Pieces = Annotated[int, Field(strict=True, ge=0, le=100_000)]
Spares = Annotated[dict[Line, Pieces], Field(max_length=100)]
Skill = Literal["builder", "experienced builder", "lead", "fitter", "inspector", "licensed professional"]
WorkSkill = Literal["builder", "experienced builder", "lead", "fitter", "licensed professional"]


class ReworkAtTable(Table):
    """One rework of the protocol, and where."""

    do: Id = Field(description="Id of a rework of the protocol, as in ease-hinge.")
    digit: Id | None = Field(default=None, description="At which digit.")
    cord: Id | None = Field(default=None, description="At which cord.")
    knot: Id | None = Field(default=None, description="At which knot.")


class WayTable(Table):
    """One way to put a hand right: reworks of the protocol, or everything said here."""

    id: Id | None = Field(default=None, description="Name of the way, unique for the hand.")
    title: Line | None = Field(default=None, description="What to do, as an order.")
    rework: Annotated[tuple[ReworkAtTable, ...], Field(min_length=1, max_length=20)] | None = Field(
        default=None,
        description="Reworks of the protocol in order; minutes, skill, spares and looks follow from them.",
    )
    minutes: Minutes | None = Field(default=None, description="Of rework, by one person [min].")
    skill: WorkSkill | None = Field(default=None, description="Who can do it.")
    recheck_minutes: Minutes | None = Field(
        default=None, description="Of an inspector, to look at the hand again [min]."
    )
    wait_minutes: Minutes = Field(
        default=0.0, description="Between the rework and that look, as for glue to set [min]."
    )
    p_success: Chance | None = Field(
        default=None, description="Probability that the hand then conforms [-]; left out: 0.8."
    )
    spares: Spares | None = Field(default=None, description="What it uses up, and how many.")


class InWorkTable(Table):
    """What somebody is doing to the hand right now."""

    by: Role = Field(description="Who, as in builder 2.")
    minutes_left: Minutes = Field(description="Until that is done [min].")
    way: Id | None = Field(default=None, description="By which way; left out: the first.")
    looking: Annotated[bool, Field(strict=True)] = Field(
        default=False, description="true: the rework is done, and it is being looked at again."
    )


class DayHandTable(Table):
    """One hand that is not released yet."""

    code: Code | None = Field(default=None, description="The recipient's code; with a case, from there.")
    serial: Code | None = Field(default=None, description="The hand's number; with a case, from there.")
    case: Line | None = Field(
        default=None, description="A case file beside this one: its fix is the hand's way."
    )
    hold_point: Id = Field(default="strung", description="The hold point that it has come to.")
    severity: Literal["critical", "major", "minor"] | None = Field(
        default=None, description="Of the gravest thing that is open; left out: from the case, or major."
    )
    waiting: Literal["here", "appointed", "no"] = Field(
        default="no", description="here: the recipient is in the hall; appointed: a date is agreed."
    )
    in_work: InWorkTable | None = Field(default=None, description="Who works on it now.")
    way: Annotated[tuple[WayTable, ...], Field(max_length=10)] = Field(
        default=(), description="Ways to put it right, the usual one first."
    )


class PersonTable(Table):
    """One person of the day, by role."""

    id: Role = Field(description="Role and number, as in builder 2. Never a name.")
    skills: Annotated[tuple[Skill, ...], Field(min_length=1, max_length=6)] = Field(
        description="What they can do. An experienced builder can do what a builder can."
    )
    from_min: Minutes = Field(default=0.0, description="When they come, from now [min].")
    until_min: Minutes | None = Field(default=None, description="When they go, from now; else closing [min].")


class SeverityWeights(Table):
    """How much a release counts by what is open on the hand."""

    critical: Weight = Field(default=1.2, description="What could hurt someone [-].")
    major: Weight = Field(default=1.0, description="What makes it unfit [-].")
    minor: Weight = Field(default=0.6, description="A blemish, which a lead may also concede [-].")


class WaitingWeights(Table):
    """How much a release counts by who waits for it."""

    here: Weight = Field(default=3.0, description="The recipient is in the hall [-].")
    appointed: Weight = Field(default=2.0, description="A date is agreed [-].")
    no: Weight = Field(default=1.0, description="Nobody yet [-].")


class DayTables(Table):
    """A whole day's file."""

    format: Literal["handsel-day/1"] = Field(description="Kind and version of this file.")
    closing_min: Minutes = Field(description="From now to closing [min].")
    protocol: Line = Field(default="wrist-hand-1", description="Protocol, by name or file.")
    other_eyes: Annotated[bool, Field(strict=True)] = Field(
        default=True, description="true: nobody looks at their own rework."
    )
    spares: Spares = Field(
        default_factory=dict, description="Spares on hand and how many; what is not listed is not there."
    )
    severity_weight: SeverityWeights = Field(default=SeverityWeights(), description="By severity.")
    waiting_weight: WaitingWeights = Field(default=WaitingWeights(), description="By who waits.")
    person: Annotated[tuple[PersonTable, ...], Field(max_length=200)] = Field(
        default=(), description="Who is there."
    )
    hand: Annotated[tuple[DayHandTable, ...], Field(max_length=500)] = Field(
        default=(), description="The open hands, in the order in which they came."
    )
