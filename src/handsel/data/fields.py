"""Kinds of fields that several file formats share, with bounds that no honest file comes near."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

# Far outside any hand, near enough that no sum or square of them overflows.
FAR_MM = 5_000.0

NAME = r"^[a-z][a-z0-9_]*$"
ONE_LINE = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]+$"
VERSION = r"^[0-9][0-9A-Za-z.+-]*$"
ID = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"
# Letters only in runs of three at most, and a digit between them: no name can be written so.
CODE = r"^[A-Z]{0,3}(-?[0-9]+[A-Z]{0,3})+$"
ROLE = r"^(lead|inspector|builder|fitter|maker|carer|organiser)( [0-9]{1,3}| [A-Z])?$"

# What a text must look like, in words, for messages.
PATTERN_WORDS = {
    NAME: 'small letters, digits and "_", beginning with a letter, as in index_knuckle',
    ONE_LINE: "some text on one line, without control characters",
    VERSION: "a version as in 1.0.0",
    ID: 'small letters, digits and "-", as in worked-rest-angle',
    CODE: "a code and never a name, as in R-014",
    ROLE: "a role and never a name: lead, inspector, builder, fitter, maker, carer or organiser, "
    "with a number or letter where there are several, as in inspector 2",
}

Name = Annotated[str, Field(pattern=NAME, max_length=60)]
Line = Annotated[str, Field(pattern=ONE_LINE, max_length=300)]
Version = Annotated[str, Field(pattern=VERSION, max_length=40)]
Id = Annotated[str, Field(pattern=ID, max_length=60)]
Code = Annotated[str, Field(pattern=CODE, max_length=16)]
Role = Annotated[str, Field(pattern=ROLE, max_length=20)]
Text = Annotated[str, Field(pattern=ONE_LINE, max_length=600)]
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
