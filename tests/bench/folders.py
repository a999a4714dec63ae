"""A folder of records of its own, for tests of what is done to whole folders by commands."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from hashlib import sha256
from pathlib import Path

from django.conf import settings
from django.db import connection

SOURCE = str(Path(__file__).parents[2] / "src")


def handsel(*words: str | Path, data: Path, good: bool = True) -> subprocess.CompletedProcess[str]:
    """The command, in a process of its own on this folder."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("HANDSEL_", "DJANGO_"))}
    done = subprocess.run(
        [sys.executable, "-m", "handsel.cli", *(str(w) for w in words), "--data", str(data)],
        env=kept | {"PYTHONPATH": SOURCE},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    assert "Traceback" not in done.stderr, done.stderr
    assert not good or done.returncode == 0, done.stdout + done.stderr
    return done


def folder_of_now(folder: Path) -> Path:
    """A folder of records with what the test has committed so far, its photos too."""
    folder.mkdir(parents=True, exist_ok=True)
    with (
        closing(sqlite3.connect(connection.settings_dict["NAME"])) as live,
        closing(sqlite3.connect(folder / "handsel.sqlite3")) as copy,
    ):
        live.backup(copy)
    for name in ("photos", "incoming"):
        if (Path(settings.DATA) / name).is_dir():
            shutil.copytree(Path(settings.DATA) / name, folder / name)
    return folder


def contents(folder: Path) -> dict[str, str]:
    """Fingerprints of everything in a folder."""
    if not folder.exists():
        return {}
    return {
        str(p.relative_to(folder)): sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }
