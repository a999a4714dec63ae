"""A small sample of the study that kills the server under load, and whether that study would notice a loss."""

from __future__ import annotations

import importlib
import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from types import ModuleType

import pytest

STUDY = Path(__file__).parents[2] / "studies" / "kill_server.py"


@pytest.fixture(scope="module")
def study() -> ModuleType:
    """The study as a module; it imports what lies beside it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(STUDY.parent)
        return importlib.import_module(STUDY.stem)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A database with one hand, and three entries that phones sent."""
    with closing(sqlite3.connect(tmp_path / "handsel.sqlite3")) as records:
        records.execute("CREATE TABLE hands_hand (id INTEGER, code TEXT)")
        records.execute(
            "CREATE TABLE hands_entry (hand_id INTEGER, client_id TEXT, kind TEXT, seq INTEGER, record TEXT)"
        )
        records.execute("CREATE TABLE photos_photo (client_id TEXT, raw_sha256 TEXT)")
        records.execute("INSERT INTO hands_hand VALUES (1, 'K7M4QX')")
        for seq, name in ((2, "a"), (3, "b"), (4, "c")):
            record = json.dumps({"what": {"text": f"note {name}"}})
            records.execute("INSERT INTO hands_entry VALUES (1, ?, 'noted', ?, ?)", (name, seq, record))
        records.execute("INSERT INTO photos_photo VALUES ('p', 'f')")
        records.commit()
    return tmp_path


def told(study: ModuleType) -> object:
    """What the phones know of that, when all is well."""
    return study.Seen(
        sent={name: {"text": f"note {name}"} for name in "abcd"},  # d was sent, and never answered
        acknowledged={"a": ("K7M4QX", 2), "b": ("K7M4QX", 3)},  # c arrived, its answer did not
        photos={"p": "f", "q": ""},
    )


def test_the_study_is_content_when_all_is_there_once(study: ModuleType, folder: Path) -> None:
    assert study.counted(folder, told(study)) == []


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ("DELETE FROM hands_entry WHERE client_id = 'a'", "a was acknowledged"),
        ("INSERT INTO hands_entry SELECT * FROM hands_entry WHERE client_id = 'b'", "b was acknowledged"),
        ("UPDATE hands_entry SET seq = 9 WHERE client_id = 'a'", "a was acknowledged at K7M4QX/2"),
        (
            'UPDATE hands_entry SET record = \'{"what": {"text": "x"}}\' WHERE client_id = \'a\'',
            "was sent as",
        ),
        (
            "UPDATE hands_entry SET client_id = 'z' WHERE client_id = 'c'",
            "z is on record and no phone sent it",
        ),
        ("DELETE FROM photos_photo", "photo p was acknowledged"),
        ("UPDATE photos_photo SET raw_sha256 = 'g'", "photo p was acknowledged"),
    ],
)
def test_the_study_notices_a_loss(study: ModuleType, folder: Path, change: str, word: str) -> None:
    with closing(sqlite3.connect(folder / "handsel.sqlite3")) as records:
        records.execute(change)
        records.commit()
    wrong = study.counted(folder, told(study))
    assert len(wrong) == 1
    assert word in wrong[0]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_nothing_acknowledged_is_lost_when_the_server_is_killed() -> None:
    done = subprocess.run(
        [sys.executable, str(STUDY), "--kills", "2", "--phones", "6"],
        capture_output=True,
        text=True,
        check=False,
        timeout=500,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Nothing lost, nothing twice, verify is content." in done.stdout
