"""The case: one hand, and what was seen and measured on it, by whom, after which steps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from handsel.errors import HandselError
from handsel.inspection.protocol import HAND
from handsel.metrology.decision import Verdict


class BadCase(HandselError, ValueError):
    """What is written about a hand does not fit the protocol it is judged by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandRecord:
    """Which hand it is, and how far it has come."""

    code: str  # the recipient's code, never a name
    serial: str
    design: str
    scale_ratio: float
    side: str  # "left" or "right"
    hold_point: str  # the stage being inspected now
    target_rest_angle_deg: float | None = None
    latex_sensitive: bool | None = None  # None: not known, treated as sensitive


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One recorded answer or number, at one place.

    `before` and `after` name entries of the case's list of things done. Without them an
    observation counts as older than every rework, so that nothing stale can release a hand.
    """

    of: str  # id of the characteristic
    place: str = HAND  # digit, finger, cord or knot; empty for the whole hand
    answer: str | None = None
    value: float | None = None  # in unit
    readings: tuple[float, ...] = ()  # in unit; instead of value
    unit: str | None = None
    u: float | None = None  # standard uncertainty, in unit; None: what the method gives
    method: str = ""
    by: str = ""  # role, where it is another than the inspector's
    note: str = ""
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupAcceptance:
    """A whole group or hold point taken as shown: its yes/no answers, except the critical ones."""

    group: str
    by: str = ""
    before: str = ""
    after: str = ""
    only: tuple[tuple[str, str], ...] = ()  # id and place of what was looked at; empty: all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Concession:
    """A named role's decision to let something pass that does not conform, with the reason."""

    of: str
    by: str
    reason: str
    place: str = HAND  # empty: at every place


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A build step or a rework that was done; their order in the case is the order of work."""

    what: str  # id of a step or of a rework
    name: str = ""  # how the observations refer to it; the id when empty
    place: str = HAND  # where a rework was done; empty: everywhere
    at: str = ""  # hold point the hand had reached then; empty: the present one

    @property
    def called(self) -> str:
        """The name that `before` and `after` refer to."""
        return self.name or self.what


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything known of one hand at one inspection."""

    name: str  # how messages call it: the file's name, or the hand's serial
    hand: HandRecord
    by: str  # role of the inspector
    on: date
    observations: tuple[Observation, ...] = ()
    accepted: tuple[GroupAcceptance, ...] = ()
    concessions: tuple[Concession, ...] = ()
    done: tuple[Done, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A judgement computed elsewhere, from the mechanics say, that counts like a characteristic."""

    id: str
    title: str
    severity: str
    verdict: Verdict
    p_conform: float | None
    reason: str
    rework: tuple[str, ...] = ()  # ids of the protocol, the usual one first
