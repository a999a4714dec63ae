"""What a fault catalogue's file may say, table by table; its JSON Schema comes from here."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from handsel.data.fields import Id, Line, Number, Share, Table, Text, Version

PLACE = r"^[a-z][a-z0-9]*([-.][a-z0-9]+)*$"
PATTERN = r"^[a-z0-9{}.-]*$"
Placed = Annotated[str, Field(pattern=PLACE, max_length=40)]
Pattern = Annotated[str, Field(pattern=PATTERN, max_length=60)]
Positive = Annotated[Number, Field(gt=0, le=10_000)]
Small = Annotated[Number, Field(ge=0, le=20)]
Minutes = Annotated[Number, Field(gt=0, le=120)]
WORDS = ("place", "first", "second", "digit", "joint", "cord")

# What each word of the vocabulary may be done to.
TARGETS: dict[str, tuple[str, ...]] = {
    "add": (
        "cord-length",
        "tension-slide",
        "thumb-pin",
        "elastic-pretension",
        "screws-apart",
        "screws-turned-one-follows",
        "block-turn",
        "block-roll",
    ),
    "scale": ("elastic-stiffness", "elastic-pull", "part-size"),
    "replace-point": ("knuckle-exit",),
    "swap-parts": ("tip", "proximal"),
    "friction-at": ("hinge", "channel", "wrist", "whippletree"),
    "lock": ("whippletree",),
    "remove": ("elastic",),
}


class SeverityTable(Table):
    """How bad it is when it is there."""

    unit: Annotated[Line, Field(max_length=40)] = Field(description="Unit, for reading.")
    low: Number = Field(description="Least that still spoils a hand.")
    typical: Number = Field(description="Most often.")
    high: Number = Field(description="Worst that is met.")
    either_sign: bool = Field(default=False, description="Half of them count negative.")


class EffectTable(Table):
    """What it does to the model of the hand."""

    do: Literal["add", "scale", "replace-point", "swap-parts", "friction-at", "lock", "remove"] = Field(
        description="The kind of change."
    )
    to: Id = Field(description="What is changed, as in cord-length.")
    at: Pattern = Field(default="", description="Where, with {place} or {cord} for the fault's own.")
    times: Number = Field(default=1.0, description="How much, for one unit of severity.")
    behind_mm: Number = Field(
        default=0.0,
        description="For a replaced point: so far behind the hinge at scale 1, the severity below it [mm]; 0: "
        "the severity is the share of the straight way from the hole to the hinge.",
    )


class SignTable(Table):
    """What a look shows."""

    of: Id = Field(description="Id of the look.")
    place: Pattern = Field(default="", description="Where, with {place}, {first} or {second}.")
    answer: Annotated[Line, Field(max_length=60)] = Field(description="The answer that shows it.")
    chance: Share = Field(description="How often a person sees it when it is there.")


class FaultTable(Table):
    """A kind of fault."""

    id: Id = Field(description="Id, as in loop-long.")
    title: Line = Field(
        description="What is wrong, in words that follow 'most likely'; {place} is filled in."
    )
    places: Annotated[tuple[Placed, ...], Field(max_length=40)] = Field(
        default=(), description="Where it can be; left out: the whole hand."
    )
    prior: Annotated[Number, Field(gt=0, lt=0.5)] = Field(
        description="Share of hands brought for diagnosis that have it, all places together."
    )
    severity: SeverityTable | None = Field(default=None, description="How bad; left out: there or not.")
    effect: Annotated[tuple[EffectTable, ...], Field(min_length=1, max_length=6)] = Field(
        description="What it does to the model."
    )
    shows: Annotated[tuple[SignTable, ...], Field(max_length=10)] = Field(
        default=(), description="Looks that show it."
    )
    where: Annotated[Line, Field(max_length=100)] = Field(description="What is marked on the drawing.")
    fails: Pattern = Field(
        default="",
        description="Characteristic that such a hand fails whatever its numbers; {joint} is filled in.",
    )
    also: Text | None = Field(default=None, description="Causes that are counted as this one, and why.")


class TogetherTable(Table):
    """Kinds that come together more often than by chance."""

    kinds: tuple[Id, Id] = Field(description="The two kinds; the same one twice for two places.")
    times: Positive = Field(description="How many times as often.")
    why: Text = Field(description="Why.")


class ObservableTable(Table):
    """Something a volunteer can look at."""

    id: Id = Field(description="Id; of a characteristic of the protocol where there is one.")
    title: Line = Field(description="What is looked at.")
    question: Text | None = Field(default=None, description="How it is asked.")
    kind: Literal["number", "answers", "look", "meets"] = Field(description="What an answer is.")
    places: Annotated[tuple[Placed, ...], Field(max_length=40)] = Field(default=(), description="Where.")
    minutes: Minutes = Field(description="Minutes that it takes, for one place.")
    unit: Annotated[Line, Field(max_length=20)] = Field(default="", description="Unit of a number.")
    reads: Annotated[str, Field(max_length=40)] = Field(default="", description="Quantity behind it.")
    sd: Annotated[Number, Field(ge=0, le=1000)] = Field(default=0.0, description="Of one reading.")
    resolution: Annotated[Number, Field(ge=0, le=100)] = Field(default=0.0, description="Written down in.")
    answers: Annotated[tuple[Line, ...], Field(max_length=6)] = Field(default=(), description="The answers.")
    answers_at: dict[str, tuple[Line, Line]] | None = Field(default=None, description="By place.")
    cuts: Annotated[tuple[Number, ...], Field(max_length=5)] = Field(
        default=(), description="Between answers."
    )
    cut_sd: Annotated[Number, Field(ge=0, le=1000)] = Field(default=0.0, description="Their blur.")
    lapse: Share = Field(
        default=0.0, description="Share of a careful person's answers that are another one altogether."
    )
    false_alarm: Share = Field(default=0.0, description="Seen where nothing is.")


class SpreadTable(Table):
    """How ordinary hands differ."""

    cord_length_sd_mm: Positive = Field(description="Length of each cord [mm].")
    cord_length_common_sd_mm: Annotated[Number, Field(ge=0, le=100)] = Field(
        default=0.0, description="Besides, what all cords of a hand have in common [mm]."
    )
    cord_friction_mean: Positive = Field(description="Friction of cord on guides [-].")
    cord_friction_sd: Positive = Field(description="Between hands [-].")
    channel_friction_sd: Positive = Field(description="Between channels of a hand [-].")
    elastic_stiffness_sd_ratio: Positive = Field(description="Stiffness of elastics [-].")
    elastic_pretension_sd_ratio: Positive = Field(description="Strain with the digit straight [-].")
    hinge_friction_factor: Annotated[Number, Field(ge=1, le=10)] = Field(description="Factor of hinges [-].")
    wrist_friction_low_nmm: Positive = Field(description="Wrist hinge, from [N mm].")
    wrist_friction_high_nmm: Positive = Field(description="Wrist hinge, to [N mm].")
    tension_slide_high_mm: Positive = Field(description="Screws not quite forward, up to [mm].")
    thumb_pin_sd_mm: Positive = Field(description="Thumb pin [mm].")
    cuff_mass_sd_ratio: Positive = Field(description="Mass of the cuff [-].")
    length_follows_route: tuple[Share, Share] = Field(
        description="How much of a wrong route's length the stringer made up for, from and to [-]."
    )
    screws_uneven_sd_turn: Annotated[Number, Field(ge=0, le=10)] = Field(
        default=0.0, description="Each screw that is in a little [turn]."
    )
    starts_dragged_deg: tuple[Small, Small] = Field(
        default=(0.0, 0.0), description="Fingers' starts by slow mechanics within this are seen as one [deg]."
    )
    presliding_mm: tuple[Small, Small] = Field(
        default=(0.0, 0.0), description="Cord over which a channel's friction builds up [mm]."
    )
    pads_meet_mm: tuple[Small, Small] = Field(
        default=(0.0, 5.0), description="Pads that miss by less than this pinch all the same [mm]."
    )


class MistakesTable(Table):
    """Mistakes of the people who look."""

    reading_tails: Annotated[Number, Field(ge=2, le=100)] = Field(
        description="Of numbers, degrees of freedom of Student's t: the fewer, the more of them go far astray [-]."
    )
    slip_share: Annotated[Number, Field(gt=0, le=0.2)] = Field(
        description="Of looks, told the wrong way round by a careful person [-]."
    )
    careless_share: Annotated[Number, Field(gt=0, lt=0.5)] = Field(description="Of people, careless [-].")
    careless_times: Annotated[Number, Field(ge=1, le=10)] = Field(
        description="How many times as many slips a careless person makes [-]."
    )


class BroughtTable(Table):
    """The hands that are brought for diagnosis."""

    faultless_share: Annotated[Number, Field(gt=0, lt=1)] = Field(description="With no fault [-].")
    two_share: Annotated[Number, Field(gt=0, lt=1)] = Field(description="With two faults [-].")


class FaultTables(Table):
    """A fault catalogue."""

    format: Literal["handsel-faults/1"] = Field(description="Format of this file.")
    id: Id = Field(description="Name of the file without its ending.")
    title: Line = Field(description="What it is for.")
    version: Version = Field(description="Version.")
    protocol: Id = Field(description="The protocol that it goes with.")
    prior_source: Text = Field(description="Where the priors come from.")
    spread: SpreadTable = Field(description="How ordinary hands differ.")
    mistakes: MistakesTable | None = Field(default=None, description="Mistakes of the people who look.")
    brought: BroughtTable | None = Field(default=None, description="The hands that are brought.")
    fault: Annotated[tuple[FaultTable, ...], Field(min_length=1, max_length=100)] = Field(
        description="The kinds of fault."
    )
    together: Annotated[tuple[TogetherTable, ...], Field(max_length=100)] = Field(
        default=(), description="Kinds that come together."
    )
    observable: Annotated[tuple[ObservableTable, ...], Field(min_length=1, max_length=200)] = Field(
        description="What can be looked at."
    )
