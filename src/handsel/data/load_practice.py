"""Practice hands: a known fault, told by what a newcomer would see and read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Id, Line, Number, Table, Text
from handsel.data.places import near
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.rules import NumberRule

BUNDLED = Path(__file__).parent / "practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One thing about the hand that is not as it should be."""

    of: str  # id of the characteristic
    place: str  # empty for the whole hand
    answer: str  # what is right to answer; empty for a number
    words: str  # what one sees, without the verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeFault:
    """A fault that a practice hand has."""

    id: str
    hold_point: str
    was: str  # what was wrong, told at the end
    lesson: str
    readings: Mapping[str, float]  # by id of the characteristic, in the protocol's unit
    shows: tuple[Shown, ...]


class ShownTable(Table):
    """What is not as it should be."""

    of: Id = Field(description="Id of the characteristic.")
    place: str = Field(default="", max_length=40, description="Digit, finger, cord or knot.")
    answer: str = Field(
        default="", max_length=60, description="What is right to answer; left out for a number."
    )
    words: Text | None = Field(default=None, description="What one sees or feels, without the verdict.")


class PracticeTable(Table):
    """A practice hand."""

    format: Literal["handsel-practice/1"] = Field(description="Format of this file.")
    protocol: Id = Field(description="Protocol that the hand is judged by.")
    id: Id = Field(description="Name of the file without its ending.")
    hold_point: Id = Field(description="Hold point at which the newcomer looks at it.")
    was: Line = Field(description="What was wrong, told at the end.")
    lesson: Text = Field(description="What one learns from it.")
    readings: dict[Id, Annotated[Number, Field(ge=-1000, le=1000)]] = Field(
        default={}, description="What the instruments say, in the protocol's units."
    )
    shows: tuple[ShownTable, ...] = Field(min_length=1, description="What is not as it should be.")


def practice_faults(protocol: Protocol) -> tuple[PracticeFault, ...]:
    """All bundled practice hands for a protocol.

    Parameters: protocol.
    Returns: PracticeFault, by hold point and then by id; none for a protocol without any.
    Raises: BadFile when a file does not fit the protocol.
    Valid for: any protocol.    Source: own format handsel-practice/1.    Checked by: unit/test_load_practice.py
    """
    paths = [p for p in sorted(BUNDLED.glob("*.toml")) if _table(p).protocol == protocol.id]
    found = [load_practice(p, protocol) for p in paths]
    return tuple(sorted(found, key=lambda f: (protocol.stage(f.hold_point), f.id)))


def load_practice(path: Path, protocol: Protocol) -> PracticeFault:
    """One practice hand, held against its protocol.

    Parameters: path of a TOML file; protocol that it belongs to.
    Returns: PracticeFault.
    Raises: BadFile naming file, what is wrong and how to mend it.
    Valid for: as read_toml.    Source: as practice_faults.    Checked by: unit/test_load_practice.py
    """
    t = _table(path)
    points = [h.id for h in protocol.hold_points]
    if t.hold_point not in points:
        raise BadFile(
            f"there is no hold point {t.hold_point!r}", where=str(path), do=near(t.hold_point, points)
        )
    here = {c.id: c for c in protocol.characteristics if c.hold_point == t.hold_point}
    numbers = {id for id, c in here.items() if isinstance(c.rule, NumberRule)}
    if set(t.readings) != numbers:
        odd = sorted(numbers ^ set(t.readings))
        raise BadFile(
            f"the readings are not those of the hold point: {', '.join(odd)}",
            where=f"{path}, readings",
            do="Give one number for each, and no other.",
        )
    for s in t.shows:
        _fits(s, here, protocol, path)
    return PracticeFault(
        id=t.id,
        hold_point=t.hold_point,
        was=t.was,
        lesson=t.lesson,
        readings=dict(t.readings),
        shows=tuple(Shown(of=s.of, place=s.place, answer=s.answer, words=s.words or "") for s in t.shows),
    )


def _fits(s: ShownTable, here: Mapping[str, object], protocol: Protocol, path: Path) -> None:
    where = f"{path}, shows {s.of}"
    c = protocol.characteristic(s.of)
    if c is None or s.of not in here:
        raise BadFile("it is not looked at there", where=where, do=near(s.of, list(here)))
    if s.place != HAND and s.place not in protocol.places(c.per):
        raise BadFile(
            f"it has no place {s.place!r}", where=where, do=near(s.place, list(protocol.places(c.per)))
        )
    if isinstance(c.rule, NumberRule):
        if s.answer:
            raise BadFile("it is a number and has no answer", where=where, do="Take the answer out.")
        return
    wrong = [a for a in c.rule.answers if a not in c.rule.accepted]
    if s.answer not in wrong:
        raise BadFile(
            f"the answer is {s.answer!r}", where=where, do=f"Use one that does not do: {', '.join(wrong)}."
        )


@lru_cache(maxsize=32)
def _table(path: Path) -> PracticeTable:
    return checked(PracticeTable, read_toml(path), path)
