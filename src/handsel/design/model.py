"""The frozen description of one kind of hand. Loaded and checked in `data`, used everywhere else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, TypeVar

Vec3 = tuple[float, float, float]

PALM, CUFF = "palm", "cuff"


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A rigid piece. `printed_mass_g` grows with the cube of the scale, `hardware_mass_g` does not."""

    name: str
    com_mm: Vec3
    printed_mass_g: float
    hardware_mass_g: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hinge:
    """A pin joint between two bodies. Rotation by the right-hand rule about `axis`."""

    name: str
    parent: str
    child: str
    origin_mm: Vec3
    axis: Vec3  # unit vector after loading
    min_deg: float
    max_deg: float
    friction_nmm: float
    u_friction_nmm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """A straight guide on the cuff. Position 0 is fully forward (tension) or flush (thumb pin)."""

    name: str
    body: str  # what it carries: the whippletree's pivot, or the thumb tension pin
    direction: Vec3  # unit vector of positive travel
    min_mm: float
    max_mm: float
    pitch_mm_per_turn: float | None  # None: set by hand or grub, not by turns
    screw_count: int
    screw_spacing_mm: float  # between the two screws; 0 for a single one


@dataclass(frozen=True, slots=True, kw_only=True)
class RoutePoint:
    """A place where a line passes or ends, fixed to one body."""

    body: str
    at_mm: Vec3


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrap:
    """A cylinder coaxial with a hinge that the line bears on as it crosses that hinge."""

    hinge: str
    radius_mm: float
    side: str  # "back": over the back of the joint; "palm": under it


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One cord's way to one digit, from the cuff to the fingertip knot."""

    digit: str
    points: tuple[RoutePoint, ...]
    wraps: tuple[Wrap, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cord:
    """A non-stretch line. One leg ends in a knot at the cuff; two legs share an eyelet of the whippletree."""

    name: str
    legs: tuple[Leg, ...]
    eyelet_turn_deg: float  # turning at the eyelet between two legs; 0 for one leg
    axial_stiffness_n: float  # EA: force for unit strain; the cord's, whatever the scale
    friction_mu: float
    u_friction_mu: float
    knot_count: int
    knot_seating_mm: float  # length each knot gives in the first closings, mean
    u_knot_seating_mm: float
    tail_mm: float  # extra cut length for all knots of this cord together
    cut_tolerance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Elastic:
    """The return line on the back of one digit."""

    digit: str
    points: tuple[RoutePoint, ...]
    wraps: tuple[Wrap, ...]
    axial_stiffness_n: float  # force for unit strain of the free length
    pretension_ratio: float  # strain with the digit straight
    loss_ratio: float  # (loading - unloading force) / mean force
    u_pretension_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Digit:
    """A digit: a proximal part on the palm, a tip on the proximal part."""

    name: str
    proximal_hinge: str
    tip_hinge: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad:
    """A sphere that stands for a soft contact surface, fixed to a digit's proximal or tip body."""

    digit: str
    segment: str  # "proximal" or "tip"
    centre_mm: Vec3
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """A test cylinder held against the palm; hardware, so its diameter never scales."""

    diameter_mm: float
    axis: Vec3
    against_mm: Vec3  # the point of the palm's surface that it lies against
    normal: Vec3  # out of the palm's surface there


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPose:
    """How the hand is held when its rest angle is read: palm base level, digits clear."""

    support_mm: tuple[tuple[float, float], ...]  # (n, 2) outline of what carries the palm base, x and y
    stand_height_mm: float  # of the support above the table; hardware, does not scale
    base_z_mm: float  # height of the palm's base plane in the palm frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Something in the kit. `shape` names a generator in `design.shapes`, with its measures."""

    name: str
    title: str
    count: int
    body: str
    material: str
    printed: bool
    shape: str
    at_mm: Vec3
    measures: tuple[tuple[str, float], ...]  # name with unit, value


@dataclass(frozen=True, slots=True, kw_only=True)
class HardwareItem:
    """A bought item: never scaled."""

    name: str
    title: str
    count: int
    standard: str
    mass_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceDimension:
    """A length to check with a caliper, at scale 1."""

    name: str
    title: str
    part: str
    nominal_mm: float
    tolerance_mm: float
    scales: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TagPad:
    """A flat seat for a tag card and the known turn of its marker against the reference line."""

    body: str
    centre_mm: Vec3
    normal: Vec3
    turn_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A kind of hand at scale 1, right side."""

    name: str
    title: str
    version: str
    source: str
    scale_min_ratio: float
    scale_max_ratio: float
    target_rest_angle_deg: float
    palm_plane_z_mm: float  # the palm's inner surface that digits can touch
    palm_front_x_mm: float  # it ends here, toward the fingers
    wrist_barrel_radius_mm: float  # cylinder at the wrist hinge that cords may bear on; 0: none
    bodies: tuple[Body, ...]
    hinges: tuple[Hinge, ...]
    slides: tuple[Slide, ...]
    digits: tuple[Digit, ...]
    cords: tuple[Cord, ...]
    elastics: tuple[Elastic, ...]
    pads: tuple[Pad, ...]
    gauges: tuple[Gauge, ...]
    pose: InspectionPose
    parts: tuple[Part, ...]
    hardware: tuple[HardwareItem, ...]
    reference_dimensions: tuple[ReferenceDimension, ...]
    tag_pads: tuple[TagPad, ...]

    def body(self, name: str) -> Body:
        return _named(self.bodies, name)

    def hinge(self, name: str) -> Hinge:
        return _named(self.hinges, name)

    def slide(self, name: str) -> Slide:
        return _named(self.slides, name)

    def cord_of(self, digit: str) -> Cord:
        return next(c for c in self.cords for leg in c.legs if leg.digit == digit)


class _Named(Protocol):
    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=_Named)


def _named(items: tuple[N, ...], name: str) -> N:
    return next(item for item in items if item.name == name)
