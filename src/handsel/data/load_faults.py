"""From a fault catalogue file to the catalogue that the diagnosis works with."""

from __future__ import annotations

import json
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from string import Formatter
from typing import Any

from handsel.data.checked import checked
from handsel.data.fault_tables import TARGETS, WORDS, FaultTable, FaultTables, ObservableTable
from handsel.data.places import near, place, shown_plain
from handsel.data.toml_file import TomlFile, text_of_file, toml_of_text
from handsel.diagnosis.catalogue import (
    HAND,
    Catalogue,
    Effect,
    FaultKind,
    Limit,
    Observable,
    Severity,
    Sign,
    Spread,
    Together,
)
from handsel.diagnosis.hands import column_of
from handsel.errors import BadFile
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import NumberRule

BUNDLED = Path(__file__).parent / "faults"


def load_faults(source: str | Path, protocol: Protocol) -> Catalogue:
    """A fault catalogue, bundled or your own, held against its protocol.

    Parameters: source, the name of a bundled catalogue, or the path of a TOML file in the format
        handsel-faults/1 (a Path, or a text with a folder or .toml in it); protocol that it goes with.
    Returns: Catalogue.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: as read_toml.
    Source: own format; its JSON Schema is `handsel schema faults`.
    Checked by: unit/test_load_faults.py
    """
    path = _path(source)
    file, tables = _tables(path)
    _check(tables, file.data, path, protocol)
    looks = tuple(_observable(t) for t in tables.observable)
    limits = _limits(looks, protocol)
    return Catalogue(
        id=tables.id,
        title=tables.title,
        version=tables.version,
        protocol=tables.protocol,
        sha256=file.sha256,
        physics_sha256=_physics(tables, limits),
        spread=Spread(**tables.spread.model_dump()),
        kinds=tuple(_kind(t) for t in tables.fault),
        together=tuple(Together(kinds=t.kinds, times=t.times, why=t.why) for t in tables.together),
        observables=looks,
        limits=limits,
        cord_of_digit={d.id: d.cord for d in protocol.digits},
        **(tables.mistakes.model_dump() if tables.mistakes else {}),
        **(tables.brought.model_dump() if tables.brought else {}),
    )


def faults_text(source: str | Path) -> str:
    """The text of a fault catalogue, as a hand's record keeps it; its fingerprint is the catalogue's.

    Parameters: source, as load_faults.
    Returns: text, checked to be a catalogue's tables.
    Raises: as load_faults.    Valid for: as load_faults.
    Source: own format.    Checked by: unit/test_load_faults.py
    """
    return _tables(_path(source))[0].text


def _tables(path: Path) -> tuple[TomlFile, FaultTables]:
    return _tables_in(text_of_file(path), str(path))


@lru_cache(maxsize=4)  # asked for with every new hand, and nobody changes the tables
def _tables_in(text: str, where: str) -> tuple[TomlFile, FaultTables]:
    file = toml_of_text(text, shown_plain(where))
    return file, checked(FaultTables, file.data, Path(where))


def _path(source: str | Path) -> Path:
    if isinstance(source, Path) or "/" in source or "\\" in source or source.endswith(".toml"):
        return Path(source)
    path = BUNDLED / f"{source}.toml"
    if not path.is_file():
        known = [p.stem for p in BUNDLED.glob("*.toml")]
        what = f'there is no bundled fault catalogue "{shown_plain(source[:60])}"'
        raise BadFile(what, where="fault catalogue", do=near(source, known))
    return path


def _kind(t: FaultTable) -> FaultKind:
    return FaultKind(
        id=t.id,
        title=t.title,
        places=t.places or (HAND,),
        prior=t.prior,
        severity=Severity(**t.severity.model_dump()) if t.severity else None,
        effects=tuple(Effect(**e.model_dump()) for e in t.effect),
        signs=tuple(Sign(**s.model_dump()) for s in t.shows),
        where=t.where,
        also=t.also or "",
        fails=t.fails,
    )


def _observable(t: ObservableTable) -> Observable:
    given = t.model_dump()
    given["places"] = t.places or (HAND,)
    given["question"] = t.question or ""
    return Observable(**given)


def _limits(looks: tuple[Observable, ...], protocol: Protocol) -> tuple[Limit, ...]:
    """What the protocol asks of the quantities that are simulated."""
    out = []
    for o in looks:
        c = protocol.characteristic(o.id)
        if c is None or not o.reads:
            continue
        low: float | None = None
        high: float | None = None
        if isinstance(c.rule, NumberRule):
            if c.rule.limits is None:
                continue
            low, high = c.rule.limits.low, c.rule.limits.high
        elif set(c.rule.accepted) >= set(o.answers):
            continue
        elif o.kind == "meets":
            columns = tuple(f"{o.reads}@{finger}" for finger in ("index", "middle"))
            out.append(Limit(columns=columns, low=None, high=o.cuts[0]))
            continue
        else:
            edges = (None, *o.cuts, None)
            good = [k for k, answer in enumerate(o.answers) if answer in c.rule.accepted]
            low, high = edges[good[0]], edges[good[-1] + 1]
        out += [Limit(columns=(column_of(o, place),), low=low, high=high) for place in o.places]
    return tuple(out)


def _physics(t: FaultTables, limits: tuple[Limit, ...]) -> str:
    """Fingerprint of what simulated hands depend on: no prior, no rate, no text."""
    kept: dict[str, Any] = {
        "spread": t.spread.model_dump(),
        "faults": [
            [
                f.id,
                f.places,
                f.severity.model_dump() if f.severity else None,
                [e.model_dump() for e in f.effect],
                bool(f.fails),
            ]
            for f in t.fault
        ],
        "reads": sorted({(o.reads, o.places) for o in t.observable if o.reads}),
        "limits": [[limit.columns, limit.low, limit.high] for limit in limits],
    }
    return sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()


def _check(t: FaultTables, data: dict[str, Any], path: Path, protocol: Protocol) -> None:
    """What the schema cannot say: names that must be known, patterns, order of numbers."""

    def bad(loc: tuple[str | int, ...], what: str, do: str) -> BadFile:
        return BadFile(what, where=place(path, data, loc), do=do)

    if t.protocol != protocol.id:
        raise bad(("protocol",), f'it goes with "{t.protocol}", not "{protocol.id}"', "Name that protocol.")
    for key, ids in (("fault", [f.id for f in t.fault]), ("observable", [o.id for o in t.observable])):
        for i, id in enumerate(ids):
            if id in ids[:i]:
                raise bad((key, i, "id"), f'"{id}" stands twice', "Give each its own id.")
    if t.brought and t.brought.faultless_share + t.brought.two_share >= 1.0:
        raise bad(("brought", "two_share"), "nothing is left for hands with one fault", "Lower it.")
    looks = {o.id: o for o in t.observable}
    kinds = {f.id for f in t.fault}
    for i, f in enumerate(t.fault):
        s = f.severity
        if s and not s.low <= s.typical <= s.high:
            raise bad(("fault", i, "severity"), "low, typical and high are not in order", "Order them.")
        for j, e in enumerate(f.effect):
            if e.to not in TARGETS[e.do]:
                raise bad(
                    ("fault", i, "effect", j, "to"),
                    f'"{e.do}" cannot be done to "{e.to}"',
                    near(e.to, TARGETS[e.do]),
                )
            _pattern(e.at, ("fault", i, "effect", j, "at"), bad)
        for j, sign in enumerate(f.shows):
            loc = ("fault", i, "shows", j)
            look = looks.get(sign.of)
            if look is None or look.kind != "look":
                do = near(sign.of, [o for o, x in looks.items() if x.kind == "look"])
                raise bad((*loc, "of"), f'"{sign.of}" is no look of this catalogue', do)
            _pattern(sign.place, (*loc, "place"), bad)
        for pattern, key in ((f.title, "title"), (f.where, "where"), (f.fails, "fails")):
            _pattern(pattern, ("fault", i, key), bad)
        for place_ in f.places or (HAND,):
            named = f.fails.replace("{joint}", place_.partition(".")[2])
            if named and protocol.characteristic(named) is None:
                do = near(named, [c.id for c in protocol.characteristics])
                raise bad(("fault", i, "fails"), f'"{named}" is no characteristic of the protocol', do)
    for i, together in enumerate(t.together):
        for kind in together.kinds:
            if kind not in kinds:
                raise bad(("together", i, "kinds"), f'there is no fault "{kind}"', near(kind, kinds))
    for i, o in enumerate(t.observable):
        _check_look(o, ("observable", i), bad)


def _check_look(o: ObservableTable, loc: tuple[str | int, ...], bad: Any) -> None:
    if o.kind != "look" and not o.reads:
        raise bad((*loc, "reads"), "no quantity stands behind it", "Name one, or make it a look.")
    if o.kind == "number" and o.sd <= 0:
        raise bad((*loc, "sd"), "a number needs its sd", "Give the standard deviation of one reading.")
    if o.kind == "answers" and len(o.cuts) != len(o.answers) - 1:
        raise bad((*loc, "cuts"), f"{len(o.answers)} answers need {len(o.answers) - 1} cuts", "Give as many.")
    if o.kind in ("answers", "meets") and (o.cut_sd <= 0 or list(o.cuts) != sorted(o.cuts)):
        raise bad((*loc, "cuts"), "cuts must rise and cut_sd be more than 0", "Order them; give the blur.")
    if o.kind == "look" and not (o.answers_at or len(o.answers) == 2):
        raise bad((*loc, "answers"), "a look has two answers", "Give what it should be first.")
    if o.answers_at is not None and set(o.answers_at) != set(o.places):
        raise bad((*loc, "answers_at"), "it does not name exactly the places", "Give answers for each place.")


def _pattern(text: str, loc: tuple[str | int, ...], bad: Any) -> None:
    try:
        names = {name for _, name, spec, how in Formatter().parse(text) if name is not None or spec or how}
    except ValueError:
        raise bad(loc, "its braces do not pair", "Write {place} with both braces.") from None
    for name in names:
        if name not in WORDS:
            raise bad(loc, f'"{{{name}}}" is not known', f"Use one of: {', '.join(WORDS)}.")
