"""What is said of the things on the mat: right, for the other hand, missing, or what would settle it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """What is said of one thing on the mat."""

    RIGHT = "right"
    MIRRORED = "for the other hand"
    OTHER_SCALE = "another scale"
    EXTRA = "one too many"
    FOREIGN = "not of this kit"
    UNTOLD = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A caliper reading, or another look, that would settle what the photo leaves open."""

    what: str  # in words
    dimension: str | None = None  # name of the design's reference dimension
    expected_mm: float | None = None  # at the ordered scale
    otherwise_mm: float | None = None  # what another explanation would have


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSeen:
    """One thing on the mat."""

    state: State
    names: tuple[str, ...]  # the design's parts that it may be, alike in shape; none when foreign
    title: str  # in words
    confidence: float  # probability that state and kind are true
    x_mm: float  # of its middle, on the sheet
    y_mm: float
    length_mm: float  # longest way across what is seen, on the paper
    u_length_mm: float
    scale_ratio: float | None  # its size against the ordered one
    u_scale_ratio: float | None
    flat_side_down: bool | None
    reason: str  # why it is not called right; empty when it is
    ask: Ask | None
    outline_px: tuple[tuple[float, float], ...]  # in the picture
    hides_mm: float = 0.0  # how far beyond its own foot it hides the paper


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMissing:
    """Parts of the kit that were not seen."""

    names: tuple[str, ...]  # the design's parts alike in shape
    title: str
    count: int  # how many of them
    may_be_there: bool  # something on the mat could not be told
