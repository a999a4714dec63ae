"""One server per data folder: a second one on the same records would start its own workers and confuse phones."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from types import TracebackType
from typing import IO

from handsel.errors import HandselError

LOCK, NOTE = "serve.lock", "serving.json"


class FolderInUse(HandselError):
    """Another server has this folder."""


class FolderLock:
    """Holds the folder for as long as the process lives; the system lets go of it when the process ends."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file: IO[bytes] | None = None

    def __enter__(self) -> FolderLock:
        file = (self.folder / LOCK).open("a+b")
        try:
            _take(file)
        except OSError:
            file.close()
            where = running(self.folder)
            at = f" at {where['address']}" if where else ""
            raise FolderInUse(
                f"a bench is already running on this folder{at}",
                where=str(self.folder),
                do="Use that one, end it first with Ctrl-C, or choose another folder with --data.",
            ) from None
        self._file = file
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        (self.folder / NOTE).unlink(missing_ok=True)
        if self._file is not None:
            self._file.close()
            self._file = None

    def tell(self, *, address: str, port: int) -> None:
        """Note for other commands where this bench answers."""
        text = json.dumps({"address": address, "port": port, "process": os.getpid()})
        (self.folder / NOTE).write_text(text, encoding="utf-8")


def running(folder: Path) -> dict[str, str | int] | None:
    """What a running server said of itself. A note left by one that was killed counts for nothing."""
    try:
        told = json.loads((folder / NOTE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    fits = (
        isinstance(told, dict) and isinstance(told.get("port"), int) and isinstance(told.get("address"), str)
    )
    return told if fits and is_held(folder) else None


def is_held(folder: Path) -> bool:
    """Whether some process holds the folder now."""
    try:
        with (folder / LOCK).open("r+b") as file:
            try:
                _take(file)
            except OSError:
                return True
    except FileNotFoundError:
        return False
    return False


def _take(file: IO[bytes]) -> None:
    """Lock the file or raise OSError at once."""
    if sys.platform == "win32":
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
