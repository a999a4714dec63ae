"""The tables of a protocol file, each key with its unit and meaning.

What the tables must be to one another (a rework that exists, conditions without a circle) is in
`protocol_rules`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from handsel.data.fields import Id, Line, Name, Number, Table, Text, Version

FORMAT = "handsel-protocol/1"

Ids = Annotated[tuple[Id, ...], Field(max_length=200)]
Lines = Annotated[tuple[Line, ...], Field(max_length=40)]
Rate = Annotated[Number, Field(ge=0, lt=1)]
Minutes = Annotated[Number, Field(gt=0, le=2000)]
SeverityWord = Literal["critical", "major", "minor"]
PerWord = Literal["hand", "digit", "finger", "cord", "knot"]
Observable = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*(\{place\})?$", max_length=60)]


class AcceptTable(Table):
    """Probability of conforming that is asked for before something is accepted, by severity."""

    critical: Annotated[Number, Field(ge=0.5, lt=1)] = Field(description="For what could hurt someone [-].")
    major: Annotated[Number, Field(ge=0.5, lt=1)] = Field(description="For what makes the hand unfit [-].")
    minor: Annotated[Number, Field(ge=0.5, lt=1)] = Field(description="For what is a blemish [-].")


class DigitTable(Table):
    """One digit and the cord that works it."""

    id: Id = Field(description="Name of the digit, as in index.")
    cord: Id = Field(description="Name of its cord; digits with the same cord share one loop.")
    thumb: bool = Field(default=False, description="true for the thumb.")


class KnotTable(Table):
    """One knot."""

    id: Id = Field(description="Name of the knot, as in thumb-pin.")
    digit: Id = Field(description="The digit whose cord it ends.")


class GroupTable(Table):
    """How the hand is held for some of the checks of a hold point."""

    id: Id = Field(description="Name of the group, unique in the file.")
    title: Line = Field(description="Heading.")
    how: Text = Field(description="How to hold the hand meanwhile.")


class HoldPointTable(Table):
    """A stage at which work stops until its characteristics are checked."""

    id: Id = Field(description="Name of the hold point.")
    title: Line = Field(description="Heading.")
    before: Line = Field(description="What must wait until it is passed.")
    group: Annotated[tuple[GroupTable, ...], Field(min_length=1, max_length=20)] = Field(
        description="How the hand is held, in order, so that it is turned over once."
    )


class StepTable(Table):
    """A step of the build that hides something."""

    id: Id = Field(description="Name of the step, as in sealed.")
    title: Line = Field(description="What was done, as a short statement.")
    after: Id = Field(description="Hold point that must be passed before it.")
    needs: Ids = Field(default=(), description="Steps that come before it.")
    hides: Ids = Field(default=(), description="Characteristics that cannot be seen any more after it.")
    undo: Id = Field(description="Rework that takes it back.")


class AdvisoryTable(Table):
    """Something to say of a number that decides nothing."""

    above: Number | None = Field(default=None, description="Say it above this value, in the number's unit.")
    below: Number | None = Field(default=None, description="Say it below this value, in the number's unit.")
    text: Text = Field(description="What to say.")
    rework: Id | None = Field(
        default=None, description="What such a value calls for, before the usual rework."
    )


class MethodTable(Table):
    """One way to read a number. Uncertainties are standard uncertainties, in the number's unit."""

    name: Line = Field(description="What it is called, as in photo.")
    u: Annotated[Number, Field(gt=0)] = Field(description="Of one reading, the common part included.")
    u_common: Annotated[Number, Field(ge=0)] = Field(
        default=0.0, description="Of the error that all readings with it share."
    )
    resolution: Annotated[Number, Field(ge=0)] = Field(default=0.0, description="Smallest step it shows.")
    minutes: Minutes = Field(default=1.0, description="For one reading, placed afresh [min].")


class NumberTable(Table):
    """How a number is judged. Neither min nor max: it is recorded and decides nothing."""

    min: Number | None = Field(default=None, description="Least value that conforms.")
    max: Number | None = Field(default=None, description="Greatest value that conforms.")
    plausible: tuple[Number, Number] = Field(
        description="Least and greatest value that can be meant; outside it is a slip or another unit."
    )
    methods: Annotated[tuple[MethodTable, ...], Field(min_length=1, max_length=10)] = Field(
        description="Ways to read it; the first is taken when none is named."
    )
    advisory: Annotated[tuple[AdvisoryTable, ...], Field(max_length=10)] = Field(
        default=(), description="What to say of values that are allowed and still worth a word."
    )
    step: Number | None = Field(
        default=None, description="What one small move changes it by, if it can be moved."
    )
    step_what: Line | None = Field(default=None, description="That move in words.")


class SubstituteTable(Table):
    """A check to make instead, when the thing itself can no longer be seen. Answered yes or no."""

    how: Text = Field(description="What to do, asked so that yes is good.")
    minutes: Minutes = Field(description="Time for it [min].")
    miss_rate: Rate = Field(description="Share of bad ones called good [-].")
    false_alarm_rate: Rate = Field(description="Share of good ones called bad [-].")


class CharacteristicTable(Table):
    """One thing to check."""

    id: Id = Field(description="Name, unique in the file.")
    title: Line = Field(description="A statement that is true of a sound hand.")
    how: Text = Field(description="What to look at, and how.")
    why: Line = Field(description="Why it matters, in one line.")
    held: Id = Field(description="Group: how the hand is held; it also says which hold point it belongs to.")
    method: Literal[
        "look", "press", "count", "caliper", "scale", "photo", "pull", "protractor", "move", "ask"
    ] = Field(description="Kind of check.")
    severity: SeverityWord = Field(
        description="critical: could hurt someone; major: unfit for use; minor: a blemish."
    )
    minutes: Minutes = Field(description="Time for the check, all its places together [min].")
    miss_rate: Rate = Field(description="Share of bad ones called good, one look [-].")
    false_alarm_rate: Rate = Field(description="Share of good ones called bad, one look [-].")
    prior_nonconforming: Rate | None = Field(
        default=None, description="Share that is bad before anyone looks [-]; left out: the protocol's."
    )
    answers: Annotated[tuple[Line, ...], Field(min_length=2, max_length=12)] = Field(
        default=("yes", "no"), description="Possible answers."
    )
    accept: Annotated[tuple[Line, ...], Field(min_length=1, max_length=12)] | None = Field(
        default=None, description="Answers that conform. All of them: it is recorded and decides nothing."
    )
    number_deg: NumberTable | None = Field(default=None, description="A number in degrees.")
    number_mm: NumberTable | None = Field(default=None, description="A number in millimetres.")
    number_g: NumberTable | None = Field(default=None, description="A number in grams.")
    number_n: NumberTable | None = Field(default=None, description="A number in newtons.")
    number_turn: NumberTable | None = Field(default=None, description="A number of turns.")
    number_minute: NumberTable | None = Field(default=None, description="A number of minutes.")
    number_count: NumberTable | None = Field(default=None, description="A count.")
    number_percent: NumberTable | None = Field(default=None, description="A number in per cent.")
    photo_max_mm: Annotated[Number, Field(gt=0)] | None = Field(
        default=None, description="Greatest value that conforms of what a photo measures of it, where it is a look."
    )
    per: PerWord = Field(default="hand", description="Checked once, or for each digit, finger, cord or knot.")
    faults: Ids = Field(default=(), description="Causes that a bad answer hints at.")
    rework: Ids = Field(default=(), description="What puts it right, the usual one first.")
    caution: Text | None = Field(default=None, description="Where someone could be hurt while checking.")
    counts_only_if: Ids = Field(
        default=(), description="Characteristics that must hold, or this says nothing."
    )
    substitute: SubstituteTable | None = Field(default=None, description="What to check when it is hidden.")
    applies_if: Literal["latex_sensitive"] | None = Field(
        default=None, description="Left out for a recipient who is known not to be concerned."
    )
    reads: Observable | None = Field(default=None, description="Observable of the mechanics that it gives.")
    source: Id = Field(description="Where the rule comes from, a key of [sources].")
    rates_source: Id | None = Field(
        default=None, description="Where its rates come from, a key of [sources]; left out: the protocol's."
    )


class ReworkTable(Table):
    """One thing to do about a nonconformity."""

    id: Id = Field(description="Name, unique among rework and steps.")
    title: Line = Field(description="What to do, in one line.")
    how: Text = Field(description="How to do it.")
    minutes: Minutes = Field(description="Time for it [min].")
    skill: Literal["builder", "experienced builder", "lead", "fitter", "licensed professional"] = Field(
        description="Who should do it."
    )
    spares: Lines = Field(default=(), description="What it uses up.")
    irreversible: bool = Field(default=False, description="true when it cannot be taken back.")
    scraps_part: bool = Field(default=False, description="true when a part is thrown away and made again.")
    refer: bool = Field(default=False, description="true: stop, and ask a licensed professional.")
    per: PerWord = Field(default="hand", description="Kind of place where it is done.")
    caution: Text | None = Field(default=None, description="Where someone could be hurt.")
    undoes: Ids = Field(
        default=(), description="Characteristics, groups or hold points undone at every place."
    )
    undoes_here: Ids = Field(default=(), description="Undone only where it was done.")
    undoes_loop: Ids = Field(default=(), description="Undone at every digit on the same cord.")
    follow_up: Ids = Field(default=(), description="Rework that must come after it.")
    reopens: Ids = Field(default=(), description="Steps that it takes back.")


class ProtocolTables(Table):
    """A whole protocol file."""

    format: Literal["handsel-protocol/1"] = Field(description="Kind and version of this file.")
    id: Id = Field(description="Name of the protocol; a released one is never edited.")
    title: Line = Field(description="Heading.")
    version: Version = Field(description="Version of the text.")
    designs: Annotated[tuple[Name, ...], Field(max_length=40)] = Field(
        default=(), description="Designs that it was written for; empty: any."
    )
    target_rest_angle_deg: Annotated[Number, Field(ge=0, le=90)] = Field(
        description="Rest angle to aim for [deg], unless the recipient needs another."
    )
    accept_p: AcceptTable = Field(description="Probability asked for, by severity.")
    prior_nonconforming: Rate = Field(description="Share taken to be bad before anyone looks [-].")
    group_miss_factor: Annotated[Number, Field(ge=1, le=20)] = Field(
        description="How many times more is overlooked when a whole group is taken as shown [-]."
    )
    rates_source: Id = Field(description="Where the rates come from, a key of [sources].")
    concession_roles: Annotated[tuple[Line, ...], Field(min_length=1, max_length=10)] = Field(
        description="Roles that may concede what is not critical."
    )
    sources: Annotated[dict[Id, Text], Field(min_length=1, max_length=100)] = Field(description="Sources.")
    faults: Annotated[dict[Id, Line], Field(max_length=200)] = Field(
        default_factory=dict, description="Causes and what they are called."
    )
    digit: Annotated[tuple[DigitTable, ...], Field(min_length=1, max_length=5)] = Field(description="Digits.")
    knot: Annotated[tuple[KnotTable, ...], Field(max_length=20)] = Field(default=(), description="Knots.")
    hold_point: Annotated[tuple[HoldPointTable, ...], Field(min_length=1, max_length=20)] = Field(
        description="Hold points in the order of work."
    )
    step: Annotated[tuple[StepTable, ...], Field(max_length=40)] = Field(default=(), description="Steps.")
    characteristic: Annotated[tuple[CharacteristicTable, ...], Field(min_length=1, max_length=1000)] = Field(
        description="What to check."
    )
    rework: Annotated[tuple[ReworkTable, ...], Field(max_length=300)] = Field(
        default=(), description="What to do about it."
    )
