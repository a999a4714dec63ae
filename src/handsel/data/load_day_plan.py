"""From a day's file to the day that is planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsel import __version__
from handsel.data.checked import checked
from handsel.data.day_tables import DayHandTable, DayTables, ReworkAtTable, WayTable
from handsel.data.load_case import load_case
from handsel.data.load_design import design_from_data, design_path
from handsel.data.load_protocol import load_protocol
from handsel.data.places import place, shown_plain
from handsel.data.toml_file import read_toml, read_toml_file
from handsel.errors import BadFile, OutOfRange
from handsel.inspection.protocol import HAND, Protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.assessment import assess
from handsel.rework.day.model import Day, InWork, OpenHand, Person, Way
from handsel.rework.result import Assessment
from handsel.rework.ways import UNKNOWN_SUCCESS, way_of_reworks, ways_of_assessment


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFile:
    """A day, and the hands of its file that there is nothing to plan for."""

    day: Day
    done: tuple[str, ...]  # sentences: a hand that conforms already, or needs a reading first


def load_day(path: str | Path) -> DayFile:
    """The day that a file describes.

    Parameters: path of a TOML file in the format handsel-day/1.
    Returns: DayFile.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it; BadCase for a case file
        that does not fit the protocol.
    Valid for: as read_toml. A hand with a case takes its fix from `assess`.
    Source: own format; `handsel schema day` prints it.
    Checked by: unit/test_load_day.py
    """
    data = read_toml(path)
    return day_of(checked(DayTables, data, path), data, path)


def day_of(tables: DayTables, data: dict[str, Any], path: str | Path) -> DayFile:
    """The day of checked tables, with what the schema cannot say checked too."""
    sheet = _Sheet(data=data, path=path, protocol=_protocol(tables.protocol, path))
    hands: list[OpenHand] = []
    done: list[str] = []
    for k, table in enumerate(tables.hand):
        made = _hand(table, k, sheet)
        if isinstance(made, OpenHand):
            hands.append(made)
        else:
            done.append(made)
    try:
        day = Day(
            closing_min=tables.closing_min,
            hands=tuple(hands),
            people=tuple(
                Person(
                    id=p.id,
                    skills=frozenset(p.skills),
                    from_min=p.from_min,
                    until_min=tables.closing_min if p.until_min is None else p.until_min,
                )
                for p in tables.person
            ),
            spares=tables.spares,
            other_eyes=tables.other_eyes,
            severity_weight=tables.severity_weight.model_dump(),
            waiting_weight=tables.waiting_weight.model_dump(),
        )
    except OutOfRange as wrong:
        raise BadFile(wrong.what, where=f"{shown_plain(str(path))}, {wrong.where}", do=wrong.do) from None
    return DayFile(day=day, done=tuple(done))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """The file's data, for saying where in it something stands."""

    data: dict[str, Any]
    path: str | Path
    protocol: Protocol

    def bad(self, loc: Sequence[str | int], what: str, do: str) -> BadFile:
        return BadFile(what, where=place(self.path, self.data, loc), do=do)


def _protocol(source: str, path: str | Path) -> Protocol:
    beside = Path(path).parent / source
    return load_protocol(beside if source.endswith(".toml") and beside.is_file() else source)


def _hand(t: DayHandTable, k: int, sheet: _Sheet) -> OpenHand | str:
    found = _assessed(t, k, sheet) if t.case is not None else None
    code, serial = _named(t, found, k, sheet)
    ways = tuple(_way(w, t, ("hand", k, "way", i), sheet) for i, w in enumerate(t.way))
    severity = t.severity
    if found is not None:
        ways = (*ways, *ways_of_assessment(found))
        blocking = [i.severity for i in found.inspection.open_items if i.blocks]
        severity = severity or (blocking[0] if blocking else None)
        if not ways:
            if found.conforms:
                return f"{code} ({serial}) conforms already."
            return f"{code} ({serial}) needs a reading before anything is changed. {found.sentence}"
    if not ways:
        raise sheet.bad(
            ("hand", k),
            "it has no way to be put right",
            "Add [[hand.way]], or a case with the hand's readings.",
        )
    return OpenHand(
        code=code,
        serial=serial,
        ways=ways,
        severity=severity or "major",
        waiting=t.waiting,
        in_work=_in_work(t, ways, k, sheet),
    )


def _named(t: DayHandTable, found: Assessment | None, k: int, sheet: _Sheet) -> tuple[str, str]:
    hand = found.inspection.case.hand if found is not None else None
    code = t.code or (hand.code if hand is not None else None)
    serial = t.serial or (hand.serial if hand is not None else None)
    if code is None or serial is None:
        missing = "code" if code is None else "serial"
        raise sheet.bad(("hand", k), f'the key "{missing}" is missing', "Add it, or a case that has it.")
    return code, serial


def _in_work(t: DayHandTable, ways: tuple[Way, ...], k: int, sheet: _Sheet) -> InWork | None:
    if t.in_work is None:
        return None
    way = t.in_work.way or ways[0].id
    if way not in {w.id for w in ways}:
        known = ", ".join(w.id for w in ways)
        raise sheet.bad(("hand", k, "in_work", "way"), f"it has no way {way!r}", f"Use one of: {known}.")
    return InWork(way=way, by=t.in_work.by, minutes_left=t.in_work.minutes_left, looking=t.in_work.looking)


def _way(t: WayTable, hand: DayHandTable, loc: tuple[str | int, ...], sheet: _Sheet) -> Way:
    p = UNKNOWN_SUCCESS if t.p_success is None else t.p_success
    if t.rework is not None:
        return _from_protocol(t, t.rework, hand, p, loc, sheet)
    missing = [key for key in ("title", "minutes", "recheck_minutes") if getattr(t, key) is None]
    if t.minutes and t.skill is None:
        missing.append("skill")
    if missing or t.title is None or t.minutes is None or t.recheck_minutes is None:
        raise sheet.bad(
            loc,
            f'the key "{missing[0]}" is missing',
            "Add it; or name reworks of the protocol with rework, from which it follows.",
        )
    return Way(
        id=t.id or f"way-{int(loc[-1]) + 1}",
        title=t.title,
        minutes=t.minutes,
        skill=t.skill or "",
        recheck_minutes=t.recheck_minutes,
        wait_minutes=t.wait_minutes,
        p_success=p,
        spares=t.spares or {},
    )


def _from_protocol(
    t: WayTable,
    reworks: Sequence[ReworkAtTable],
    hand: DayHandTable,
    p: float,
    loc: tuple[str | int, ...],
    sheet: _Sheet,
) -> Way:
    given = [key for key in ("minutes", "skill", "recheck_minutes", "spares") if getattr(t, key) is not None]
    if given:
        raise sheet.bad(
            (*loc, given[0]), "it follows from the reworks named above", "Take it out, or take rework out."
        )
    done = []
    for i, r in enumerate(reworks):
        places = {key: value for key in ("digit", "cord", "knot") if (value := getattr(r, key)) is not None}
        if len(places) > 1:
            raise sheet.bad(
                (*loc, "rework", i), f"it names {' and '.join(places)}", "Keep the one that is meant."
            )
        done.append(ReworkDone(rework=r.do, place=next(iter(places.values()), HAND)))
    try:
        way = way_of_reworks(
            done, sheet.protocol, hold_point=hand.hold_point, p_success=p, id=t.id or "", title=t.title or ""
        )
    except OutOfRange as wrong:
        raise sheet.bad((*loc, "rework"), wrong.what, wrong.do) from None
    if not t.wait_minutes:
        return way
    return replace(way, wait_minutes=t.wait_minutes)


def _assessed(t: DayHandTable, k: int, sheet: _Sheet) -> Assessment:
    file = Path(sheet.path).parent / str(t.case)
    case = load_case(file)
    source = design_path(case.hand.design)
    text = read_toml_file(source)
    return assess(
        case,
        sheet.protocol,
        design_from_data(text.data, source),
        design_sha256=text.sha256,
        protocol_sha256=sheet.protocol.sha256,
        program_version=__version__,
    )
