"""The file of confirmed causes: read, checked, and written with one entry more."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from handsel.data.checked import checked
from handsel.data.fields import Code, Id, Line, Role, Table, Text, Version
from handsel.data.places import shown_plain
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.rework.learning import Confirmed, Entry, TakenBack, fingerprint

Number = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]


class ConfirmedTable(Table):
    """An entry: a cause confirmed by its cure, or an earlier entry taken back."""

    number: Number = Field(description="Number of the entry, from 1, none left out.")
    on: date = Field(description="Day of the entry, as in 2026-11-21.")
    by: Role = Field(description="Role that made it, as in inspector 2.")
    code: Code | None = Field(default=None, description="The recipient's code.")
    serial: Code | None = Field(default=None, description="The hand's number.")
    fault: Id | None = Field(default=None, description="Fault of the catalogue.")
    place: Line | None = Field(default=None, description="Its place; left out: the whole hand.")
    rework: Id | None = Field(default=None, description="The rework that cured it.")
    symptom: Line | None = Field(
        default=None, description="The characteristic that did not hold before and holds now."
    )
    takes_back: Number | None = Field(default=None, description="Number of the entry that counts no more.")
    reason: Text | None = Field(default=None, description="Why it is taken back.")


class ConfirmedFile(Table):
    """A whole file of confirmed causes."""

    format: Literal["handsel-confirmed/1"] = Field(description="Kind and version of this file.")
    catalogue: Id = Field(description="Fault catalogue that the entries are about.")
    catalogue_version: Version = Field(description="Its version.")
    fingerprint: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = Field(
        description="SHA-256 over all entries in order, so that a changed or missing one is noticed."
    )
    entry: Annotated[tuple[ConfirmedTable, ...], Field(max_length=10_000)] = Field(
        default=(), description="Entries in order; only ever added to."
    )


CONFIRMS = ("code", "serial", "fault", "rework", "symptom")


def load_confirmed(path: str | Path, *, catalogue: str) -> tuple[Entry, ...]:
    """The confirmed causes in a file.

    Parameters: path of a TOML file in the format handsel-confirmed/1; catalogue that it must be about.
    Returns: the entries in order.
    Raises: BadFile naming file, entry, key, what is wrong and how to mend it; also when the fingerprint
        does not fit, since then an entry was changed, left out or added by hand.
    Valid for: as read_toml.
    Source: own format; `handsel schema confirmed` prints it.
    Checked by: unit/test_learning.py
    """
    data = read_toml(path)
    file = checked(ConfirmedFile, data, path)
    where = shown_plain(str(path))
    if file.catalogue != catalogue:
        raise BadFile(
            f'it is about the catalogue "{file.catalogue}"', where=where, do=f'Use one about "{catalogue}".'
        )
    entries = tuple(_entry(t, where) for t in file.entry)
    if fingerprint(entries) != file.fingerprint:
        raise BadFile(
            "its fingerprint does not fit its entries: one was changed, left out or added by hand",
            where=where,
            do="Take the file from a backup. To correct an entry, add one that takes it back.",
        )
    return entries


def _entry(t: ConfirmedTable, where: str) -> Entry:
    at = f"{where}, entry {t.number}"
    on = t.on.isoformat()
    if t.takes_back is not None:
        extra = [key for key in (*CONFIRMS, "place") if getattr(t, key) is not None]
        if extra:
            raise BadFile(f"it takes an entry back and has {extra[0]} too", where=at, do="Keep one of them.")
        if t.reason is None:
            raise BadFile('the key "reason" is missing', where=at, do="Say why the entry counts no more.")
        return TakenBack(number=t.number, of=t.takes_back, on=on, by=t.by, reason=t.reason)
    missing = [key for key in CONFIRMS if getattr(t, key) is None]
    if missing:
        raise BadFile(f'the key "{missing[0]}" is missing', where=at, do="Add it.")
    return Confirmed(
        number=t.number,
        code=t.code or "",
        serial=t.serial or "",
        on=on,
        by=t.by,
        fault=t.fault or "",
        place=t.place or "",
        rework=t.rework or "",
        symptom=t.symptom or "",
    )


def confirmed_text(entries: Sequence[Entry], *, catalogue: str, catalogue_version: str) -> str:
    """The text of a file of confirmed causes.

    Parameters: entries in order; catalogue and catalogue_version that they are about.
    Returns: TOML in the format handsel-confirmed/1, which load_confirmed reads back as it was.
    Raises: nothing of its own.
    Valid for: entries whose texts are of one line.
    Source: own format.
    Checked by: unit/test_learning.py
    """
    lines = [
        'format = "handsel-confirmed/1"',
        f"catalogue = {_quoted(catalogue)}",
        f"catalogue_version = {_quoted(catalogue_version)}",
        f"fingerprint = {_quoted(fingerprint(entries))}",
    ]
    for entry in entries:
        lines += [
            "",
            "[[entry]]",
            f"number = {entry.number}",
            f"on = {entry.on}",
            f"by = {_quoted(entry.by)}",
        ]
        if isinstance(entry, TakenBack):
            lines += [f"takes_back = {entry.of}", f"reason = {_quoted(entry.reason)}"]
            continue
        keys = ("code", "serial", "fault", "place", "rework", "symptom")
        lines += [f"{key} = {_quoted(getattr(entry, key))}" for key in keys if getattr(entry, key)]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
