"""A backup file: what it holds, how it is written, and how one from anywhere is held to that.

A zip of the database, the photos and a manifest that names every file with its fingerprint; the zip's
comment carries the manifest's own.
"""

from __future__ import annotations

import json
import os
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import IO, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsel.bench.on_disk import CHUNK_BYTES, said_plainly
from handsel.errors import BadFile

FORMAT = "handsel-backup/1"
MANIFEST, DATABASE, RECORDS, NAMES = "handsel-backup.json", "handsel.sqlite3", "records.jsonl", "names.txt"
# Only these names are ever written to a disk; so none can lead out of the folder.
ALLOWED = re.compile(
    r"handsel\.sqlite3|records\.jsonl|names\.txt"
    r"|photos/(?P<two>[0-9a-f]{2})/(?P=two)[0-9a-f]{62}\.jpg"
    r"|incoming/[0-9a-f]{64}\.[0-9a-f]{12}\.raw"
)
MOST_FILES = 500_000
MOST_MANIFEST_BYTES = 128_000_000
MOST_BYTES = {"photos": 60_000_000, "incoming": 60_000_000, NAMES: 100_000}
# What the zip reader raises for files that are none, or not whole.
_UNREADABLE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, EOFError, KeyError, ValueError,
    IndexError, OverflowError, NotImplementedError, RuntimeError, MemoryError,
)  # fmt: skip

Fingerprint = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class BadBackup(BadFile):
    """A file that is no backup, or no whole one. Nothing was touched."""


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Kept(_Model):
    """One file of a backup."""

    name: Annotated[str, Field(max_length=200)]
    sha256: Fingerprint
    bytes: Annotated[int, Field(ge=0, le=1 << 44)]


class Manifest(_Model):
    """What a backup says of itself."""

    format: Literal["handsel-backup/1"]
    program_version: Annotated[str, Field(max_length=40)]
    made_at: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")]
    hands: Annotated[int, Field(ge=0)]
    entries: Annotated[int, Field(ge=0)]
    missing: Annotated[tuple[Annotated[str, Field(max_length=200)], ...], Field(strict=False)] = ()
    files: Annotated[tuple[Kept, ...], Field(strict=False, max_length=MOST_FILES)]


def pack(zipped: zipfile.ZipFile, name: str, source: Path) -> Kept:
    """Put a file into the zip, and give its fingerprint as it was written."""
    digest, size = sha256(), 0
    info = zipfile.ZipInfo.from_file(source, name, strict_timestamps=False)
    # Pictures do not get smaller; the database does, by much.
    info.compress_type = (
        zipfile.ZIP_STORED if name.startswith(("photos/", "incoming/")) else zipfile.ZIP_DEFLATED
    )
    info.external_attr = (stat.S_IFREG | 0o600) << 16
    with source.open("rb") as file, zipped.open(info, "w", force_zip64=True) as out:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
            size += len(chunk)
            out.write(chunk)
    return Kept(name=name, sha256=digest.hexdigest(), bytes=size)


def seal(zipped: zipfile.ZipFile, manifest: Manifest) -> None:
    """Write the manifest, last."""
    text = json.dumps(manifest.model_dump(mode="json"), indent=1).encode()
    zipped.writestr(zipfile.ZipInfo(MANIFEST, (1980, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    zipped.comment = f"{FORMAT} {sha256(text).hexdigest()}".encode()


@contextmanager
def opened(path: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """A backup with its manifest, every name and size held to what a backup may have."""
    where = path.name
    try:
        file = path.open("rb")
    except OSError as error:
        do = "Check the name and the folder."
        raise BadBackup(f"it cannot be opened ({error.strerror})", where=where, do=do) from None
    with file, _plainly(where), zipfile.ZipFile(file) as zipped:
        manifest = _manifest(zipped, where)
        _check_names(zipped, manifest, where)
        yield zipped, manifest


@contextmanager
def _plainly(where: str) -> Iterator[None]:
    try:
        yield
    except BadFile:
        raise
    except _UNREADABLE as error:
        do = "Take another copy of it, or an older backup."
        raise BadBackup(f"it is damaged, or no backup ({str(error)[:100]})", where=where, do=do) from None


def _manifest(zipped: zipfile.ZipFile, where: str) -> Manifest:
    other = "It was not made by handsel backup; take one that was."
    if not zipped.comment.startswith(b"handsel-backup/"):
        raise BadBackup("it is a zip file, and no backup", where=where, do=other)
    words = zipped.comment.decode("ascii", "replace").split(" ")
    if re.fullmatch(r"handsel-backup/[2-9]\d*|handsel-backup/1\d+", words[0]):
        do = "Install the version that made it."
        raise BadBackup("it was made by a newer version of this program", where=where, do=do)
    info = zipped.getinfo(MANIFEST)
    if info.file_size > MOST_MANIFEST_BYTES:
        raise BadBackup("its list of files is larger than any", where=where, do=other)
    with zipped.open(info) as file:
        text = file.read(MOST_MANIFEST_BYTES + 1)
    if words != [FORMAT, sha256(text).hexdigest()]:
        do = "Take another copy of it, or an older backup."
        raise BadBackup("its list of files was changed or is damaged", where=where, do=do)
    try:
        return Manifest.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise BadBackup(
            f"its list of files is not right: {key}: {first['msg']}", where=where, do=other
        ) from None


def _check_names(zipped: zipfile.ZipFile, manifest: Manifest, where: str) -> None:
    do = "It was put together by someone else; take a backup that handsel made."
    infos = zipped.infolist()
    there = [i.filename for i in infos]
    listed = [f.name for f in manifest.files]
    if len(set(there)) != len(there) or len(set(listed)) != len(listed):
        raise BadBackup("it has two files of one name", where=where, do=do)
    for info in infos:
        if info.filename == MANIFEST:
            continue
        if not ALLOWED.fullmatch(info.filename):
            raise BadBackup(f"it has a file that no backup has, {info.filename[:60]!r}", where=where, do=do)
        if stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFREG):
            raise BadBackup(f"{info.filename!r} in it is a link and not a file", where=where, do=do)
    if sorted(there) != sorted([*listed, MANIFEST]):
        odd = sorted(set(there) ^ {*listed, MANIFEST})
        raise BadBackup(f"a file is missing from it or too many: {odd[0][:80]!r}", where=where, do=do)
    for kept in manifest.files:
        most = MOST_BYTES.get(kept.name.split("/")[0])
        if most is not None and kept.bytes > most:
            raise BadBackup(f"{kept.name!r} in it is larger than any such file", where=where, do=do)
        if zipped.getinfo(kept.name).file_size != kept.bytes:
            raise BadBackup(f"{kept.name!r} in it has another size than its list says", where=where, do=do)
    if (DATABASE in listed) == (RECORDS in listed):
        raise BadBackup("it has no records in it, or has them twice", where=where, do=do)


def unpack_one(zipped: zipfile.ZipFile, kept: Kept, to: IO[bytes] | None, where: str) -> None:
    """Read one file to its end, write it if asked to, and hold it to its size and fingerprint."""
    digest, left = sha256(), kept.bytes
    with zipped.open(kept.name) as file:
        # Never more than was announced: a file that swells while it is read is stopped here.
        while chunk := file.read(min(CHUNK_BYTES, left + 1)):
            left -= len(chunk)
            if left < 0:
                break
            digest.update(chunk)
            if to is not None:
                with said_plainly("the restored folder"):
                    to.write(chunk)
    if left != 0 or digest.hexdigest() != kept.sha256:
        do = "Take another copy of the backup, or an older one."
        raise BadBackup(f"{kept.name!r} in it is damaged", where=where, do=do)


def check(path: Path) -> Manifest:
    """Read a backup from end to end."""
    with opened(path) as (zipped, manifest):
        for kept in manifest.files:
            unpack_one(zipped, kept, None, path.name)
    return manifest


def unpack(path: Path, folder: Path) -> Manifest:
    """Write everything a backup holds into a new folder; the caller takes it away if this raises."""
    folder.mkdir(mode=0o700)
    with opened(path) as (zipped, manifest):
        for kept in manifest.files:
            place = folder / kept.name
            place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as out:
                unpack_one(zipped, kept, out, path.name)
                with said_plainly("the restored folder"):
                    out.flush()
                    os.fsync(out.fileno())
    return manifest


def told(manifest: Manifest) -> dict[str, Any]:
    """What a person wants to know of a backup."""
    photos = sum(f.name.startswith("photos/") for f in manifest.files)
    return {
        "made_at": manifest.made_at,
        "program_version": manifest.program_version,
        "hands": manifest.hands,
        "entries": manifest.entries,
        "picture_files": photos,
    }
