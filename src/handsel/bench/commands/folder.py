"""Opening a folder of records from the command line, without making one where there is none."""

from __future__ import annotations

from pathlib import Path

from handsel.errors import HandselError

DATABASE = "handsel.sqlite3"


class NoRecords(HandselError):
    """A folder that holds no records, or none that this version can read."""


def open_records(data: Path) -> Path:
    """Set Django up for the records in this folder; the folder as an absolute path."""
    folder = has_records(data)
    from handsel.bench.serve import set_up

    set_up(folder)
    _of_this_version(folder)
    return folder


def has_records(data: Path) -> Path:
    """The folder, if records lie in it."""
    import os

    folder = data.expanduser().absolute()
    if not (folder / DATABASE).is_file() and not os.environ.get("HANDSEL_DATABASE"):
        do = "Say with --data where they are; handsel serve prints the folder when it starts."
        raise NoRecords("no records lie here", where=str(folder), do=do)
    return folder


def _of_this_version(folder: Path) -> None:
    from django.db import DatabaseError, connection
    from django.db.migrations.loader import MigrationLoader

    try:
        loader = MigrationLoader(connection)
    except DatabaseError as error:
        do = "Bring back a backup: handsel restore FILE --replace."
        raise NoRecords(f"the records cannot be opened ({error})", where=str(folder), do=do) from None
    applied = set(loader.applied_migrations or ())
    known = set(loader.disk_migrations or ())
    if {key for key in applied - known if key[0] in loader.migrated_apps}:
        do = "Install that version first."
        raise NoRecords("they were written by a newer version of this program", where=str(folder), do=do)
    if known - applied:
        do = (
            "Copy the folder to a safe place, then start handsel serve on it once: that brings it up to date."
        )
        raise NoRecords("they were written by an older version of this program", where=str(folder), do=do)
