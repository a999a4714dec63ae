"""`handsel assess CASE.toml ...`: the answer for one hand or many."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import click

from handsel import __version__
from handsel.errors import BadFile, HandselError

if TYPE_CHECKING:
    from handsel.design.model import Design
    from handsel.inspection.protocol import Protocol
    from handsel.rework.result import Assessment

CONFORMS, NOT_YET, BAD_INPUT = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One case with its assessment, and the design at that hand's scale and side."""

    path: Path
    name: str  # of the files written for it, without ending
    assessment: Assessment
    design: Design


@dataclass(frozen=True, slots=True, kw_only=True)
class Unusable:
    """One case that could not be assessed."""

    path: Path
    error: HandselError


@click.command(name="assess")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CASE.toml...")
@click.option(
    "--json", "as_json", is_flag=True, help="Print the full result as JSON (see: handsel schema assessment)."
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write the drawing (SVG), the page for the bench (PDF) and the full result (JSON) into DIR.",
)
@click.option("--all", "show_all", is_flag=True, help="List every open item, not only the first few.")
@click.option("--protocol", default="wrist-hand-1", metavar="NAME|FILE", help="Judge by this protocol.")
@click.option("--design", metavar="FILE", help="Take the design from this file, not the bundled one.")
def command(
    cases: tuple[Path, ...],
    as_json: bool,
    out: Path | None,
    show_all: bool,
    protocol: str,
    design: str | None,
) -> None:
    """Judge finished hands, and say how to put them right.

    Each CASE.toml says what was seen and measured on one hand. The answer begins with one plain sentence.

    Exit status: 0, every hand conforms; 1, at least one does not, or is undecided; 2, a file could not be
    used.
    `handsel schema assessment` prints what the JSON holds.
    """
    answered: list[Answered] = []
    unusable: list[Unusable] = []
    names = _names(cases)
    with _progress(len(cases)) as done:
        for path, name in zip(cases, names, strict=True):
            try:
                found = _answer(path, name, protocol, design)
                if out is not None:
                    _write(found, out)
                answered.append(found)
            except HandselError as error:
                unusable.append(Unusable(path=path, error=error))
            done()
    if as_json:
        click.echo(_json(answered, unusable))
    else:
        _show(answered, unusable, out, show_all)
    if unusable:
        sys.exit(BAD_INPUT)
    sys.exit(CONFORMS if all(a.assessment.conforms for a in answered) else NOT_YET)


def _answer(path: Path, name: str, protocol_source: str, design_source: str | None) -> Answered:
    from handsel.data.load_case import load_case
    from handsel.design.placing import placed
    from handsel.rework.assessment import assess

    case = load_case(path)
    protocol = _protocol(protocol_source)
    design, design_sha256 = _design(design_source or case.hand.design)
    found = assess(
        case,
        protocol,
        design,
        design_sha256=design_sha256,
        protocol_sha256=protocol.sha256,
        program_version=__version__,
    )
    at_size = placed(design, scale_ratio=case.hand.scale_ratio, side=case.hand.side)
    return Answered(path=path, name=name, assessment=found, design=at_size)


@lru_cache(maxsize=8)
def _protocol(source: str) -> Protocol:
    from handsel.data.load_protocol import load_protocol

    return load_protocol(source)


@lru_cache(maxsize=8)
def _design(source: str) -> tuple[Design, str]:
    """A design and the fingerprint of its file."""
    from handsel.data.load_design import design_from_data, design_path
    from handsel.data.toml_file import read_toml_file

    path = design_path(source)
    file = read_toml_file(path)
    return design_from_data(file.data, path), file.sha256


def _names(cases: Sequence[Path]) -> list[str]:
    """What the files of each case are called: as the case, numbered where two are called alike."""
    names: list[str] = []
    for path in cases:
        name, n = path.stem or "case", 2
        while name in names:
            name, n = f"{path.stem}-{n}", n + 1
        names.append(name)
    return names


@contextmanager
def _progress(count: int) -> Iterator[Callable[[], None]]:
    """A bar on the error stream while several hands are assessed at a terminal; nothing otherwise."""
    if count < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from handsel.cli.terminal import console

    columns = (TextColumn("assessing"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task("assessing", total=count)
        yield lambda: bar.advance(task)


def _json(answered: Sequence[Answered], unusable: Sequence[Unusable]) -> str:
    from handsel.data.assessment_tables import AssessmentsTable, UnusableTable, assessment_table

    told = AssessmentsTable(
        assessments=tuple(assessment_table(a.assessment) for a in answered),
        unusable=tuple(
            UnusableTable(file=str(u.path), what=u.error.what, where=u.error.where, do=u.error.do)
            for u in unusable
        ),
    )
    return told.model_dump_json(indent=2)


def _write(found: Answered, folder: Path) -> None:
    from handsel.documents.bench_sheet import bench_sheet
    from handsel.documents.drawing import drawing

    files = {
        ".svg": drawing(found.design, found.assessment).encode(),
        ".pdf": bench_sheet(found.design, found.assessment),
        ".json": (_json([found], []) + "\n").encode(),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for ending, content in files.items():
            (folder / f"{found.name}{ending}").write_bytes(content)
    except OSError as error:
        raise BadFile(
            f"the results could not be written: {error.strerror or error}",
            where=str(folder),
            do="Name a folder with --out that you may write to and that has room.",
        ) from error


def _show(
    answered: Sequence[Answered], unusable: Sequence[Unusable], out: Path | None, show_all: bool
) -> None:
    from handsel.cli.answer import show_answer, show_count, show_unusable
    from handsel.cli.terminal import console

    page = console()
    several = len(answered) + len(unusable) > 1
    for k, found in enumerate(answered):
        if k:
            page.print()
        show_answer(page, found.path, found.assessment, brief=several and not show_all, show_all=show_all)
    if unusable:
        page.file.flush()
    for bad in unusable:
        show_unusable(console(stderr=True), bad.path, bad.error)
    if several:
        show_count(page, [a.assessment for a in answered], len(unusable))
    if out is not None and answered:
        page.print(f"\nDrawing (SVG), page for the bench (PDF) and full result (JSON): {out}")
