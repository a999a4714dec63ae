"""`handsel restore`: a backup back into a folder."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

import click

from handsel.bench.commands.serve import data_option

GOOD, FOUND = 0, 1


@click.command(name="restore")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@data_option
@click.option("--replace", is_flag=True, help="Move what is in the folder aside; nothing is deleted.")
def command(file: Path, data: Path, replace: bool) -> None:
    """Bring a backup back, verify it, and only then put it in its place.

    A file that is damaged, foreign or from a newer version is refused, and the folder stays as it is.
    """
    from handsel.bench.commands.terminal import counted
    from handsel.bench.records.restoring import restore

    folder = data.expanduser().absolute()
    done = restore(file, folder, replace=replace, at=datetime.now().astimezone())
    if done.moved_to is not None:
        click.echo(f"What was there is now in {done.moved_to}")
    click.echo(
        f"{folder}: {counted(done.manifest.hands, 'hand')} with "
        f"{counted(done.manifest.entries, 'entry', 'entries')}, as of {done.manifest.made_at}."
    )
    if done.verified["good"]:
        click.echo("Verified: everything is as it was written. Everybody signs in again.")
        return
    count = len(done.verified["findings"]) + done.verified["more_findings"]
    click.echo(f"Verified: {counted(count, 'thing')} not as written, already so when the backup was made.")
    click.echo("handsel verify lists them.")
    sys.exit(FOUND)
