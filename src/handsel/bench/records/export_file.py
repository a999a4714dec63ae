"""The export as one zip: records, tables, case files, pictures, and a page that says what is what."""

from __future__ import annotations

import json
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from django.conf import settings

from handsel import __version__
from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
from handsel.bench.hands.models import Hand
from handsel.bench.on_disk import CHUNK_BYTES, beside, fingerprint, said_plainly, settle
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State
from handsel.bench.records.backing_up import AlreadyThere
from handsel.bench.records.backup_file import ALLOWED
from handsel.bench.records.export_lines import BadExport
from handsel.bench.records.exporting import record_lines, records_schema, write_records
from handsel.bench.records.import_lines import Imported
from handsel.bench.records.importing import import_records
from handsel.bench.records.spreadsheets import write_tables
from handsel.data.case_text import case_text

RECORDS, SCHEMA, ABOUT = "records.jsonl", "records.schema.json", "READ-ME.txt"
MOST_RECORDS_BYTES = 8_000_000_000
MOST_PICTURE_BYTES = 60_000_000
_UNREADABLE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, KeyError, ValueError, IndexError, OverflowError,
    NotImplementedError, RuntimeError,
)  # fmt: skip

TEXT = f"""Everything on record of a bench, exported by handsel {__version__}.

records.jsonl         all of it, a line of JSON each; records.schema.json says what a line may hold.
                      `handsel import` reads it. Each entry stands with the exact text that its
                      fingerprint (SHA-256) is made of, and names the fingerprint of the one before,
                      so that a hand's record can be checked with any program.
hands.csv, observations.csv, decisions.csv, rework.csv, lots.csv, photos.csv
                      the same for a spreadsheet: UTF-8, comma, units in the column names, times in
                      UTC. A text that begins like a formula has an apostrophe before it.
cases/CODE.toml       each hand as a case file: `handsel assess cases/CODE.toml`
photos/               the pictures, under the fingerprints that photos.csv names

First names of people are in it; passphrases are not.
"""


def export_to(to: Path, *, with_photos: bool = True) -> None:
    """Write an export; never over a file that is there."""
    if to.exists():
        do = "Choose another name with --to, or move that file away."
        raise AlreadyThere("a file of this name is already there", where=str(to), do=do)
    if to.suffix == ".jsonl":
        write_records(to)
        return
    with said_plainly(str(to)):
        to.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with beside(to) as part:
            write_zip(part, with_photos=with_photos)


def write_zip(to: Path, *, with_photos: bool) -> None:
    """The zip itself."""
    with (
        zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as zipped,
        tempfile.TemporaryDirectory(dir=to.parent, prefix=".handsel-export-") as name,
    ):
        zipped.writestr(ABOUT, TEXT)
        with zipped.open(RECORDS, "w", force_zip64=True) as out:
            for line in record_lines():
                out.write(line)
        zipped.writestr(SCHEMA, json.dumps(records_schema(), indent=1))
        folder = Path(name)
        for table in write_tables(folder):
            zipped.write(folder / table, table)
        for code, text in cases():
            zipped.writestr(f"cases/{code}.toml", text)
        if with_photos:
            for picture in _pictures():
                zipped.write(
                    picture, f"photos/{picture.parent.name}/{picture.name}", compress_type=zipfile.ZIP_STORED
                )


def cases() -> Iterator[tuple[str, str]]:
    """Each hand's code and its case file."""
    hands = Hand.objects.select_related("design").defer("design__text").order_by("pk")
    for hand in hands.iterator(chunk_size=200):
        yield hand.code, case_text(case_of(hand, told_of(hand)), protocol_kept(hand.protocol_id))


def _pictures() -> Iterator[Path]:
    seen: set[str] = set()
    ready = Photo.objects.filter(state=State.READY).order_by("pk").values_list("sha256", "thumb_sha256")
    for names in ready.iterator(chunk_size=500):
        for name in names:
            if name not in seen and places.kept(name).is_file():
                seen.add(name)
                yield places.kept(name)


def import_from(file: Path) -> Imported:
    """Read an export, zip or lines, into this bench."""
    try:
        with file.open("rb") as opened:
            start = opened.read(4)
    except OSError as error:
        do = "Check the name and the folder."
        raise BadExport(f"it cannot be opened ({error.strerror})", where=file.name, do=do) from None
    if start != b"PK\x03\x04":
        return import_records(file)
    with tempfile.TemporaryDirectory(dir=settings.DATA, prefix=".importing-") as name:
        folder = Path(name)
        with said_plainly(file.name):
            pictures = _unzip(file, folder)
        new = _put_pictures(pictures)
        done = False
        try:
            imported = import_records(folder / RECORDS)
            done = True
        finally:
            if not done:
                for path in new:
                    path.unlink(missing_ok=True)
    return imported


def _unzip(file: Path, folder: Path) -> list[Path]:
    """Records and pictures, each under a name of ours; all else in the zip is left where it is."""
    do = "Export it again, or copy it again. Nothing was written."
    try:
        with closing(zipfile.ZipFile(file)) as zipped:
            names = [i.filename for i in zipped.infolist()]
            if RECORDS not in names:
                raise BadExport("there are no records in this zip", where=file.name, do=do)
            _unzip_one(zipped, RECORDS, folder / RECORDS, MOST_RECORDS_BYTES)
            found = []
            for name in names:
                if name.startswith("photos/") and ALLOWED.fullmatch(name):
                    found.append(folder / name.rsplit("/", 1)[1])
                    _unzip_one(zipped, name, found[-1], MOST_PICTURE_BYTES)
    except _UNREADABLE as error:
        if isinstance(error, BadExport):
            raise
        raise BadExport(f"the zip is damaged ({str(error)[:100]})", where=file.name, do=do) from None
    return found


def _unzip_one(zipped: zipfile.ZipFile, name: str, to: Path, most: int) -> None:
    free = shutil.disk_usage(to.parent).free - 50_000_000
    with zipped.open(name) as source, to.open("wb") as out:
        count = 0
        while chunk := source.read(CHUNK_BYTES):
            count += len(chunk)
            if count > min(most, free):
                do = "It is no export of handsel, or there is no room for it. Nothing was written."
                raise BadExport(f"{name!r} in it is too large", where=zipped.filename or "the zip", do=do)
            out.write(chunk)


def _put_pictures(pictures: list[Path]) -> list[Path]:
    """Pictures under their fingerprint; the ones that were not here before."""
    new = []
    for picture in pictures:
        place = places.kept(picture.stem)
        if fingerprint(picture) != picture.stem or place.exists():
            continue
        with said_plainly("the photos"):
            place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            settle(picture, place)
        new.append(place)
    return new


def about() -> dict[str, Any]:
    """What an export holds, for the page that offers it."""
    return {"hands": Hand.objects.count(), "photos": Photo.objects.filter(state=State.READY).count()}
