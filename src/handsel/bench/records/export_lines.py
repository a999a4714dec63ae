"""The lines of an export, read one by one, and whether the file is whole."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from handsel.bench.records.exporting import FORMAT
from handsel.errors import BadFile

MOST_LINE_BYTES = 8_000_000


class BadExport(BadFile):
    """A file that is no export, or no whole one. The database was not touched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line, read."""

    number: int
    data: dict[str, Any]
    where: str

    def bad(self, what: str) -> BadExport:
        """This line is wrong."""
        do = "Export it again, or take an older export. Nothing was written."
        return BadExport(what, where=f"{self.where}, line {self.number}", do=do)


def lines_of(path: Path) -> Iterator[Line]:
    """The lines of an export; the last one's fingerprint is held against the file before it ends."""
    where = path.name
    digest, ended, kind = sha256(), False, ""
    try:
        file = path.open("rb")
    except OSError as error:
        raise BadExport(
            f"it cannot be opened ({error.strerror})", where=where, do="Check the name."
        ) from None
    with file:
        number = 0
        while raw := file.readline(MOST_LINE_BYTES + 1):
            number += 1
            line = Line(number=number, data=_json(raw, number, where), where=where)
            kind = line.data.get("is", "")
            if ended:
                raise line.bad("something stands after its end")
            if number == 1:
                _first(line)
            elif kind == "records":
                raise line.bad("a second beginning stands in it")
            if kind == "end":
                ended = True
                if line.data != {"is": "end", "lines": number - 1, "sha256": digest.hexdigest()}:
                    raise line.bad("the file was changed or damaged: it no longer has its fingerprint")
            digest.update(raw)
            yield line
    if not ended:
        do = "Export it again, or copy it again. Nothing was written."
        raise BadExport("it is empty" if not number else "it is cut short", where=where, do=do)


def _json(raw: bytes, number: int, where: str) -> dict[str, Any]:
    line = Line(number=number, data={}, where=where)
    if len(raw) > MOST_LINE_BYTES or not raw.endswith(b"\n"):
        raise line.bad("the line is cut short" if len(raw) <= MOST_LINE_BYTES else "the line is too long")
    try:
        data = json.loads(raw, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise line.bad("this is no line of JSON") from None
    if not isinstance(data, dict) or not isinstance(data.get("is"), str):
        raise line.bad('"is" is missing: it says what the line is')
    return data


def _no_constant(name: str) -> float:
    raise ValueError(name)


def _first(line: Line) -> None:
    said = line.data.get("format")
    if line.data["is"] != "records" or not isinstance(said, str) or not said.startswith("handsel-records/"):
        raise line.bad("this is no export of handsel")
    if said != FORMAT:
        do = "Install the version that wrote it."
        where = f"{line.where}, line {line.number}, format"
        raise BadExport(f"it is written as {said[:30]}; this version reads {FORMAT}", where=where, do=do)
