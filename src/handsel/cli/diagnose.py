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

    from rich.console import Console

    from handsel.data.library_store import LibraryPlace
    from handsel.diagnosis.catalogue import Catalogue
    from handsel.diagnosis.library import Library
    from handsel.diagnosis.result import Cause, Diagnosis, NextCheck

NOTHING_WRONG, SOMETHING = 0, 1  # 2, bad input, is the command's own
FEW = 5
AWAY_P = 0.1  # what was seen is this unlikely: worth a second look


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

    seen_case = load_case(case)
    rules = load_protocol(protocol)
    catalogue = load_faults(faults, rules)
    path = design_path(design or seen_case.hand.design)
    file = read_toml_file(path)
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
        _show(found, len(seen), show_all)
    wrong = found.none_fits or found.faultless_p < 0.5
    sys.exit(SOMETHING if wrong else NOTHING_WRONG)


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


def _show(d: Diagnosis, looks: int, show_all: bool) -> None:
    from rich.text import Text

    from handsel.cli.terminal import console

    out = console()
    out.print(Text(d.sentence, style="bold"))
    if d.causes and not d.none_fits:
        out.print()
        for cause in d.causes[:FEW]:
            _cause(out, cause)
        _line(out, d.faultless_p, "nothing is wrong", "")
    if d.next_checks and not d.certain:
        out.print()
        out.print(Text("Look next", style="bold"))
        for check in d.next_checks[: 3 if not show_all else None]:
            _check(out, check)
    _against(out, d, show_all)
    out.print()
    share = "" if d.library_share >= 1.0 else f", {100 * d.library_share:.0f} % of them made so far"
    note = f"From {looks} answers, held against simulated hands at {100 * d.scale_ratio:.1f} %{share}."
    out.print(Text(note, style="dim"))
    advice = "It advises. A person looks, decides and says so; local rules and licensed practice come first."
    out.print(Text(advice, style="dim"))


def _line(out: Console, probability: float, title: str, more: str) -> None:
    from rich.text import Text

    from handsel.diagnosis.wording import percent

    text = Text(f"  {percent(probability):>5}  {title}")
    if more:
        text.append(f"  {more}", style="dim")
    out.print(text)


def _cause(out: Console, cause: Cause) -> None:
    s = cause.severity
    more = "" if s is None else f"about {s.value:.2g} {s.unit} ({s.low:.2g} to {s.high:.2g})"
    _line(out, cause.probability, cause.title, more)


def _check(out: Console, check: NextCheck) -> None:
    from rich.text import Text

    from handsel.diagnosis.wording import capital, next_words

    words = check.question or capital(next_words(check))
    place = f"  [{check.place}]" if check.place and check.question else ""
    answers = f" ({' / '.join(check.answers)})" if check.answers else f" ({check.unit})"
    text = Text(f"    {words}{place}{answers}")
    text.append(f"  {check.minutes:g} min", style="dim")
    out.print(text)


def _against(out: Console, d: Diagnosis, show_all: bool) -> None:
    """What was seen that the likeliest explanation would not lead one to expect."""
    from rich.text import Text

    from handsel.diagnosis.catalogue import spoken

    rows = [e for e in d.predicted if e.chance and (show_all or e.chance[0] < AWAY_P)]
    if not rows:
        return
    out.print()
    out.print(Text("Seen, and expected if the first cause is right", style="bold"))
    for e in rows if show_all else rows[:FEW]:
        where = f", {spoken(e.place)}" if e.place else ""
        seen = f"{e.seen} {e.unit}".strip()
        out.print(Text(f"    {e.title}{where}: {seen}; expected {e.expected[0]} {e.unit}".rstrip()))
