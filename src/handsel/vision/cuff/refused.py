"""Why a photo of a cuff gives no reading: one cause each, in words, with what to do."""

from __future__ import annotations

from enum import StrEnum

from handsel.errors import HandselError


class CuffCause(StrEnum):
    """What keeps a photo of a cuff from being measured."""

    NO_CUFF = "no cuff found"
    SMALL = "cuff too small"
    CUT_OFF = "cut off by the frame"
    BLURRED = "blurred"
    ASKEW = "seen from one side"
    NO_SCALE = "no scale"
    FAINT = "too like its background"
    TOUCHED = "something touches it"
    DOUBTFUL = "outline in doubt"


class CuffRefused(HandselError):
    """A photo of a cuff that cannot be measured: `cause` for programs, the message for people."""

    def __init__(self, cause: CuffCause, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where=where, do=do)
        self.cause = cause


def nothing_found(where: str) -> CuffRefused:
    """The refusal when nothing in the photo is like a cuff.

    Parameters: where, what the photo is called in messages.
    Returns: CuffRefused, to be raised.
    Raises: nothing of its own.
    Valid for: any photo.
    Source: own words.
    Checked by: unit/test_vision_cuff.py
    """
    return CuffRefused(
        CuffCause.NO_CUFF,
        "no cuff stands out in the photo",
        where=where,
        do="Lay the cuff on a plain sheet of quite another colour, look into it from one end, go so close that it "
        "is a U over a third of the picture, and take it again.",
    )
