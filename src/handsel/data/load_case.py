"""From a case file to the case that the inspection judges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsel.data.case_tables import UNITS, CaseTables, ObservationTable, PlacedTable
from handsel.data.checked import checked
from handsel.data.places import place, shown_plain
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.case import Case, Concession, Done, GroupAcceptance, HandRecord, Observation
from handsel.inspection.protocol import HAND


def load_case(path: str | Path) -> Case:
    """The case that a file describes.

    Parameters: path of a TOML file in the format handsel-case/1.
    Returns: Case, not yet held against a protocol.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: as read_toml.
    Source: own format; its JSON Schema is case_schema().
    Checked by: unit/test_load_case.py, properties/test_load_case.py
    """
    data = read_toml(path)
    return case_of(checked(CaseTables, data, path), data, path)


def case_schema() -> dict[str, Any]:
    """The JSON Schema of a case file.

    Parameters: none.
    Returns: the schema as a dict, ready to be written as JSON.
    Raises: nothing of its own.
    Valid for: handsel-case/1.
    Source: made from the tables of case_tables.
    Checked by: unit/test_load_case.py
    """
    return CaseTables.model_json_schema()


def case_of(tables: CaseTables, data: dict[str, Any], path: str | Path) -> Case:
    """The case of checked tables, with what the schema cannot say checked too.

    Parameters: tables; data they were made from and path, for messages.
    Returns: Case.
    Raises: BadFile as load_case.
    Valid for: as load_case.
    Source: own format.
    Checked by: unit/test_load_case.py
    """
    sheet = _Sheet(data=data, path=path)
    observations = tuple(
        one for i, table in enumerate(tables.observation) for one in _observations(table, i, sheet)
    )
    hand, seen = tables.hand, tables.inspected
    return Case(
        name=shown_plain(Path(path).name),
        hand=HandRecord(**hand.model_dump()),
        by=seen.by,
        on=seen.on,
        observations=observations,
        accepted=tuple(GroupAcceptance(group=g) for g in seen.all_as_shown)
        + tuple(
            GroupAcceptance(
                group=a.group,
                by=a.by or "",
                before=a.before or "",
                after=a.after or "",
                only=tuple(
                    (o.of, _place(o, ("as_shown", i, "only", j), sheet)) for j, o in enumerate(a.only or ())
                ),
            )
            for i, a in enumerate(tables.as_shown)
        ),
        concessions=tuple(
            Concession(of=c.of, by=c.by, reason=c.reason, place=_place(c, ("concession", i), sheet))
            for i, c in enumerate(tables.concession)
        ),
        done=tuple(
            Done(what=d.what, name=d.name or "", at=d.at or "", place=_place(d, ("done", i), sheet))
            for i, d in enumerate(tables.done)
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """The file's data, for saying where in it something stands."""

    data: dict[str, Any]
    path: str | Path

    def bad(self, loc: Sequence[str | int], what: str, do: str) -> BadFile:
        return BadFile(what, where=place(self.path, self.data, loc), do=do)


def _place(table: PlacedTable, loc: Sequence[str | int], sheet: _Sheet) -> str:
    given = {key: getattr(table, key) for key in ("digit", "cord", "knot") if getattr(table, key) is not None}
    if len(given) > 1:
        raise sheet.bad(loc, f"it names {' and '.join(given)}", "Keep the one that is meant.")
    return next(iter(given.values()), HAND)


def _observations(t: ObservationTable, i: int, sheet: _Sheet) -> tuple[Observation, ...]:
    """One observation, or one for each place of a table of answers."""
    loc = ("observation", i)
    where = _place(t, loc, sheet)
    tables = {key: value for key in ("digits", "cords", "knots") if (value := getattr(t, key)) is not None}
    numbers = {
        f"{kind}_{unit}": unit
        for unit in UNITS
        for kind in ("value", "readings")
        if getattr(t, f"{kind}_{unit}") is not None
    }
    given = [*(["answer"] if t.answer is not None else []), *tables, *numbers]
    if len(given) != 1:
        what = f"it has {' and '.join(given)}" if given else "it says nothing"
        raise sheet.bad(
            loc,
            what,
            'Give one of: answer, a table such as digits = { index = "yes" }, or a number with its unit.',
        )
    if tables and where != HAND:
        raise sheet.bad(loc, f"it names one place and has {given[0]} too", "Keep the one that is meant.")
    unit = numbers.get(given[0])
    u = _uncertainty(t, unit, loc, sheet)
    one = Observation(
        of=t.of,
        place=where,
        answer=t.answer,
        method=t.method or "",
        by=t.by or "",
        note=t.note or "",
        before=t.before or "",
        after=t.after or "",
    )
    if tables:
        return tuple(replace(one, place=at, answer=answer) for at, answer in tables[given[0]].items())
    if unit is None:
        return (one,)
    readings = getattr(t, f"readings_{unit}") or ()
    return (replace(one, value=getattr(t, f"value_{unit}"), readings=readings, unit=unit, u=u),)


def _uncertainty(
    t: ObservationTable, unit: str | None, loc: Sequence[str | int], sheet: _Sheet
) -> float | None:
    given = [u for u in UNITS if getattr(t, f"u_{u}") is not None]
    wrong = [u for u in given if u != unit]
    if wrong:
        do = f"Write u_{unit}." if unit is not None else "Take it out: an answer in words has none."
        raise sheet.bad(
            (*loc, f"u_{wrong[0]}"),
            f"its number is in {unit}" if unit is not None else "an uncertainty stands without its number",
            do,
        )
    found: float | None = getattr(t, f"u_{unit}") if unit is not None else None
    return found
