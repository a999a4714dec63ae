"""`handsel backup`: everything on record into one file, while the bench goes on."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from handsel.bench.commands.serve import data_option


@click.command(name="backup")
@data_option
@click.option(
    "--to",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write it here; best on another disk. [default: a dated file in the folder's backups]",
)
def command(data: Path, to: Path | None) -> None:
    """Copy all records and photos into one file, and read it back to see that it is whole.

    The bench may be running. A file that is there already is never overwritten. Sign-ins are not in it:
    after a restore everybody signs in again, with the same passphrases.
    """
    from handsel.bench.commands.folder import open_records
    from handsel.bench.commands.terminal import counted, counting

    open_records(data)
    from handsel.bench.records.backing_up import back_up, default_place

    at = datetime.now().astimezone()
    place = (to.expanduser().absolute() if to else None) or default_place(at)
    with counting("pictures") as tell:
        made = back_up(place, at=at, progress=tell)
    size_mb = place.stat().st_size / 1e6
    click.echo(f"{place}")
    click.echo(
        f"{counted(made.hands, 'hand')} with {counted(made.entries, 'entry', 'entries')}, {size_mb:.1f} MB; "
        "read back and whole."
    )
    if made.missing:
        click.echo(f"{counted(len(made.missing), 'picture file')} were missing here and are not in it.")
    if to is None:
        click.echo("Copy it to another disk: one on this computer does not help when this computer is lost.")
