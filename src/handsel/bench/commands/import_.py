"""`handsel import`: an export into an empty bench, or one that has none of its hands."""

from __future__ import annotations

from pathlib import Path

import click

from handsel.bench.commands.serve import data_option


@click.command(name="import")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@data_option
def command(file: Path, data: Path) -> None:
    """Read an export (.zip or .jsonl). All of it is checked, every chain too, before anything is written.

    A folder without records is made ready first. Passphrases are not in an export: afterwards make a new one
    with handsel lead --new-passphrase.
    """
    from handsel.bench.commands.terminal import counted
    from handsel.bench.serve import ready_folder, ready_records, set_up

    folder = data.expanduser().absolute()
    if not file.is_file():
        raise click.BadParameter(f"there is no file {file}", param_hint="FILE")
    ready_folder(folder)
    set_up(folder)
    ready_records()
    from handsel.bench.records.export_file import import_from

    done = import_from(file)
    click.echo(
        f"{counted(done.hands_count, 'hand')} with {counted(done.entries_count, 'entry', 'entries')} and "
        f"{counted(done.photos_count, 'photo')} came in."
    )
    if done.known_hands:
        click.echo(f"{counted(len(done.known_hands), 'hand')} were here already with the same record.")
    if done.without_picture:
        click.echo(f"{counted(done.without_picture, 'photo')} came without a picture.")
