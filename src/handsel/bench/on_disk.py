"""Files that are there whole or not at all: written beside, flushed to the disk, then renamed."""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

from handsel.errors import HandselError

CHUNK_BYTES = 1 << 20
BESIDE = ".part"  # ending of a file that is still being written
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


class NoRoom(HandselError):
    """The disk is full. Nothing half-written is left."""

    status = 507


class NotWritten(HandselError):
    """The disk took nothing, for another reason than room."""

    status = 503


@contextmanager
def said_plainly(where: str) -> Iterator[None]:
    """Turns what the disk says into words."""
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            do = "Nothing of this was kept. Free some room on this computer's disk, then repeat it."
            raise NoRoom("there is no room left on the disk", where=where, do=do) from None
        do = "Look whether the folder is there and may be written to, then repeat it."
        raise NotWritten(f"the disk refused it ({error.strerror})", where=where, do=do) from None


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A name beside `path` to write to; at the end it takes the place of `path`, or is gone."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}{BESIDE}")
    try:
        part.touch(mode=0o600, exist_ok=False)
        yield part
        settle(part, path)
    finally:
        part.unlink(missing_ok=True)


def settle(part: Path, path: Path) -> None:
    """Give a finished file its name, so that it survives a power cut under it."""
    with part.open("rb") as file:
        os.fsync(file.fileno())
    os.replace(part, path)
    flush_folder(path.parent)


def flush_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk; Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, chunks: Iterable[bytes]) -> None:
    """Write a file, or raise NoRoom or NotWritten and leave none."""
    with said_plainly(path.name):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with beside(path) as part, part.open("wb") as file:
            for chunk in chunks:
                file.write(chunk)


def fingerprint(path: Path) -> str:
    """SHA-256 of a file, read a piece at a time."""
    digest = sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()
