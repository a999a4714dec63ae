"""`handsel verify`: is anything in the records other than it was written?"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsel.bench.commands.serve import data_option
from handsel.cli.terminal import console

if TYPE_CHECKING:
    from handsel.bench.records.verifying import Verified

GOOD, FOUND = 0, 1
MOST_SHOWN = 40


@click.command(name="verify")
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@click.option("--root", default="", metavar="ROOT", help="Compare with the root on a printed day report.")
@click.option(
    "--entries",
    type=click.IntRange(1),
    metavar="N",
    help="How many entries the report counts beside that root; needed for very large days only.",
)
def command(data: Path, as_json: bool, root: str, entries: int | None) -> None:
    """Hold all records against their fingerprints.

    Every hand's chain is walked, and texts and photos are held against their fingerprints. What was
    changed later is named: the hand, the entry, what is wrong. The bench may be running meanwhile.

    Exit status: 0, nothing found; 1, something was changed; 2, the records could not be read.
    """
    from handsel.bench.commands.folder import open_records

    open_records(data)
    from handsel.bench.records.roots import typed_root
    from handsel.bench.records.verifying import verify

    wanted = typed_root(root) if root else ""
    with counting("hands, texts and photos") as tell:
        found = verify(root=wanted, entries_count=entries, progress=tell)
    if as_json:
        click.echo(json.dumps(as_data(found), indent=2, ensure_ascii=False))
    else:
        show(found)
    sys.exit(GOOD if found.is_good else FOUND)


@contextmanager
def counting(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal; nothing in a pipe."""
    out = console(stderr=True)
    if not out.is_terminal:
        yield lambda done, steps: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=out, transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, steps: bar.update(task, completed=done, total=steps)


def as_data(v: Verified) -> dict[str, Any]:
    """The result for another program."""
    from handsel.bench.records.verifying import LIMITS, NOT_COVERED

    return {
        "format": "handsel-verify/1",
        "good": v.is_good,
        "hands": v.hands_count,
        "entries": v.entries_count,
        "texts": v.texts_count,
        "photos": v.photos_count,
        "findings": [
            {"kind": f.kind, "hand": f.hand, "entry": f.seq, "of": f.of, "what": f.what} for f in v.findings
        ],
        "more_findings": v.more_count,
        "days": [
            {
                "title": r.title,
                "opened_at": r.opened_at.isoformat(),
                "root": r.root_sha256,
                "hands": r.hands_count,
                "entries": r.entries_count,
            }
            for r in v.roots
        ],
        "compared": _compared(v),
        "limits": [LIMITS, NOT_COVERED],
    }


def _compared(v: Verified) -> dict[str, Any] | None:
    if not v.root:
        return None
    told: dict[str, Any] = {"root": v.root, "met": v.met is not None}
    if v.met is not None:
        told |= {"day": v.met.title, "entries": v.met.entries_count, "at": v.met.last_at.isoformat()}
    return told


def show(v: Verified) -> None:
    """The result for a person: the sentence first."""
    from handsel.bench.records.verifying import LIMITS, NOT_COVERED

    out = console()
    looked = (
        f"{_counted(v.hands_count, 'hand')} with {_counted(v.entries_count, 'entry', 'entries')}, "
        f"{_counted(v.texts_count, 'text')} and {_counted(v.photos_count, 'photo')}"
    )
    if v.is_good:
        out.print(f"Nothing was changed: {looked}, all as they were written.")
    elif v.findings:
        count = len(v.findings) + v.more_count
        out.print(f"{_counted(count, 'thing')} not as written, in {looked}:")
        for finding in v.findings[:MOST_SHOWN]:
            out.print(f"  {finding}")
        if count > MOST_SHOWN:
            out.print(f"  and {count - MOST_SHOWN} more; --json lists up to 500.")
        out.print("Keep this folder as it is, and compare it with a backup and with the papers.")
    if v.met is not None:
        out.print(
            f"The root on paper is that of {v.met.title!r} when it had "
            f"{_counted(v.met.entries_count, 'entry', 'entries')} ({v.met.last_at:%Y-%m-%d %H:%M} UTC): "
            "nothing before that was changed since."
        )
    elif v.root:
        out.print(
            "The root on paper was never the root of these records: it was mistyped, or the records are "
            "others than those it was printed from."
        )
    for r in v.roots:
        out.print(
            f"Root of {r.title!r} now, {_counted(r.hands_count, 'hand')}, "
            f"{_counted(r.entries_count, 'entry', 'entries')}:\n  {r.root_sha256}",
            soft_wrap=True,
        )
    if not v.root:
        out.print(LIMITS)
    out.print(NOT_COVERED)


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or one + 's'}".replace(",", " ")
