"""Kinds of fields that several file formats share, with bounds that no honest file comes near."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

# Far outside any hand, near enough that no sum or square of them overflows.
FAR_MM = 5_000.0

NAME = r"^[a-z][a-z0-9_]*$"
ONE_LINE = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]+$"
VERSION = r"^[0-9][0-9A-Za-z.+-]*$"

# What a text must look like, in words, for messages.
PATTERN_WORDS = {
    NAME: 'small letters, digits and "_", beginning with a letter, as in index_knuckle',
    ONE_LINE: "some text on one line, without control characters",
    VERSION: "a version as in 1.0.0",
}

Name = Annotated[str, Field(pattern=NAME, max_length=60)]
Line = Annotated[str, Field(pattern=ONE_LINE, max_length=300)]
Version = Annotated[str, Field(pattern=VERSION, max_length=40)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Coordinate = Annotated[Number, Field(ge=-FAR_MM, le=FAR_MM)]
Size = Annotated[Number, Field(gt=0, le=FAR_MM)]
SizeOrZero = Annotated[Number, Field(ge=0, le=FAR_MM)]
Mass = Annotated[Number, Field(ge=0, le=10_000)]
Angle = Annotated[Number, Field(ge=-180, le=180)]
Share = Annotated[Number, Field(ge=0, le=1)]
Count = Annotated[int, Field(strict=True, ge=0, le=1_000)]
Point = tuple[Coordinate, Coordinate, Coordinate]


class Table(BaseModel):
    """A table of a file: every key known, nothing else let in."""

    model_config = ConfigDict(extra="forbid", frozen=True)
