"""The files that say which drawing belongs to which characteristic, and what the details look like."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field

from handsel.data.fields import Id, Line, Table

View = Literal[
    "palm-up",
    "tips-toward",
    "inside",
    "back-up",
    "at-rest",
    "moving",
    "closed",
    "worn",
    "in-use",
    "to-light",
    "on-table",
    "one-part",
    "on-arm",
    "bare-arm",
    "together",
]
# Views of the hand, drawn from the design's own geometry, with the places that each one shows.
ALL_OF_IT = (
    "whole",
    "palm",
    "cuff",
    "cuff-edge",
    "wrist",
    "knuckles",
    "tip-hinges",
    "proximals",
    "tips",
    "thumb",
    "thumb-proximal",
    "thumb-tip",
    "gaps",
)
ON_TOP = (
    "block",
    "bar",
    "screws",
    "screw-thumb-side",
    "screw-little-side",
    "thumb-pin",
    "joint",
    "cords-over-wrist",
)
VIEWS: dict[str, tuple[str, ...]] = {
    "palm-up": (
        *ALL_OF_IT,
        "holes",
        "cords",
        "knots",
        "skin",
        "straps",
        "thumb-pin",
        "middle-tips",
        "outer-tips",
    ),
    "tips-toward": (
        *ALL_OF_IT,
        "holes",
        "cords",
        "knots",
        "skin",
        "straps",
        "thumb-pin",
        "middle-tips",
        "outer-tips",
    ),
    "inside": ("whole", "palm", "cuff", "cuff-edge", "wrist", "skin", "screws", "straps"),
    "back-up": (*ALL_OF_IT, *ON_TOP, "elastics", "elastic-ends", "straps", "label"),
    "at-rest": (*ALL_OF_IT, "block", "bar", "screws", "thumb-pin", "cords-over-wrist", "angle"),
    "moving": (*ALL_OF_IT, "block", "bar", "thumb-pin", "cords-over-wrist", "angle", "travel"),
    "closed": (*ALL_OF_IT, "block", "bar", "thumb-pin", "cords-over-wrist", "grip"),
    "worn": (*ALL_OF_IT, "block", "skin", "straps", "travel", "arm"),
    "in-use": (*ALL_OF_IT, "block", "skin", "straps", "travel", "arm"),
    "to-light": ("whole", "cuff", "cuff-edge", "bends", "joint", "slots"),
    "on-table": ("whole", "palm", "cuff", "tips", "proximals", "small-parts", "card"),
    "one-part": ("whole", "ears", "channel", "wall", "edges", "slots", "pin"),
    "on-arm": ("whole", "palm", "cuff", "arm", "skin"),
    "bare-arm": ("whole", "skin", "arm"),
    "together": ("whole", "wearer", "helper", "sheet"),
}
# Where on the hand a characteristic is written when the whole hand is drawn.
Region = Literal[
    "tip",
    "tip-hinge",
    "proximal",
    "knuckle",
    "thumb",
    "knot",
    "cord",
    "elastic",
    "palm",
    "wrist",
    "block",
    "bar",
    "screw-thumb-side",
    "screw-little-side",
    "thumb-pin",
    "cuff",
    "cuff-edge",
    "strap",
    "inside",
    "angle",
    "grip",
    "hand",
    "paper",
    "wearer",
]
REGIONS: tuple[str, ...] = get_args(Region)

# What is on the hand by then; a bare one has parts alone.
Shows = Annotated[tuple[Literal["cords", "straps", "foam", "grips"], ...], Field(max_length=4)]
Strokes = Annotated[tuple[Line, ...], Field(max_length=80)]


class StampTable(Table):
    """A small drawing that others put in their place."""

    id: Id = Field(description="Its name, written with @ in front where it is used.")
    strokes: Strokes = Field(description="What it is drawn of, about the place 0 0.")


class DetailTable(Table):
    """One place seen close: as it should be, and as it should not."""

    id: Id = Field(description="Its name.")
    handed: bool = Field(default=True, description="Whether it is mirrored for a left hand.")
    both: Strokes = Field(default=(), description="Strokes of both pictures, painted first.")
    good: Strokes = Field(default=(), description="Strokes of the picture of how it should be.")
    bad: Strokes = Field(
        default=(), description="Strokes of the picture of how it should not be; none: one picture."
    )
    over: Strokes = Field(default=(), description="Strokes of both pictures, painted last.")


class DetailsFile(Table):
    """The vocabulary of details, in boxes 156 wide and 94 high, or 156 by 192 where there is one picture."""

    format: Literal["handsel-details/1"] = Field(description="Marks the file.")
    stamp: Annotated[tuple[StampTable, ...], Field(max_length=100)] = Field(default=(), description="Stamps.")
    detail: Annotated[tuple[DetailTable, ...], Field(min_length=1, max_length=300)] = Field(
        description="Details."
    )


class FigureTable(Table):
    """The drawing of one characteristic."""

    of: Id = Field(description="Id of the characteristic.")
    view: View = Field(description="How the hand is seen.")
    at: Annotated[tuple[Id, ...], Field(max_length=4)] = Field(
        default=(), description="Places of the view that are marked."
    )
    shows: Shows = Field(default=("cords",), description="What is on the hand by then.")
    region: Region = Field(description="Where it is written on the drawing of the whole hand.")
    detail: Id | None = Field(default=None, description="What is seen close.")
    either: bool = Field(default=False, description="Both pictures are answers to note; neither is wrong.")
    mirror: bool = Field(default=False, description="Whether the detail is turned round, left for right.")
    also: Strokes = Field(default=(), description="Strokes of both pictures, painted last.")


class HeldTable(Table):
    """How the hand is held for one group."""

    of: Id = Field(description="Id of the group.")
    view: View = Field(description="How the hand is seen.")
    shows: Shows = Field(default=("cords",), description="What is on the hand by then.")
    turn: bool = Field(default=False, description="Whether the hand is turned over to come to it.")


class FiguresFile(Table):
    """Which drawing belongs to which characteristic and group of one protocol."""

    format: Literal["handsel-figures/1"] = Field(description="Marks the file.")
    protocol: Id = Field(description="Id of the protocol.")
    held: Annotated[tuple[HeldTable, ...], Field(max_length=200)] = Field(default=(), description="Groups.")
    figure: Annotated[tuple[FigureTable, ...], Field(max_length=2000)] = Field(
        default=(), description="Characteristics."
    )
