"""`handsel export`: everything on record as files that other programs read."""

from __future__ import annotations

from pathlib import Path

import click

from handsel.bench.commands.serve import data_option


@click.command(name="export")
@data_option
@click.option(
    "--to", required=True, type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="The file to write: a zip, or with the ending .jsonl the records alone.",
)  # fmt: skip
@click.option("--no-photos", is_flag=True, help="Leave the pictures out.")
def command(data: Path, to: Path, no_photos: bool) -> None:
    """Write everything on record: as lines of JSON with every entry's exact bytes, and as tables (CSV).

    The zip also holds a case file for each hand, for handsel assess, and says what is what. It has the
    first names of the people in it; passphrases are never exported.
    """
    from handsel.bench.commands.folder import open_records

    open_records(data)
    from handsel.bench.records.export_file import export_to

    place = to.expanduser().absolute()
    export_to(place, with_photos=not no_photos)
    click.echo(f"{place}  {place.stat().st_size / 1e6:.1f} MB")
