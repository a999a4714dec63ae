"""What the records page shows."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from handsel.bench.hands.models import Entry, Hand
from handsel.bench.photos.models import Photo, State

BACKUP_NAME = re.compile(r"handsel-\d{4}-\d\d-\d\d-\d{6}\.zip")
# What a page may take on while others wait for theirs; more is for the command line.
MOST_ENTRIES_INLINE = 20_000
MOST_BYTES_INLINE = 400_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """A backup in the folder."""

    name: str
    made_at: datetime
    size_mb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """How much is on record, and how safe it is."""

    hands_count: int
    entries_count: int
    photos_count: int
    folder: str
    backups: tuple[Backup, ...]  # newest first
    since_backup: int  # entries added after the newest backup
    is_small: bool  # small enough to be backed up by a page
    checks_inline: bool


def backups_folder() -> Path:
    """Where backups made from the page lie."""
    return Path(settings.DATA) / "backups"


def backups() -> tuple[Backup, ...]:
    """Those that are there, newest first."""
    folder = backups_folder()
    found = [p for p in folder.iterdir() if BACKUP_NAME.fullmatch(p.name)] if folder.is_dir() else []
    return tuple(
        Backup(
            name=p.name,
            made_at=datetime.fromtimestamp(p.stat().st_mtime, UTC),
            size_mb=p.stat().st_size / 1e6,
        )
        for p in sorted(found, key=lambda p: p.name, reverse=True)
    )


def overview() -> Overview:
    """One look at it."""
    entries = Entry.objects.count()
    made = backups()
    return Overview(
        hands_count=Hand.objects.count(),
        entries_count=entries,
        photos_count=Photo.objects.filter(state=State.READY).count(),
        folder=str(settings.DATA),
        backups=made,
        since_backup=Entry.objects.filter(at__gt=made[0].made_at).order_by().count() if made else entries,
        is_small=_bytes() <= MOST_BYTES_INLINE,
        checks_inline=entries <= MOST_ENTRIES_INLINE,
    )


def _bytes() -> int:
    """About how much a backup has to copy; kept pictures are a megabyte or two each."""
    database = Path(str(connection.settings_dict["NAME"]))
    size = database.stat().st_size if database.is_file() else 0
    return size + 1_500_000 * Photo.objects.filter(state=State.READY).count()
