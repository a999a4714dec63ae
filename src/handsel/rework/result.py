"""What an assessment says, as data: the documents and the command line only show it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from handsel.inspection.result import Inspection


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A computed value with its standard uncertainty and its 95 % interval."""

    value: float
    u: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CordState:
    """What the readings say of one cord: how much too long (+) or short (-) it is."""

    cord: str
    title: str
    excess_mm: Estimate
    taut_probability: float  # at rest, worked


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengths:
    """The cord lengths behind the readings, and what the readings leave open."""

    cords: tuple[CordState, ...]
    agrees: bool  # False: no lengths explain the readings within their uncertainty
    open_question: str  # "" when the readings settle all lengths well enough for the fix
    settling_reading: str  # the characteristic that would settle it; "" when none is needed


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """How the hand rests and closes: now, or after the fix."""

    worked_rest_angle_deg: Estimate
    lowered_rest_angle_deg: Estimate
    thumb_lead_deg: Estimate  # wrist angle at which the thumb starts minus that of the first finger
    closed_wrist_deg: Estimate | None  # wrist angle at first thumb-to-finger contact; None: never closes
    screw_turns_left: float  # turns that both screws can still go in
    thumb_pin_left_mm: float  # that the pin can still be pulled in


class FixKind(StrEnum):
    """What sort of change puts the hand right."""

    NOTHING = "nothing to change"
    ADJUST = "adjust"
    RESTRING = "restring"
    PART_FIRST = "put the parts right first"
    READ_FIRST = "take a reading first"


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideMove:
    """Moves of both slides, as a person makes them."""

    screw_turns: float  # both tension screws together, in half turns; + is in (clockwise), - is out
    thumb_pin_mm: float  # + is pulled in


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCord:
    """A cord to replace, cut to this length."""

    cord: str
    title: str
    cut_length_mm: float
    finished_length_mm: float
    seating_mm: float  # expected give of its knots in the first closings
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """The exact change, what it brings, and what it undoes."""

    kind: FixKind
    sentence: str  # in hand words, complete on its own
    steps: tuple[str, ...]
    move: SlideMove | None
    new_cords: tuple[NewCord, ...]
    rework_ids: tuple[str, ...]  # of the protocol, for what it undoes
    after: Prediction | None
    p_success: float | None  # probability that the worked angle and thumb timing then conform
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recheck:
    """One characteristic to look at again after the fix, with the reason."""

    id: str
    place: str
    title: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PoseDrawn:
    """A solved state for the drawing: angles in degrees, digits in the design's order."""

    label: str
    wrist_deg: float
    tilt_deg: float
    phi_deg: tuple[tuple[float, float], ...]
    tension_slide_mm: float
    thumb_pin_mm: float
    taut: tuple[bool, ...]  # per cord


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The whole answer for one hand."""

    sentence: str
    conforms: bool  # the hand may be released or go on to the next hold point
    inspection: Inspection
    lengths: Lengths | None
    now: Prediction | None
    fix: Fix
    recheck: tuple[Recheck, ...]
    drawn_now: PoseDrawn | None
    drawn_after: PoseDrawn | None
    closing: tuple[PoseDrawn, ...]  # from rest to closed, after the fix (or now when nothing changes)
    angle_limit_deg: tuple[float, float]  # least allowed, advisory most
    target_deg: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    design_name: str
    design_version: str
    design_sha256: str
    protocol_id: str
    protocol_sha256: str
    program_version: str
