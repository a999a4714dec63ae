"""What stands beside the chains: texts, photos, and the database's own soundness."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from itertools import islice
from pathlib import Path

from django.db import connection

from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.bench.on_disk import fingerprint
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State
from handsel.bench.records.findings import Finding

MOST_GAPS = 20


def texts() -> Iterator[Finding | None]:
    """Each kept text against its fingerprint; None for one that is as it was."""
    for kept in KeptText.objects.order_by("pk").iterator(chunk_size=20):
        good = sha256(kept.text.encode()).hexdigest() == kept.pk
        of = f"the {kept.kind} {kept.name} {kept.version}"
        yield None if good else Finding(kind="text", what="its text was changed", of=of)


def photos() -> Iterator[Finding | None]:
    """Each photo's files against its row; None for one that is as it was."""
    of = Photo.objects.select_related("hand").order_by("pk")
    for photo in of.iterator(chunk_size=200):
        yield _photo(photo)


def _photo(photo: Photo) -> Finding | None:
    if photo.state == State.READY:
        wanted = [
            (places.kept(photo.sha256), photo.sha256),
            (places.kept(photo.thumb_sha256), photo.thumb_sha256),
        ]
        found = _files(wanted)
    elif photo.state == State.STORED:
        found = _files([(places.raw(photo), photo.raw_sha256)])
    else:
        found = "its picture should be gone and is still there" if _still_there(photo) else ""
    if found:
        # The worker may have moved it on between the row and its files: only what stays so counts.
        now = Photo.objects.filter(pk=photo.pk).values_list("state", flat=True).first()
        if now != photo.state:
            return None
        hand = photo.hand.code if photo.hand is not None else ""
        return Finding(kind="photo", what=found, hand=hand, of=f"photo {photo.client_id}")
    return None


def _files(wanted: list[tuple[Path, str]]) -> str:
    for path, name in wanted:
        if not path.is_file():
            return "its file is missing"
        if fingerprint(path) != name:
            return "its file was changed"
    return ""


def _still_there(photo: Photo) -> bool:
    if places.raw(photo).exists():
        return True
    others = Photo.objects.filter(sha256=photo.sha256, state=State.READY)
    return bool(photo.sha256) and places.kept(photo.sha256).exists() and not others.exists()


def database() -> Iterator[Finding]:
    """Rows without their hand, rows that were taken out, a damaged file, refusals switched off."""
    left = (
        Entry.objects.exclude(hand_id__in=Hand.objects.values("pk"))
        .values_list("hand_id", flat=True)
        .order_by()
    )
    for row in left.distinct()[:MOST_GAPS]:
        yield Finding(kind="database", what=f"entries are left of a hand (row {row}) that is gone")
    if connection.vendor == "sqlite":
        yield from _sqlite()


def _sqlite() -> Iterator[Finding]:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA quick_check(5)")
        for (said,) in cursor.fetchall():
            if said != "ok":
                yield Finding(kind="database", what=f"the database file is damaged ({said[:200]})")
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'hands_entry'")
        there = {name for (name,) in cursor.fetchall()}
        if not {"entry_no_update", "entry_no_delete"} <= there:
            what = "the database was made to accept changes to entries: its refusal was switched off"
            yield Finding(kind="database", what=what)
        # SQLite gives row numbers without gaps, so a gap is a row that was taken out.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = 'hands_entry'")
        last = next(iter(cursor.fetchone() or (0,)))
        cursor.execute(
            "SELECT gone_from, gone_to FROM (SELECT id + 1 AS gone_from, LEAD(id, 1, %s) OVER (ORDER BY id) - 1 "
            "AS gone_to FROM hands_entry) WHERE gone_from <= gone_to LIMIT %s",
            [last + 1, MOST_GAPS],
        )
        for first, final in cursor.fetchall():
            count = final - first + 1
            rows = f"row {first} was" if count == 1 else f"rows {first} to {final} were"
            yield Finding(kind="missing", what=f"{rows} taken out of the table of entries")


def hands_count() -> int:
    """How many chains there are to walk."""
    return int(Hand.objects.count())


def few(findings: Iterator[Finding], most: int) -> list[Finding]:
    """No more of them than anyone reads."""
    return list(islice(findings, most))
