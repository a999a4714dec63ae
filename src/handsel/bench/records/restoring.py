"""Bringing a backup back: into a folder beside, checked there, and only then put in its place."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from handsel.bench.folder_lock import is_held
from handsel.bench.on_disk import flush_folder, said_plainly
from handsel.bench.records import backup_file
from handsel.bench.records.backup_file import BadBackup, Manifest
from handsel.errors import HandselError

SPARE_BYTES = 50_000_000


class NotRestored(HandselError):
    """Nothing was changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What was brought back, and what was there before."""

    manifest: Manifest
    verified: dict[str, Any]  # as handsel verify --json
    moved_to: Path | None


def restore(file: Path, folder: Path, *, replace: bool, at: datetime) -> Restored:
    """Bring a backup back into `folder`. Whatever goes wrong, what was there is still there."""
    _may_be_taken(folder, replace)
    _has_room(file, folder)
    beside = folder.with_name(f".{folder.name}.restoring-{secrets.token_hex(4)}")
    try:
        with said_plainly(str(folder.parent)):
            folder.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            manifest = backup_file.unpack(file, beside)
        verified = _brought_up(beside, file)
        with said_plainly(str(folder)):
            moved_to = _put_in_place(beside, folder, at)
    finally:
        if beside.exists():
            shutil.rmtree(beside)
    return Restored(manifest=manifest, verified=verified, moved_to=moved_to)


def _may_be_taken(folder: Path, replace: bool) -> None:
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise NotRestored("this is no folder", where=str(folder), do="Name a folder with --data.")
    if folder.is_dir() and is_held(folder):
        do = "End it first with Ctrl-C, or restore into another folder with --data."
        raise NotRestored("a bench is running on this folder", where=str(folder), do=do)
    if folder.is_dir() and any(folder.iterdir()) and not replace:
        do = "Say --replace: it is moved aside, not deleted. Or choose another folder with --data."
        raise NotRestored("there is something in this folder already", where=str(folder), do=do)


def _has_room(file: Path, folder: Path) -> None:
    with backup_file.opened(file) as (_, manifest):
        needed = sum(f.bytes for f in manifest.files) + SPARE_BYTES
    there = next(p for p in (folder, *folder.parents) if p.exists())
    free = shutil.disk_usage(there).free
    if free < needed:
        what = f"it needs {needed / 1e6:.0f} MB and the disk has {free / 1e6:.0f} MB left"
        raise NotRestored(what, where=str(folder), do="Free some room, or choose another disk with --data.")


def _brought_up(folder: Path, file: Path) -> dict[str, Any]:
    """Bring the database to this version's form and verify it, in a process of its own on this folder."""
    words = [sys.executable, "-m", "handsel.bench.records.bringing_up", str(folder)]
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    kept["PYTHONPATH"] = os.pathsep.join(p for p in sys.path if p)
    done = subprocess.run(words, env=kept, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    try:
        told: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        told = {"refused": "the records in it cannot be opened", "do": "Take an older backup."}
    if "refused" in told:
        raise BadBackup(told["refused"], where=file.name, do=told["do"])
    return told


def _put_in_place(beside: Path, folder: Path, at: datetime) -> Path | None:
    moved_to = None
    if folder.exists():
        if any(folder.iterdir()):
            moved_to = folder.with_name(f"{folder.name}-before-{at:%Y-%m-%d-%H%M%S}")
            if moved_to.exists():
                raise NotRestored("its name for moving aside is taken", where=str(moved_to), do="Try again.")
            folder.rename(moved_to)
        else:
            folder.rmdir()
    try:
        beside.rename(folder)
    except OSError:
        if moved_to is not None:
            moved_to.rename(folder)
        raise
    flush_folder(folder.parent)
    return moved_to
