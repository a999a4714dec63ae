"""What the tables of a protocol must be to one another, so that no hand ends in a dead end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsel.data.case_tables import UNITS
from handsel.data.places import near, place
from handsel.data.protocol_tables import (
    CharacteristicTable,
    NumberTable,
    ProtocolTables,
    ReworkTable,
    StepTable,
)
from handsel.errors import BadFile
from handsel.inspection.protocol import CANNOT_TELL

Loc = Sequence[str | int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """The tables, and what is needed to say where in the file something stands."""

    tables: ProtocolTables
    data: dict[str, Any]
    path: str | Path

    def bad(self, loc: Loc, what: str, do: str) -> BadFile:
        """The error for something that does not fit."""
        return BadFile(what, where=place(self.path, self.data, loc), do=do)

    def known(self, loc: Loc, ids: Iterable[str], known: Iterable[str], kind: str) -> None:
        """Refuse an id that nothing has."""
        known = list(known)
        for id in ids:
            if id not in known:
                raise self.bad(loc, f'there is no {kind} "{id}"', near(id, known))

    def unique(self, key: str, ids: Iterable[str], besides: Iterable[str] = ()) -> None:
        """Refuse an id that stands twice."""
        seen = set(besides)
        for i, id in enumerate(ids):
            if id in seen:
                raise self.bad((key, i), f'the id "{id}" stands twice', "Give one of them another id.")
            seen.add(id)


def number_of(c: CharacteristicTable) -> tuple[str, NumberTable] | None:
    """The unit and table of a characteristic's number, or None when it is answered in words."""
    found = [(u, n) for u in UNITS if (n := getattr(c, f"number_{u}")) is not None]
    return found[0] if found else None


def check_protocol(s: Sheet) -> None:
    """Hold a protocol's tables against one another.

    Parameters: s, the tables with their file.
    Returns: nothing.
    Raises: BadFile for the first thing that does not fit.
    Valid for: tables that fit the schema.
    Source: own rules; each keeps some hand from a dead end, or some check from never failing.
    Checked by: unit/test_load_protocol.py
    """
    t = s.tables
    groups = [g.id for h in t.hold_point for g in h.group]
    s.unique("digit", [d.id for d in t.digit])
    s.unique("knot", [k.id for k in t.knot])
    s.unique("hold_point", [h.id for h in t.hold_point])
    if len(set(groups)) < len(groups) or set(groups) & {h.id for h in t.hold_point}:
        raise s.bad(
            ("hold_point",),
            "two groups, or a group and a hold point, have one id",
            "Give each an id of its own.",
        )
    s.unique(
        "characteristic", [c.id for c in t.characteristic], besides=[*groups, *(h.id for h in t.hold_point)]
    )
    s.unique("step", [x.id for x in t.step])
    s.unique("rework", [r.id for r in t.rework], besides=[x.id for x in t.step])
    for i, knot in enumerate(t.knot):
        s.known(("knot", i, "digit"), [knot.digit], [d.id for d in t.digit], "digit")
    s.known(("rates_source",), [t.rates_source], t.sources, "source")
    for i, c in enumerate(t.characteristic):
        _check_characteristic(s, c, ("characteristic", i), groups)
    _check_conditions(s, groups)
    for i, step in enumerate(t.step):
        _check_step(s, step, ("step", i))
    for i, rework in enumerate(t.rework):
        _check_rework(s, rework, ("rework", i), groups)
    observables = [c.reads for c in t.characteristic if c.reads is not None]
    if len(set(observables)) < len(observables):
        twice = next(o for o in observables if observables.count(o) > 1)
        raise s.bad(
            ("characteristic",), f'two characteristics give the observable "{twice}"', "Keep one of them."
        )


def _check_characteristic(s: Sheet, c: CharacteristicTable, loc: Loc, groups: list[str]) -> None:
    t = s.tables
    s.known((*loc, "held"), [c.held], groups, "group")
    s.known((*loc, "rework"), c.rework, [r.id for r in t.rework], "rework")
    s.known((*loc, "faults"), c.faults, t.faults, "fault")
    s.known((*loc, "source"), [c.source], t.sources, "source")
    s.known((*loc, "rates_source"), [c.rates_source or t.rates_source], t.sources, "source")
    numbers = [u for u in UNITS if getattr(c, f"number_{u}") is not None]
    if len(numbers) > 1 or (numbers and (c.accept is not None or "answers" in c.model_fields_set)):
        raise s.bad(loc, "it is answered in more than one way", "Keep one number, or the answers in words.")
    number = number_of(c)
    if number is not None:
        decides = _check_number(s, number[1], (*loc, f"number_{number[0]}"))
    else:
        decides = _check_answers(s, c, loc)
    if decides and not c.rework:
        raise s.bad(loc, "it can fail, and nothing is named that puts it right", "Add rework = [ .. ].")
    if c.reads is not None and ("{place}" in c.reads) != (c.per != "hand"):
        raise s.bad(
            (*loc, "reads"),
            f'the observable "{c.reads}" does not fit per = "{c.per}"',
            "Write {place} where the digit belongs, and only there.",
        )


def _check_answers(s: Sheet, c: CharacteristicTable, loc: Loc) -> bool:
    accepted = c.accept or ("yes",)
    s.known((*loc, "accept"), accepted, c.answers, "answer")
    if CANNOT_TELL in c.answers or len(set(c.answers)) < len(c.answers):
        raise s.bad(
            (*loc, "answers"),
            f'an answer stands twice, or "{CANNOT_TELL}" is among them',
            f'Name each once; "{CANNOT_TELL}" is always allowed.',
        )
    return set(accepted) != set(c.answers)


def _check_number(s: Sheet, n: NumberTable, loc: Loc) -> bool:
    low, high = n.plausible
    inside = [v for v in (n.min, n.max) if v is not None]
    if not low < high or any(not low < v < high for v in inside):
        raise s.bad(
            (*loc, "plausible"),
            "the limits do not lie between the plausible values",
            "Give the least and the greatest value that can be meant, outside of min and max.",
        )
    if n.min is not None and n.max is not None and n.min >= n.max:
        raise s.bad((*loc, "min"), f"min is {n.min:g} and max {n.max:g}", "Swap them, or mend the wrong one.")
    for i, advisory in enumerate(n.advisory):
        if advisory.rework is not None:
            s.known((*loc, "advisory", i), [advisory.rework], [r.id for r in s.tables.rework], "rework")
        if (advisory.above is None) == (advisory.below is None):
            raise s.bad(
                (*loc, "advisory", i), "it needs one of above and below", "Give the one that is meant."
            )
    for i, method in enumerate(n.methods):
        if method.u_common > method.u:
            raise s.bad(
                (*loc, "methods", i),
                f"u_common {method.u_common:g} is larger than u {method.u:g}",
                "u contains u_common: mend one of them.",
            )
    if (n.step is None) != (n.step_what is None) or n.step == 0:
        raise s.bad(
            (*loc, "step"),
            "step and step_what belong together, and a step changes something",
            "Give both or neither.",
        )
    return bool(inside)


def _check_conditions(s: Sheet, groups: list[str]) -> None:
    by_id = {c.id: c for c in s.tables.characteristic}
    for i, c in enumerate(s.tables.characteristic):
        loc = ("characteristic", i, "counts_only_if")
        s.known(loc, c.counts_only_if, by_id, "characteristic")
        waiting, seen = list(c.counts_only_if), set[str]()
        while waiting:
            id = waiting.pop()
            if id == c.id:
                raise s.bad(loc, "it would count only if it held itself", "Break the circle of conditions.")
            if id not in seen:
                seen.add(id)
                waiting += [x for x in by_id[id].counts_only_if if x in by_id]
        stages = {g.id: k for k, h in enumerate(s.tables.hold_point) for g in h.group}
        late = [id for id in c.counts_only_if if stages[by_id[id].held] > stages[c.held]]
        if late:
            raise s.bad(
                loc,
                f'the condition "{late[0]}" is only checked at a later hold point',
                "Check it at the same hold point or before.",
            )


def _check_step(s: Sheet, step: StepTable, loc: Loc) -> None:
    t = s.tables
    by_id = {c.id: c for c in t.characteristic}
    reworks = {r.id: r for r in t.rework}
    s.known((*loc, "after"), [step.after], [h.id for h in t.hold_point], "hold point")
    s.known((*loc, "needs"), step.needs, [x.id for x in t.step if x.id != step.id], "other step")
    s.known((*loc, "hides"), step.hides, by_id, "characteristic")
    s.known((*loc, "undo"), [step.undo], reworks, "rework")
    if step.id not in reworks[step.undo].reopens:
        raise s.bad(
            (*loc, "undo"),
            f'the rework "{step.undo}" does not reopen this step',
            f'Add "{step.id}" to its reopens, or name another rework.',
        )
    for id in step.hides:
        if by_id[id].substitute is None:
            raise s.bad(
                (*loc, "hides"),
                f'"{id}" is hidden by it and has no substitute check',
                "Give that characteristic a substitute = { .. }.",
            )


def _check_rework(s: Sheet, r: ReworkTable, loc: Loc, groups: list[str]) -> None:
    t = s.tables
    undoable = [c.id for c in t.characteristic] + groups + [h.id for h in t.hold_point]
    for key in ("undoes", "undoes_here", "undoes_loop"):
        s.known((*loc, key), getattr(r, key), undoable, "characteristic, group or hold point")
    s.known((*loc, "follow_up"), r.follow_up, [x.id for x in t.rework if x.id != r.id], "other rework")
    s.known((*loc, "reopens"), r.reopens, [x.id for x in t.step], "step")
    if r.per == "hand" and (r.undoes_here or r.undoes_loop):
        raise s.bad(
            loc, "it undoes something at its place, and it has none", 'Give it per = "digit", or use undoes.'
        )
