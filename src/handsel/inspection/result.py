"""What an inspection says: one line for every characteristic, and one decision for the hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from handsel.inspection.case import Case
from handsel.inspection.protocol import Protocol, Severity
from handsel.metrology.decision import Decision, Settling
from handsel.metrology.quantity import Quantity

Status = Literal["conforms", "does not conform", "undecided", "not seen", "recorded"]
Whole = Literal["release", "rework", "scrap part", "not decided yet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One characteristic at one place, or one computed finding, and what is known of it."""

    id: str
    place: str
    title: str
    hold_point: str  # empty for a finding
    severity: Severity
    status: Status
    p_conform: float | None  # None: nothing counted toward it
    reason: str
    shown: str = ""  # the answer or number, as text
    decision: Decision | None = None  # for numbers with limits
    settling: Settling | None = None  # for undecided numbers
    advisories: tuple[str, ...] = ()
    conceded_by: str = ""  # role; the status stays what it is
    concession_reason: str = ""
    to_check: str = ""  # what to do to see it, while it is not seen or not decided
    minutes: float = 0.0  # for that check [min]
    rework: tuple[str, ...] = ()  # ids that put it right, the usual one first
    faults: tuple[str, ...] = ()  # causes it hints at, when it does not conform

    @property
    def key(self) -> tuple[str, str]:
        """Characteristic and place, which together name the item."""
        return (self.id, self.place)

    @property
    def is_open(self) -> bool:
        """True while something remains to be seen, decided or put right."""
        return self.status not in ("conforms", "recorded") and not self.conceded_by

    @property
    def blocks(self) -> bool:
        """True when it stands between the hand and its release."""
        return self.is_open and self.severity != "minor"

    @property
    def called(self) -> str:
        """Title with its place, for a sentence."""
        return f"{self.title} ({self.place})" if self.place else self.title


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCheck:
    """The check to make next, and why this one."""

    item: Item
    how: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OutOfOrder:
    """A step done before its hold point was passed, and what that means for the rest."""

    step: str
    title: str
    reason: str
    hidden: tuple[str, ...]  # titles of what can no longer be seen and was not seen before
    ways_on: tuple[str, ...]  # what to do about it; never empty when something is hidden


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedConcession:
    """A concession that does not count, and why."""

    of: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """The decision for one hand at one hold point, with everything behind it."""

    case: Case
    protocol: Protocol
    whole: Whole
    sentence: str
    items: tuple[Item, ...]  # in the order in which the hand is held; findings last
    open_items: tuple[Item, ...]  # gravest first, then by what must be done before what
    work_order: tuple[Item, ...]  # the open items by what must be done before what
    next_check: NextCheck | None
    out_of_order: tuple[OutOfOrder, ...]
    refused_concessions: tuple[RefusedConcession, ...]
    advisories: tuple[str, ...]
    readings: Mapping[str, Quantity | str]  # observables of the mechanics that were recorded
    released_to: str  # the next hold point's title, or "the recipient"; empty when not released
    open_minutes: float  # for the checks that still block [min]

    def item(self, id: str, place: str = "") -> Item:
        """The item of a characteristic at a place; raises KeyError when it is not due."""
        for item in self.items:
            if item.key == (id, place):
                return item
        raise KeyError((id, place))
