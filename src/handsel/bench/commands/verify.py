"""`handsel verify`: is anything in the records other than it was written?"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsel.bench.commands.serve import data_option
from handsel.bench.commands.terminal import counted, counting, say

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

    looked = (
        f"{counted(v.hands_count, 'hand')} with {counted(v.entries_count, 'entry', 'entries')}, "
        f"{counted(v.texts_count, 'text')} and {counted(v.photos_count, 'photo')}"
    )
    if v.is_good:
        say(f"Nothing was changed: {looked}, all as they were written.")
    elif v.findings:
        count = len(v.findings) + v.more_count
        say(f"{counted(count, 'thing')} not as written, in {looked}:")
        for finding in v.findings[:MOST_SHOWN]:
            say(f"  {finding}")
        if count > MOST_SHOWN:
            say(f"  and {count - MOST_SHOWN} more; --json lists up to 500.")
        say("Keep this folder as it is, and compare it with a backup and with the papers.")
    if v.met is not None:
        say(
            f"The root on paper is that of {v.met.title!r} when it had "
            f"{counted(v.met.entries_count, 'entry', 'entries')} ({v.met.last_at:%Y-%m-%d %H:%M} UTC): "
            "nothing before that was changed since."
        )
    elif v.root:
        say(
            "The root on paper was never the root of these records: it was mistyped, or the records are "
            "others than those it was printed from."
        )
    for r in v.roots:
        say(
            f"Root of {r.title!r} now, {counted(r.hands_count, 'hand')}, "
            f"{counted(r.entries_count, 'entry', 'entries')}:"
        )
        click.echo(f"  {r.root_sha256}")
    if not v.root:
        say(f"{LIMITS} (handsel verify --root ROOT)")
    say(NOT_COVERED)
