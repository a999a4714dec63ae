"""How one answer or number is judged, and how well people see or read it."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from handsel.errors import OutOfRange
from handsel.metrology.decision import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Advisory:
    """Something to say of a number that decides nothing."""

    text: str
    above: float | None = None  # in the unit of the number
    below: float | None = None
    rework: str = ""  # id of what such a value calls for, before the usual rework

    def says(self, value: float) -> bool:
        """True when the value is past the advisory's own mark."""
        return (self.above is not None and value > self.above) or (
            self.below is not None and value < self.below
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingMethod:
    """One way to read a number, and what one reading with it is worth."""

    name: str  # "photo", "protractor"
    u: float  # standard uncertainty of one reading, common part included, in the number's unit
    u_common: float  # the part of it that all readings share
    resolution: float = 0.0  # smallest step shown
    minutes: float = 1.0  # for one reading, placed afresh

    def __post_init__(self) -> None:
        for name in ("u", "u_common", "resolution", "minutes"):
            value = getattr(self, name)
            if not (isfinite(value) and value >= 0):
                raise OutOfRange(
                    f"{name} is {value:g}; expected 0 or more",
                    where=self.name,
                    do="Give it as a positive number.",
                )
        if self.u <= 0 or self.u_common > self.u:
            raise OutOfRange(
                f"u is {self.u:g} and u_common {self.u_common:g}; expected u above 0 and u_common no larger",
                where=self.name,
                do="u contains u_common: mend one.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberRule:
    """How a number is judged. Without limits it is recorded for the mechanics and decides nothing."""

    unit: str
    limits: Limits | None
    plausible_min: float  # outside of these it is a slip of the pen or another unit
    plausible_max: float
    methods: tuple[ReadingMethod, ...]  # the first is taken when none is named
    advisories: tuple[Advisory, ...] = ()
    step: float | None = None  # what one small move changes it by, where there is such a move
    step_what: str = ""  # that move in words

    def method(self, name: str) -> ReadingMethod:
        """The named method, or the first when no name is given or it is not listed."""
        return next((m for m in self.methods if m.name == name), self.methods[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerRule:
    """How an answer is judged. When every answer is accepted it is recorded and decides nothing."""

    answers: tuple[str, ...]  # ("yes", "no")
    accepted: tuple[str, ...]

    @property
    def decides(self) -> bool:
        """False when every answer is accepted."""
        return set(self.answers) != set(self.accepted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitute:
    """What to check instead, once the thing itself can no longer be seen. Answered yes or no."""

    how: str
    minutes: float
    miss_rate: float
    false_alarm_rate: float
