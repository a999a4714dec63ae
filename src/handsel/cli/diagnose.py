"""`handsel diagnose CASE.toml`: the probable causes of what was seen of a hand, and what to look at next."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from handsel.data.library_store import LibraryPlace
    from handsel.diagnosis.catalogue import Catalogue
    from handsel.diagnosis.library import Library

NOTHING_WRONG, SOMETHING = 0, 1  # 2, bad input, is the command's own
NOT_STRUNG = (
    "This hand is not strung yet: cords and elastics cannot be at fault, and what is wrong with a part shows by "
    "itself. Assess it or plan it as it is; --all holds it against strung hands all the same."
)


@click.command(name="diagnose")
@click.argument("case", type=click.Path(path_type=Path), metavar="CASE.toml")
@click.option("--json", "as_json", is_flag=True, help="Print all as JSON (see: handsel schema diagnosis).")
@click.option(
    "--quick", is_flag=True, help="Use what there is of the simulated hands; make at most one round."
)
@click.option(
    "--all", "show_all", is_flag=True, help="Show everything that was seen against what was expected."
)
@click.option("--faults", default="wrist-hand-1", metavar="NAME|FILE", help="Look for these causes.")
@click.option("--protocol", default="wrist-hand-1", metavar="NAME|FILE", help="The protocol of the case.")
@click.option("--design", metavar="FILE", help="Take the design from this file, not the bundled one.")
def command(
    case: Path, as_json: bool, quick: bool, show_all: bool, faults: str, protocol: str, design: str | None
) -> None:
    """Name the probable causes of what was seen of one hand, and the next thing to look at.

    CASE.toml is the same as for `handsel assess`; it may also answer what only a diagnosis asks. Hands are
    simulated once for each design and size, some minutes of work in the background, and kept in your cache
    folder, where they can be deleted at any time.

    Exit status: 0, nothing seems wrong; 1, something is, or it is open; 2, a file could not be used.
    """
    from handsel.data.load_case import load_case
    from handsel.data.load_design import design_from_data, design_path
    from handsel.data.load_faults import load_faults
    from handsel.data.load_protocol import load_protocol
    from handsel.data.toml_file import read_toml_file
    from handsel.diagnosis.from_case import seen_in_case
    from handsel.diagnosis.posterior import diagnose
    from handsel.rework.hand.plain import is_strung

    seen_case = load_case(case)
    rules = load_protocol(protocol)
    catalogue = load_faults(faults, rules)
    path = design_path(design or seen_case.hand.design)
    file = read_toml_file(path)
    if not (as_json or show_all or is_strung(rules, seen_case.hand.hold_point)):
        click.echo(NOT_STRUNG)
        sys.exit(SOMETHING)
    seen = seen_in_case(seen_case, rules, catalogue)
    library, at = _library(
        catalogue, design_from_data(file.data, path), file.sha256, seen_case.hand.scale_ratio, quick
    )
    bench = None if quick else at.bench()
    found = diagnose(library, catalogue, seen, scale_ratio=seen_case.hand.scale_ratio, bench=bench)
    if as_json:
        from handsel.data.diagnosis_tables import diagnosis_table

        told = diagnosis_table(
            found,
            case=seen_case.name,
            catalogue=f"{catalogue.id} {catalogue.version}",
            catalogue_sha256=catalogue.sha256,
        )
        click.echo(told.model_dump_json(indent=2))
    else:
        from handsel.cli.diagnosis_shown import show
        from handsel.cli.terminal import console

        show(console(), found, len(seen), show_all=show_all)
    sys.exit(NOTHING_WRONG if found.says_nothing_wrong else SOMETHING)


def _library(
    catalogue: Catalogue, design: object, sha256: str, scale_ratio: float, quick: bool
) -> tuple[Library, LibraryPlace]:
    """The simulated hands for this size, made where they are missing."""
    from handsel.data.library_store import (
        build_library,
        library_place,
        load_library,
        lower_priority,
        rounds_there,
    )
    from handsel.design.model import Design
    from handsel.diagnosis.library import ROUNDS

    if not isinstance(design, Design):
        raise TypeError("not a design")
    at = library_place(catalogue, design, sha256, scale_ratio)
    known = load_library(at)
    if known is not None and (known.rounds == ROUNDS or quick):
        return known, at
    lower_priority()
    rounds = (0,) if quick else tuple(range(ROUNDS))
    with _progress(len(rounds), rounds_there(at)) as told:
        return build_library(at, rounds=rounds, progress=told), at


@contextmanager
def _progress(total: int, there: int) -> Iterator[Callable[[int, int], None]]:
    """A bar on the error stream; at no terminal, one line at the beginning."""
    words = "simulating hands of this size, once"
    if not sys.stderr.isatty():
        click.echo(f"{words}: {there} of {total} rounds are there ...", err=True)
        yield lambda done, total: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from handsel.cli.terminal import console

    columns = (TextColumn(words), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=total)
        yield lambda done, total: bar.update(task, completed=done)
