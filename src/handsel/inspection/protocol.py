"""The protocol: what must be true of a hand, stage by stage, and what putting it right undoes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Literal

from handsel.errors import OutOfRange
from handsel.inspection.rules import AnswerRule, NumberRule, Substitute
from handsel.metrology.limits import Limits

Severity = Literal["critical", "major", "minor"]
Method = Literal["look", "press", "count", "caliper", "scale", "photo", "pull", "protractor", "move", "ask"]
Per = Literal["hand", "digit", "finger", "cord", "knot"]

SEVERITIES: tuple[Severity, ...] = ("critical", "major", "minor")  # gravest first
CANNOT_TELL = "can't tell"  # allowed for every question
SUBSTITUTE = "substitute"  # method of an answer that was got by the substitute check
HAND = ""  # the place of what belongs to the whole hand


@dataclass(frozen=True, slots=True, kw_only=True)
class DigitPlace:
    """One digit and the cord that works it."""

    id: str  # "index"
    cord: str  # "index-middle"; digits with the same cord share one loop
    is_thumb: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class KnotPlace:
    """One knot and the digit whose cord it ends."""

    id: str  # "index", "thumb-pin"
    digit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Characteristic:
    """One thing to check. `title` is a statement that is true of a sound hand."""

    id: str
    title: str
    how: str  # what to look at, and how
    why: str
    hold_point: str
    held: str  # id of the group: how the hand is held meanwhile
    method: Method
    severity: Severity
    minutes: float
    miss_rate: float  # P(called good | it is bad), one look
    false_alarm_rate: float  # P(called bad | it is good), one look
    prior_nonconforming: float  # P(bad) before anyone has looked
    rule: AnswerRule | NumberRule
    photo_limits: Limits | None = None  # of what a photo measures of it; the photo advises, the person answers
    per: Per = "hand"
    faults: tuple[str, ...] = ()  # physical causes that a bad answer hints at
    rework: tuple[str, ...] = ()  # ids, the usual one first
    caution: str = ""
    counts_only_if: tuple[str, ...] = ()
    substitute: Substitute | None = None
    applies_if: Literal["", "latex_sensitive"] = ""
    reads: str = ""  # observable of the mechanics; "{place}" stands for the digit
    source: str = ""
    rates_source: str = ""

    def __post_init__(self) -> None:
        for name in ("miss_rate", "false_alarm_rate", "prior_nonconforming"):
            value = getattr(self, name)
            if not 0 <= value < 1:
                raise OutOfRange(
                    f"{name} is {value:g}; expected a fraction from 0 to below 1",
                    where=self.id,
                    do="Give it as a fraction, 0.05 for 5 %.",
                )
        if not (isfinite(self.minutes) and self.minutes > 0):
            raise OutOfRange(
                f"minutes is {self.minutes:g}; expected more than 0",
                where=self.id,
                do="Give the minutes that the check takes.",
            )

    def observable(self, place: str) -> str:
        """Name of the observable that feeds the mechanics at this place; empty when it feeds none."""
        return self.reads.replace("{place}", place)


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Characteristics looked at while the hand is held one way, so that it is turned over once."""

    id: str
    title: str
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldPoint:
    """A stage at which work stops until its characteristics are checked."""

    id: str
    title: str
    before: str  # what must wait until it is passed
    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step of the build that hides something. It belongs after a hold point."""

    id: str
    title: str
    after: str  # hold point that must be passed before it
    needs: tuple[str, ...]  # steps that come before it
    hides: tuple[str, ...]  # characteristics that can no longer be seen once it is done
    undo: str  # rework that opens it again


@dataclass(frozen=True, slots=True, kw_only=True)
class Rework:
    """One thing to do about a nonconformity, and what it costs, undoes and cannot take back."""

    id: str
    title: str
    how: str
    minutes: float
    skill: Literal["builder", "experienced builder", "lead", "fitter", "licensed professional"]
    spares: tuple[str, ...] = ()
    irreversible: bool = False
    scraps_part: bool = False  # the part is thrown away and made again
    refer: bool = False  # stop, and leave it to a licensed professional
    per: Per = "hand"  # kind of place at which it is done
    caution: str = ""
    undoes: tuple[str, ...] = ()  # ids of characteristics, groups or hold points, at every place
    undoes_here: tuple[str, ...] = ()  # only where it was done
    undoes_loop: tuple[str, ...] = ()  # at every digit on the same cord
    follow_up: tuple[str, ...] = ()  # rework that must come after it
    reopens: tuple[str, ...] = ()  # steps that it takes back, so that what they hid is seen again


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """All hold points and characteristics for a kind of hand. Checked against itself by its loader."""

    id: str
    title: str
    version: str
    sha256: str  # of the text it was read from
    designs: tuple[str, ...]  # names of the designs it was written for
    target_rest_angle_deg: float
    accept_p: Mapping[Severity, float]
    group_miss_factor: float  # a whole group taken as shown is looked at less closely
    concession_roles: tuple[str, ...]
    digits: tuple[DigitPlace, ...]
    knots: tuple[KnotPlace, ...]
    hold_points: tuple[HoldPoint, ...]
    steps: tuple[Step, ...]
    characteristics: tuple[Characteristic, ...]
    reworks: tuple[Rework, ...]
    fault_words: Mapping[str, str]  # id of a cause: what it is called
    sources: Mapping[str, str]
    _by_id: Mapping[str, Characteristic] = field(init=False, repr=False, compare=False)
    _rework: Mapping[str, Rework] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_id", {c.id: c for c in self.characteristics})
        object.__setattr__(self, "_rework", {r.id: r for r in self.reworks})

    def characteristic(self, id: str) -> Characteristic | None:
        """The characteristic with this id, or None."""
        return self._by_id.get(id)

    def rework(self, id: str) -> Rework | None:
        """The rework with this id, or None."""
        return self._rework.get(id)

    def step(self, id: str) -> Step | None:
        """The build step with this id, or None."""
        return next((s for s in self.steps if s.id == id), None)

    def stage(self, hold_point: str) -> int:
        """Number of a hold point in the order of work, from 0; raises OutOfRange for an unknown one."""
        ids = [h.id for h in self.hold_points]
        if hold_point not in ids:
            raise OutOfRange(
                f"there is no hold point {hold_point!r}",
                where=f"protocol {self.id}",
                do=f"Use one of: {', '.join(ids)}.",
            )
        return ids.index(hold_point)

    def members(self, id: str) -> tuple[Characteristic, ...]:
        """The characteristics that an id stands for: one, a group's, or a hold point's; none if unknown."""
        return tuple(c for c in self.characteristics if id in (c.id, c.held, c.hold_point))

    def places(self, per: Per) -> tuple[str, ...]:
        """Every place of one kind, in order; the whole hand is one place with an empty name."""
        if per == "hand":
            return (HAND,)
        if per == "digit":
            return tuple(d.id for d in self.digits)
        if per == "finger":
            return tuple(d.id for d in self.digits if not d.is_thumb)
        if per == "cord":
            return tuple(dict.fromkeys(d.cord for d in self.digits))
        return tuple(k.id for k in self.knots)

    def digits_at(self, per: Per, place: str) -> frozenset[str]:
        """The digits that a place touches: a cord's digits, a knot's one; all for the whole hand."""
        if per == "hand" or place == HAND:
            return frozenset(d.id for d in self.digits)
        if per == "cord":
            return frozenset(d.id for d in self.digits if d.cord == place)
        if per == "knot":
            return frozenset(k.digit for k in self.knots if k.id == place)
        return frozenset((place,))

    def on_same_cord(self, digits: frozenset[str]) -> frozenset[str]:
        """These digits and all others worked by the same cords."""
        cords = {d.cord for d in self.digits if d.id in digits}
        return frozenset(d.id for d in self.digits if d.cord in cords)

    def accept(self, severity: Severity) -> float:
        """Probability asked for before something of this severity is accepted."""
        return self.accept_p[severity]


def gravity(severity: str) -> int:
    """Rank of a severity, gravest 0.

    Parameters: severity, one of SEVERITIES.
    Returns: 0 for critical, 1 for major, 2 for minor.
    Raises: OutOfRange for any other word.
    Valid for: the three grades used here.
    Source: own rule; the grades are common practice in inspection.
    Checked by: unit/test_inspection_protocol.py
    >>> gravity("major")
    1
    """
    if severity not in SEVERITIES:
        raise OutOfRange(
            f"severity is {severity!r}", where="severity", do=f"Use one of: {', '.join(SEVERITIES)}."
        )
    return SEVERITIES.index(severity)
