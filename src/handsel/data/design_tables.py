"""The tables of a design file, each key with its unit and meaning; the JSON Schema is made from them.

These classes say what a file may hold, table by table. What the tables must be to one another (a
cord that ends on a body that exists, a hinge tree without a loop) is in `design_rules`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from handsel.data.fields import (
    Angle,
    Coordinate,
    Count,
    Line,
    Mass,
    Name,
    Number,
    Point,
    Share,
    Size,
    SizeOrZero,
    Table,
    Version,
)

FORMAT = "handsel-design/1"

DigitName = Literal["index", "middle", "ring", "little", "thumb"]
Torque = Annotated[Number, Field(ge=0, le=10_000)]
Stiffness = Annotated[Number, Field(gt=0, le=1e7)]
Direction = tuple[Coordinate, Coordinate, Coordinate]


class BodyTable(Table):
    """A rigid piece of the hand."""

    name: Name = Field(description='Name, unique among bodies. "palm" and "cuff" must exist.')
    com_mm: Point = Field(description="Centre of mass [mm], palm frame, hand straight, right, scale 1.")
    printed_mass_g: Mass = Field(
        description="Mass of what is printed [g] at scale 1; grows as the cube of the scale."
    )
    hardware_mass_g: Mass = Field(
        default=0.0, description="Mass of bought items on it [g]; the same at every scale."
    )


class HingeTable(Table):
    """A pin joint between two bodies."""

    name: Name = Field(description='Name, unique among hinges. "wrist" and "whippletree" must exist.')
    parent: Name = Field(description="Body on the palm's side of the pin.")
    child: Name = Field(description="Body that the hinge lets turn.")
    origin_mm: Point = Field(description="A point of the pin's axis [mm], palm frame, hand straight.")
    axis: Direction = Field(
        description="Direction of the axis [-], any length but zero; positive turns follow "
        "the right-hand rule: flexion for digits, extension for the wrist."
    )
    min_deg: Angle = Field(description="Lower stop [deg]; 0 is the hand laid straight.")
    max_deg: Angle = Field(description="Upper stop [deg].")
    friction_nmm: Torque = Field(description="Friction torque of the pin [N mm], mean over well-made hands.")
    u_friction_nmm: Torque = Field(
        description="Standard uncertainty of the friction torque [N mm], hand to hand."
    )


class SlideTable(Table):
    """A straight guide on the cuff, hardware: its travel does not scale."""

    name: Literal["tension", "thumb_pin"] = Field(
        description='"tension" carries the whippletree, "thumb_pin" the knot of the thumb cord.'
    )
    body: Name = Field(description="Body that it carries.")
    direction: Direction = Field(
        description="Direction of positive travel [-]: pulled in, away from the fingers."
    )
    min_mm: Coordinate = Field(
        description="Most forward position [mm]; 0 is forward (tension) or flush (thumb pin)."
    )
    max_mm: Coordinate = Field(description="Position when pulled in as far as it goes [mm].")
    pitch_mm_per_turn: Size | None = Field(
        default=None, description="Travel per turn of the screws [mm/turn]; left out when it is set by hand."
    )
    screw_count: Annotated[Count, Field(le=2)] = Field(description="Screws that move it together [count].")
    screw_spacing_mm: SizeOrZero = Field(description="Between the two screws [mm]; 0 for one or none.")


class DigitTable(Table):
    """A digit: a proximal part on the palm and a tip on the proximal part."""

    name: DigitName = Field(description="index, middle, ring, little or thumb.")
    proximal_hinge: Name = Field(description="Hinge between palm and proximal part.")
    tip_hinge: Name = Field(description="Hinge between proximal part and tip.")


class RoutePointTable(Table):
    """A place that a line passes or ends at."""

    body: Name = Field(description="Body that the place is fixed to.")
    at_mm: Point = Field(description="The place [mm], palm frame, hand straight.")


class WrapTable(Table):
    """A round surface about a hinge that a line bears on."""

    hinge: Name = Field(description="Hinge whose axis the cylinder shares.")
    radius_mm: Size = Field(description="Radius of the cylinder [mm].")
    side: Literal["back", "palm"] = Field(description='"back": over the back of the joint; "palm": under it.')


Route = Annotated[tuple[RoutePointTable, ...], Field(min_length=2, max_length=40)]
Wraps = Annotated[tuple[WrapTable, ...], Field(max_length=4)]


class LegTable(Table):
    """One cord's way to one digit."""

    digit: DigitName = Field(description="Digit that it closes.")
    points: Route = Field(
        description="Places in order, from the cuff's side through palm and proximal part to the tip."
    )
    wraps: Wraps = Field(default=(), description="Cylinders that it bears on, one a hinge at most.")


class CordTable(Table):
    """A non-stretch line: one leg, or two that share an eyelet of the whippletree."""

    name: Name = Field(description="Name, unique among cords.")
    eyelet_turn_deg: Annotated[Number, Field(ge=0, le=720)] = Field(
        description="Turning of the cord at the eyelet between its two legs [deg]; 0 for one leg."
    )
    axial_stiffness_n: Stiffness = Field(description="EA: force for unit strain [N].")
    friction_mu: Annotated[Number, Field(ge=0, le=2)] = Field(description="Friction of cord on guide [-].")
    u_friction_mu: Annotated[Number, Field(ge=0, le=2)] = Field(
        description="Standard uncertainty of friction_mu [-]."
    )
    knot_count: Annotated[Count, Field(ge=1, le=20)] = Field(description="Knots tied in this cord [count].")
    knot_seating_mm: SizeOrZero = Field(
        description="Length that one knot gives in the first closings [mm], mean."
    )
    u_knot_seating_mm: SizeOrZero = Field(description="Standard uncertainty of knot_seating_mm [mm].")
    tail_mm: SizeOrZero = Field(description="Extra cut length for all knots of this cord together [mm].")
    cut_tolerance_mm: SizeOrZero = Field(description="Half width of the cut-length tolerance [mm].")
    leg: Annotated[tuple[LegTable, ...], Field(min_length=1, max_length=2)] = Field(
        description="One leg or two."
    )


class ElasticTable(Table):
    """The return line on the back of one digit."""

    digit: DigitName = Field(description="Digit that it opens.")
    points: Route = Field(description="Places in order, from the palm through the proximal part to the tip.")
    wraps: Wraps = Field(default=(), description="Cylinders that it bears on, one a hinge at most.")
    axial_stiffness_n: Stiffness = Field(description="Force for unit strain of the free length [N].")
    pretension_ratio: Annotated[Number, Field(ge=0, le=5)] = Field(
        description="Strain with the digit straight [-]."
    )
    loss_ratio: Share = Field(description="(loading - unloading force) / mean force [-].")
    u_pretension_ratio: Share = Field(description="Standard uncertainty of pretension_ratio [-].")


class PadTable(Table):
    """A sphere that stands for a soft contact surface."""

    digit: DigitName = Field(description="Digit that it belongs to.")
    segment: Literal["proximal", "tip"] = Field(description="Part of the digit that it is fixed to.")
    centre_mm: Point = Field(description="Centre [mm], palm frame, hand straight.")
    radius_mm: Size = Field(description="Radius [mm].")


class GaugeTable(Table):
    """A test cylinder held against the palm, never scaled."""

    diameter_mm: Size = Field(description="Diameter [mm].")
    axis: Direction = Field(description="Direction of the cylinder's axis [-].")
    against_mm: Point = Field(description="Point of the palm's surface that it lies against [mm].")
    normal: Direction = Field(description="Direction out of the palm's surface there [-].")


class PoseTable(Table):
    """How the hand is held while its rest angle is read."""

    support_mm: Annotated[tuple[tuple[Coordinate, Coordinate], ...], Field(min_length=3, max_length=100)] = (
        Field(description="Corners (x, y) of what carries the palm base [mm], in order round it.")
    )
    stand_height_mm: SizeOrZero = Field(
        description="Height of the support above the table [mm]; never scaled."
    )
    base_z_mm: Coordinate = Field(description="Height of the palm's base plane [mm], palm frame.")


class PartTable(Table):
    """Something in the kit."""

    name: Name = Field(description="Name, unique among parts.")
    title: Line = Field(description="What the builder calls it.")
    count: Annotated[Count, Field(ge=1)] = Field(description="How many in the kit [count].")
    body: Name = Field(description="Body that it belongs to.")
    material: Line = Field(description="What it is made of.")
    printed: bool = Field(strict=True, description="Printed (scales with the hand) or bought and cut.")
    shape: Name = Field(description="Generator of its shape.")
    at_mm: Point = Field(description="Where its own origin lies [mm], palm frame.")
    measures: Annotated[dict[Name, Number], Field(max_length=60)] = Field(
        default={}, description="Measures of its shape; each name ends in its unit, as in width_mm."
    )


class HardwareTable(Table):
    """A bought item, never scaled."""

    name: Name = Field(description="Name, unique among hardware.")
    title: Line = Field(description="What the builder calls it.")
    count: Annotated[Count, Field(ge=1)] = Field(description="How many in the kit [count].")
    standard: Annotated[str, Field(max_length=300)] = Field(
        description="Standard that it is bought to; may be empty."
    )
    mass_g: Mass = Field(description="Mass of one [g].")


class ReferenceDimensionTable(Table):
    """A length to check with a caliper."""

    name: Name = Field(description="Name, unique among reference dimensions.")
    title: Line = Field(description="Where to put the caliper, in the builder's words.")
    part: Name = Field(description="Part that is measured.")
    nominal_mm: Size = Field(description="What it should read [mm] at scale 1.")
    tolerance_mm: Size = Field(description="Half width of the tolerance [mm]; the same at every scale.")
    scales: bool = Field(strict=True, description="Whether it grows with the hand.")


class TagPadTable(Table):
    """A flat seat for a tag card."""

    body: Name = Field(description="Body that it is on.")
    centre_mm: Point = Field(description="Centre of the seat [mm], palm frame.")
    normal: Direction = Field(description="Direction out of the seat [-].")
    turn_deg: Angle = Field(
        description="Turn of the marker against the body's reference line [deg], positive as the "
        "wrist angle is; the same on both sides."
    )


class DesignTables(Table):
    """A handsel design file: one kind of hand at scale 1, right side.

    Frame: x from the wrist hinge toward the fingertips, y toward the thumb side, z toward the back
    of the hand; every place is given with the hand laid out straight, all hinges and slides at 0.
    """

    format: Literal["handsel-design/1"] = Field(description="Format of this file.")
    name: Name = Field(description="Name of the design.")
    title: Line = Field(description="What people call it.")
    version: Version = Field(description="Version of the design; a released one is never edited.")
    source: Line = Field(description="Where the geometry comes from.")
    length_unit: Literal["mm"] = Field(
        description='Unit of every length in this file; only "mm" is accepted.'
    )
    scale_min_ratio: Annotated[Number, Field(gt=0, le=10)] = Field(
        description="Smallest scale it is made for [-]."
    )
    scale_max_ratio: Annotated[Number, Field(gt=0, le=10)] = Field(
        description="Largest scale it is made for [-]."
    )
    target_rest_angle_deg: Annotated[Number, Field(ge=0, le=90)] = Field(
        description="Rest angle that the cords are strung to [deg]."
    )
    palm_plane_z_mm: Coordinate = Field(
        description="Height of the palm's inner surface that digits can touch [mm]."
    )
    palm_front_x_mm: Coordinate = Field(description="Where that surface ends toward the fingers [mm].")
    wrist_barrel_radius_mm: SizeOrZero = Field(
        description="Radius of the cylinder about the wrist hinge that cords may bear on [mm]; 0: none."
    )
    body: Annotated[tuple[BodyTable, ...], Field(max_length=60)] = Field(description="Rigid pieces.")
    hinge: Annotated[tuple[HingeTable, ...], Field(max_length=60)] = Field(description="Pin joints.")
    slide: Annotated[tuple[SlideTable, ...], Field(max_length=10)] = Field(description="Slides on the cuff.")
    digit: Annotated[tuple[DigitTable, ...], Field(max_length=10)] = Field(description="Digits.")
    cord: Annotated[tuple[CordTable, ...], Field(max_length=10)] = Field(description="Cords.")
    elastic: Annotated[tuple[ElasticTable, ...], Field(max_length=10)] = Field(
        description="Elastics, one a digit."
    )
    pad: Annotated[tuple[PadTable, ...], Field(max_length=100)] = Field(description="Contact pads.")
    gauge: Annotated[tuple[GaugeTable, ...], Field(max_length=20)] = Field(
        default=(), description="Test cylinders."
    )
    pose: PoseTable = Field(description="Inspection pose.")
    part: Annotated[tuple[PartTable, ...], Field(max_length=200)] = Field(
        default=(), description="Parts of the kit."
    )
    hardware: Annotated[tuple[HardwareTable, ...], Field(max_length=200)] = Field(
        default=(), description="Bought items."
    )
    reference_dimension: Annotated[tuple[ReferenceDimensionTable, ...], Field(max_length=200)] = Field(
        default=(), description="Lengths to check with a caliper."
    )
    tag_pad: Annotated[tuple[TagPadTable, ...], Field(max_length=20)] = Field(
        default=(), description="Seats for tag cards."
    )
