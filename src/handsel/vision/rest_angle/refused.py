"""Why a photo gives no reading: one cause each, in words, with what to do."""

from __future__ import annotations

from enum import StrEnum

from handsel.errors import HandselError


class Cause(StrEnum):
    """What keeps a photo from being measured."""

    MISSING = "card missing"
    COVERED = "card covered"
    DOUBLED = "card doubled"
    BLURRED = "blurred"
    SMALL = "card too small"
    OBLIQUE = "card too oblique"
    FROM_ABOVE = "hand seen from above"
    UPSIDE_DOWN = "card upside down"
    SWAPPED = "cards swapped"
    MIRRORED = "picture mirrored"
    APART = "cards not on one hand"
    DISTORTED = "card bent or disturbed"
    UNCERTAIN = "too uncertain"
    DISAGREE = "photos disagree"


class PhotoRefused(HandselError):
    """A photo that cannot be measured: `cause` for programs, the message for people."""

    def __init__(self, cause: Cause, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where=where, do=do)
        self.cause = cause
