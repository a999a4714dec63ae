"""From the files of drawings to what the documents draw: every stroke read, every name known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from handsel.data.checked import checked
from handsel.data.figure_tables import VIEWS, DetailsFile, DetailTable, FiguresFile, FigureTable
from handsel.data.places import near, place
from handsel.data.strokes import BadStroke, Stroke, strokes
from handsel.data.toml_file import read_toml
from handsel.errors import BadFile
from handsel.inspection.protocol import Protocol

BUNDLED = Path(__file__).parent / "figures"
DETAILS = "details"


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """One place seen close. `bad` empty: one picture, not two."""

    id: str
    handed: bool
    good: tuple[Stroke, ...]
    bad: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """The drawing of one characteristic, as data."""

    view: str
    shows: tuple[str, ...]
    at: tuple[str, ...]
    region: str
    detail: Detail | None
    either: bool
    mirror: bool
    also: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """How the hand is held for one group."""

    view: str
    shows: tuple[str, ...]
    turn: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """All drawings of one protocol, by the ids of its characteristics and groups."""

    protocol: str
    figures: Mapping[str, Figure]
    held: Mapping[str, Held]
    details: Mapping[str, Detail]


def load_figures(source: str | Path, details: str | Path = DETAILS) -> Figures:
    """The drawings of a protocol.

    Parameters: source, the id of a protocol whose drawings are bundled, or the path of a TOML file in
        the format handsel-figures/1; details, as source, for the vocabulary, handsel-details/1.
    Returns: Figures.
    Raises: BadFile naming file, table, key, what is wrong and how to mend it.
    Valid for: as read_toml.    Source: own formats.    Checked by: unit/test_figures_data.py
    """
    known = _details(figures_path(details))
    path = figures_path(source)
    data = read_toml(path)
    file = checked(FiguresFile, data, path)
    _once([f.of for f in file.figure], "figure", path, data)
    _once([h.of for h in file.held], "held", path, data)
    return Figures(
        protocol=file.protocol,
        figures={f.of: _figure(f, k, known, path, data) for k, f in enumerate(file.figure)},
        held={h.of: Held(view=h.view, shows=h.shows, turn=h.turn) for h in file.held},
        details=known.details,
    )


@lru_cache(maxsize=16)
def figures_of(protocol_id: str) -> Figures:
    """The bundled drawings of a protocol; without any of its own, the bare vocabulary.

    Parameters: protocol_id, as the protocol names itself.
    Returns: Figures; empty of figures for a protocol of your own.
    Raises: BadFile when a bundled file is damaged.
    Valid for: an installed package.    Source: the files beside this module.
    Checked by: unit/test_figures_data.py
    """
    if protocol_id in bundled_figures():
        return load_figures(protocol_id)
    known = _details(figures_path(DETAILS))
    return Figures(protocol=protocol_id, figures={}, held={}, details=known.details)


def bundled_figures() -> tuple[str, ...]:
    """Ids of the protocols whose drawings come with the program.

    Parameters: none.    Returns: ids, sorted.    Raises: nothing of its own.
    Valid for: an installed package.    Source: the files beside this module.
    Checked by: unit/test_figures_data.py
    """
    return tuple(sorted(p.stem for p in BUNDLED.glob("*.toml") if p.stem != DETAILS))


def figures_path(source: str | Path) -> Path:
    """The file that an id or path means. Raises BadFile for an id that is not bundled."""
    if isinstance(source, Path) or source.endswith(".toml") or "/" in source or "\\" in source:
        return Path(source)
    known = (*bundled_figures(), DETAILS)
    if source not in known:
        raise BadFile(
            "there are no bundled drawings of this name",
            where=f"drawings {source[:60]!r}",
            do=f"{near(source[:60], known)} Or give the path of a .toml file.",
        )
    return BUNDLED / f"{source}.toml"


def strangers(figures: Figures, protocol: Protocol) -> tuple[str, ...]:
    """What drawings and protocol do not agree about, in words; empty when all is well.

    Parameters: figures; protocol.    Returns: one sentence a difference.    Raises: nothing.
    Valid for: any pair.    Source: own rule.    Checked by: unit/test_figures_data.py
    """
    ids = {c.id for c in protocol.characteristics}
    groups = {g.id for h in protocol.hold_points for g in h.groups}
    said = [f'"{c}" has no figure.' for c in sorted(ids - set(figures.figures))]
    said += [f'The protocol has no characteristic "{c}".' for c in sorted(set(figures.figures) - ids)]
    said += [
        f'The group "{g}" has no drawing of how the hand is held.' for g in sorted(groups - set(figures.held))
    ]
    said += [f'The protocol has no group "{g}".' for g in sorted(set(figures.held) - groups)]
    return tuple(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """What the figures of a protocol may name."""

    stamps: Mapping[str, tuple[str, ...]]
    details: Mapping[str, Detail]


def _details(path: Path) -> _Known:
    data = read_toml(path)
    file = checked(DetailsFile, data, path)
    _once([s.id for s in file.stamp], "stamp", path, data)
    _once([d.id for d in file.detail], "detail", path, data)
    stamps = {s.id: s.strokes for s in file.stamp}
    for k, s in enumerate(file.stamp):
        _drawn(s.strokes, stamps, (path, data, ("stamp", k, "strokes")))
    details = {d.id: _detail(d, stamps, (path, data, k)) for k, d in enumerate(file.detail)}
    return _Known(stamps=stamps, details=details)


def _detail(d: DetailTable, stamps: Mapping[str, tuple[str, ...]], at: tuple[Path, Any, int]) -> Detail:
    path, data, k = at
    part = {
        key: _drawn(getattr(d, key), stamps, (path, data, ("detail", k, key)))
        for key in ("both", "good", "bad", "over")
    }
    if not (d.both or d.good or d.over):
        raise BadFile(
            "it draws nothing",
            where=place(path, data, ("detail", k)),
            do='Give it strokes under "both", "good" or "over".',
        )
    bad = part["both"] + part["bad"] + part["over"] if d.bad else ()
    return Detail(id=d.id, handed=d.handed, good=part["both"] + part["good"] + part["over"], bad=bad)


def _figure(f: FigureTable, k: int, known: _Known, path: Path, data: Any) -> Figure:
    for name in f.at:
        if name not in VIEWS[f.view]:
            raise BadFile(
                f'the view "{f.view}" has no place "{name}"',
                where=place(path, data, ("figure", k, "at")),
                do=near(name, VIEWS[f.view]),
            )
    if f.detail is not None and f.detail not in known.details:
        raise BadFile(
            f'there is no detail "{f.detail}"',
            where=place(path, data, ("figure", k, "detail")),
            do=near(f.detail, known.details),
        )
    return Figure(
        view=f.view,
        shows=f.shows,
        at=f.at,
        region=f.region,
        detail=known.details[f.detail] if f.detail is not None else None,
        either=f.either,
        mirror=f.mirror,
        also=_drawn(f.also, known.stamps, (path, data, ("figure", k, "also"))),
    )


def _drawn(
    lines: Sequence[str], stamps: Mapping[str, tuple[str, ...]], at: tuple[Path, Any, tuple[str | int, ...]]
) -> tuple[Stroke, ...]:
    path, data, loc = at
    found: list[Stroke] = []
    for k, line in enumerate(lines):
        try:
            found += strokes((line,), stamps)
        except BadStroke as error:
            raise BadFile(
                str(error),
                where=f"{place(path, data, loc)} {k + 1}",
                do="Mend that stroke; the language is explained in handsel.data.strokes.",
            ) from None
    return tuple(found)


def _once(ids: Sequence[str], table: str, path: Path, data: Any) -> None:
    for k, name in enumerate(ids):
        if name in ids[:k]:
            raise BadFile(
                f'"{name}" stands twice',
                where=place(path, data, (table, k)),
                do="Keep one of them, or rename it.",
            )
