"""Making a backup while the bench goes on working."""

from __future__ import annotations

import sqlite3
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from handsel import __version__
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hosts import NAMES_FILE
from handsel.bench.on_disk import NotWritten, beside, said_plainly
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State
from handsel.bench.records import backup_file
from handsel.bench.records.backup_file import Kept, Manifest
from handsel.bench.records.exporting import write_records
from handsel.errors import HandselError

MOST_TRIES = 5
Progress = Callable[[int, int], None]


class AlreadyThere(HandselError):
    """A file of that name is there, and nothing is overwritten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A file of a photo, as the copied records know it."""

    pk: int
    state: str
    name: str  # in the zip
    path: Path


class _MovedMeanwhile(Exception):
    """A photo went from one state to another between the copy and its file: begin again."""


def default_place(at: datetime) -> Path:
    """Where a backup goes when nobody says otherwise."""
    return Path(settings.DATA) / "backups" / f"handsel-{at:%Y-%m-%d-%H%M%S}.zip"


def back_up(to: Path, *, at: datetime, progress: Progress | None = None) -> Manifest:
    """Write a backup, read it back, and only then give it its name."""
    if to.exists():
        do = "Choose another name with --to, or move that file away."
        raise AlreadyThere("a file of this name is already there", where=str(to), do=do)
    with said_plainly(str(to)):
        to.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        for _ in range(MOST_TRIES):
            try:
                with beside(to) as part:
                    _write(part, at, progress)
                    made = backup_file.check(part)
                    if to.exists():
                        raise AlreadyThere(
                            "a file of this name came up meanwhile", where=str(to), do="Try again."
                        )
                return made
            except _MovedMeanwhile:
                continue
    do = "Wait until the photos are through, then try again."
    raise NotWritten("photos kept coming and going while it was made", where=str(to), do=do)


def _write(part: Path, at: datetime, progress: Progress | None) -> None:
    with (
        tempfile.TemporaryDirectory(dir=part.parent, prefix=".handsel-backup-") as folder,
        zipfile.ZipFile(part, "w", allowZip64=True) as zipped,
    ):
        if connection.vendor == "sqlite":
            copy = Path(folder) / backup_file.DATABASE
            hands, entries, pictures = copy_database(Path(connection.settings_dict["NAME"]), copy)
            source = (backup_file.DATABASE, copy)
        else:  # any other database: its content in our own portable form
            copy = Path(folder) / backup_file.RECORDS
            write_records(copy)
            hands, entries, pictures = Hand.objects.count(), Entry.objects.count(), _pictures_now()
            source = (backup_file.RECORDS, copy)
        files, missing = [backup_file.pack(zipped, *source)], []
        names = Path(settings.DATA) / NAMES_FILE
        if names.is_file():
            files.append(backup_file.pack(zipped, backup_file.NAMES, names))
        for n, picture in enumerate(pictures, start=1):
            kept = _pack_picture(zipped, picture)
            files += [kept] if kept is not None else []
            missing += [picture.name] if kept is None else []
            if progress is not None:
                progress(n, len(pictures))
        manifest = Manifest(
            format="handsel-backup/1",
            program_version=__version__,
            made_at=at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            hands=hands,
            entries=entries,
            missing=tuple(missing),
            files=tuple(files),
        )
        backup_file.seal(zipped, manifest)


def copy_database(source: Path, to: Path) -> tuple[int, int, list[Picture]]:
    """One moment of the records, copied while others write; how much it holds, and its photos' files."""
    live_uri = f"{source.absolute().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(live_uri, uri=True, timeout=30)) as live,
        closing(sqlite3.connect(to)) as copy,
    ):
        live.backup(copy)
    with closing(sqlite3.connect(to)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")
        # A sign-in is like a key to the bench; it does not belong into a file that is carried about.
        copy.execute("DELETE FROM django_session")
        copy.commit()
        copy.execute("VACUUM")
        hands = copy.execute("SELECT COUNT(*) FROM hands_hand").fetchone()[0]
        entries = copy.execute("SELECT COUNT(*) FROM hands_entry").fetchone()[0]
        columns = "id, client_id, state, sha256, thumb_sha256, raw_sha256"
        rows = copy.execute(
            f"SELECT {columns} FROM photos_photo WHERE state IN ('ready', 'stored')"
        ).fetchall()
    found: list[Picture] = []
    for pk, client_id, state, full, thumb, raw in rows:
        found += _of(
            Photo(pk=pk, client_id=client_id, state=state, sha256=full, thumb_sha256=thumb, raw_sha256=raw)
        )
    return hands, entries, _each_once(found)


def _pictures_now() -> list[Picture]:
    waiting = Photo.objects.filter(state__in=(State.READY, State.STORED)).order_by("pk")
    return _each_once([picture for photo in waiting for picture in _of(photo)])


def _of(photo: Photo) -> list[Picture]:
    if photo.state == State.STORED:
        path = places.raw(photo)
        return [Picture(pk=photo.pk, state=photo.state, name=f"incoming/{path.name}", path=path)]
    return [
        Picture(pk=photo.pk, state=photo.state, name=f"photos/{name[:2]}/{name}.jpg", path=places.kept(name))
        for name in (photo.sha256, photo.thumb_sha256)
    ]


def _each_once(pictures: list[Picture]) -> list[Picture]:
    return list({picture.name: picture for picture in pictures}.values())


def _pack_picture(zipped: zipfile.ZipFile, picture: Picture) -> Kept | None:
    """None for a file that is really missing; that is told, not hidden."""
    try:
        return backup_file.pack(zipped, picture.name, picture.path)
    except FileNotFoundError:
        now = Photo.objects.filter(pk=picture.pk).values_list("state", flat=True).first()
        if now != picture.state:
            raise _MovedMeanwhile from None
        return None
