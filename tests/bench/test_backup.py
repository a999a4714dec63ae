"""Backups: whole while others write, refused when damaged, brought back without losing what was there."""

from __future__ import annotations

import io
import json
import sqlite3
import stat
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.db import connections
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench.folders import contents, folder_of_now, handsel
from bench.hall import Hall
from bench.pictures import saved, scene
from handsel.bench.folder_lock import FolderLock
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.on_disk import NoRoom
from handsel.bench.photos import places, services
from handsel.bench.records import backing_up, backup_file
from handsel.bench.records.backing_up import AlreadyThere, back_up
from handsel.bench.records.backup_file import ALLOWED, MANIFEST, BadBackup, check, unpack
from handsel.bench.records.restoring import NotRestored, restore
from handsel.errors import BadFile, HandselError

AT = datetime(2026, 11, 21, 15, 4, 5, tzinfo=UTC)
Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path / "data"
    settings.PHOTOS = settings.DATA / "photos"
    settings.DATA.mkdir()


@pytest.fixture
def hall(shared_hall: Hall, no_workers: Workers) -> Hall:
    """A day with two hands and two photos, one of them not developed yet."""
    hand = shared_hall.hand(at="dry-fit")
    shared_hall.hand(code="R-015")
    services.take_in(io.BytesIO(saved(scene())), client_id="p" * 16, person=shared_hall.builder, hand=hand)
    no_workers()
    services.take_in(io.BytesIO(saved(scene(50, 40))), client_id="q" * 16, person=shared_hall.builder)
    return shared_hall


@pytest.fixture
def backup(hall: Hall, tmp_path: Path) -> Path:
    """A good backup of it."""
    place = tmp_path / "backup.zip"
    back_up(place, at=AT)
    return place


def rows(database: Path, query: str) -> list[Any]:
    with closing(sqlite3.connect(database)) as opened:
        return opened.execute(query).fetchall()


# ---- making one ----------------------------------------------------------------------------------------


def test_a_backup_holds_records_and_pictures_and_says_so(hall: Hall, backup: Path) -> None:
    manifest = check(backup)
    assert (manifest.hands, manifest.entries) == (2, Entry.objects.count())
    names = [f.name for f in manifest.files]
    assert names[0] == "handsel.sqlite3"
    assert sum(n.startswith("photos/") for n in names) == 2
    assert sum(n.startswith("incoming/") for n in names) == 1
    assert all(ALLOWED.fullmatch(n) for n in names)
    assert manifest.missing == ()
    assert stat.S_IMODE(backup.stat().st_mode) & 0o077 == 0


def test_nobody_can_sign_in_with_what_a_backup_holds(hall: Hall, tmp_path: Path) -> None:
    client = hall.client(hall.lead)
    key = client.session.session_key
    assert key
    back_up(tmp_path / "b.zip", at=AT)
    unpack(tmp_path / "b.zip", tmp_path / "out")
    assert rows(tmp_path / "out" / "handsel.sqlite3", "SELECT * FROM django_session") == []
    assert key.encode() not in (tmp_path / "out" / "handsel.sqlite3").read_bytes()
    assert not list((tmp_path / "out").glob("*secret*"))


def test_a_file_that_is_there_is_never_overwritten(hall: Hall, backup: Path) -> None:
    before = backup.read_bytes()
    with pytest.raises(AlreadyThere):
        back_up(backup, at=AT)
    assert backup.read_bytes() == before
    assert sorted(p.name for p in backup.parent.iterdir()) == ["backup.zip", "data"]


def test_a_missing_picture_is_told_and_not_hidden(hall: Hall, tmp_path: Path) -> None:
    from handsel.bench.photos.models import Photo

    photo = Photo.objects.get(client_id="p" * 16)
    places.kept(photo.sha256).unlink()
    manifest = back_up(tmp_path / "b.zip", at=AT)
    assert manifest.missing == (f"photos/{photo.sha256[:2]}/{photo.sha256}.jpg",)


def test_a_photo_developed_while_the_backup_is_made_is_in_it(
    hall: Hall, no_workers: Workers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = backing_up.copy_database
    times: list[int] = []

    def then_develop(source: Path, to: Path) -> Any:
        found = whole(source, to)
        times.append(1)
        if len(times) == 1:
            no_workers()
        return found

    monkeypatch.setattr(backing_up, "copy_database", then_develop)
    manifest = back_up(tmp_path / "b.zip", at=AT)
    assert len(times) == 2
    assert manifest.missing == ()
    assert not [f for f in manifest.files if f.name.startswith("incoming/")]


@pytest.mark.slow
def test_a_backup_under_writing_is_one_moment_of_the_records(hall: Hall, tmp_path: Path) -> None:
    hand = Hand.objects.order_by("pk").first()
    assert hand is not None
    stop = threading.Event()
    failed: list[str] = []

    def write() -> None:
        mine = Hand.objects.get(pk=hand.pk)
        try:
            while not stop.is_set():
                news = [New(kind="noted", what={"text": "more"}) for _ in range(3)]
                append(mine, news, person=hall.builder)
        except HandselError as error:
            failed.append(str(error))
        finally:
            connections.close_all()

    writers = [threading.Thread(target=write) for _ in range(3)]
    for writer in writers:
        writer.start()
    counts = []
    for n in range(3):
        counts.append(back_up(tmp_path / f"b{n}.zip", at=AT).entries)
    stop.set()
    for writer in writers:
        writer.join()
    assert failed == []
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]
    for n, count in enumerate(counts):
        done = restore(tmp_path / f"b{n}.zip", tmp_path / f"r{n}", replace=False, at=AT)
        assert done.verified["good"], done.verified["findings"]
        assert done.verified["entries"] == count
        assert done.verified["entries"] % 3 == counts[0] % 3  # never a batch in part


def test_a_full_disk_leaves_no_half_backup(
    hall: Hall, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*given: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_file, "seal", full)
    with pytest.raises(NoRoom):
        back_up(tmp_path / "b.zip", at=AT)
    assert [p.name for p in tmp_path.iterdir()] == ["data"]


# ---- bringing it back ----------------------------------------------------------------------------------


def test_what_is_brought_back_is_what_was_there(hall: Hall, backup: Path, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    done = restore(backup, folder, replace=False, at=AT)
    assert done.verified["good"], done.verified
    assert done.moved_to is None
    wanted = "SELECT hex(record), sha256 FROM hands_entry ORDER BY id"
    with connections["default"].cursor() as cursor:
        cursor.execute(wanted)
        assert rows(folder / "handsel.sqlite3", wanted) == cursor.fetchall()
    for name in ("photos", "incoming"):
        assert contents(folder / name) == contents(Path(places.incoming().parent) / name)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_existing_records_are_moved_aside_only_when_that_is_asked_for(
    hall: Hall, backup: Path, tmp_path: Path
) -> None:
    folder = folder_of_now(tmp_path / "there")
    (folder / "mine.txt").write_text("keep me")
    before = contents(folder)
    with pytest.raises(NotRestored, match="--replace"):
        restore(backup, folder, replace=False, at=AT)
    assert contents(folder) == before
    done = restore(backup, folder, replace=True, at=AT)
    assert done.moved_to == tmp_path / "there-before-2026-11-21-150405"
    assert contents(done.moved_to) == before
    assert not (folder / "mine.txt").exists()
    assert [p for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_a_folder_that_a_bench_runs_on_is_left_alone(hall: Hall, backup: Path, tmp_path: Path) -> None:
    folder = folder_of_now(tmp_path / "there")
    with FolderLock(folder), pytest.raises(NotRestored, match="running"):
        restore(backup, folder, replace=True, at=AT)
    assert [p for p in tmp_path.iterdir() if "before" in p.name] == []


def test_if_it_cannot_be_put_in_place_the_old_records_go_back(
    hall: Hall, backup: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_of_now(tmp_path / "there")
    before = contents(folder)
    whole = Path.rename

    def stubborn(self: Path, target: Path) -> Path:
        if "restoring" in self.name:
            raise OSError(13, "Permission denied")
        return whole(self, target)

    monkeypatch.setattr(Path, "rename", stubborn)
    with pytest.raises(HandselError):
        restore(backup, folder, replace=True, at=AT)
    assert contents(folder) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["backup.zip", "data", "there"]


def test_records_that_were_changed_before_the_backup_come_back_and_are_named(
    hall: Hall, tmp_path: Path
) -> None:
    hand = Hand.objects.order_by("pk").first()
    assert hand is not None
    Hand.objects.filter(pk=hand.pk).update(sentence="Good in every way.")
    back_up(tmp_path / "b.zip", at=AT)
    done = restore(tmp_path / "b.zip", tmp_path / "new", replace=False, at=AT)
    assert [(f["kind"], f["hand"]) for f in done.verified["findings"]] == [("standing", hand.code)]


# ---- damaged and hostile files -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A backup as small as one can be: its database is not opened by these tests."""
    folder = tmp_path_factory.mktemp("small")
    return made_by_hand(folder / "b.zip", {"handsel.sqlite3": b"SQLite format 3\0" + bytes(range(256)) * 8})


def made_by_hand(
    place: Path, content: dict[str, bytes], listed: dict[str, bytes] | None = None, **changed: Any
) -> bytes:
    """A backup with these files, its list of them and its seal in order unless told otherwise."""
    listed = content if listed is None else listed
    manifest = {
        "format": "handsel-backup/1",
        "program_version": "0.1.0",
        "made_at": "2026-11-21T15:04:05Z",
        "hands": 0,
        "entries": 0,
        "missing": [],
        "files": [{"name": n, "sha256": sha256(d).hexdigest(), "bytes": len(d)} for n, d in listed.items()],
    } | {k: v for k, v in changed.items() if k != "comment"}
    text = json.dumps(manifest).encode()
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, data in content.items():
            zipped.writestr(name, data)
        zipped.writestr(MANIFEST, text)
        zipped.comment = changed.get("comment", f"handsel-backup/1 {sha256(text).hexdigest()}").encode()
    return place.read_bytes()


def refused(file: Path, folder: Path) -> str:
    """Restoring is refused, and nothing is left behind; the words."""
    with pytest.raises(BadFile) as told:
        restore(file, folder, replace=False, at=AT)
    assert not folder.exists()
    assert [p for p in folder.parent.iterdir() if p.name.startswith(".")] == []
    return str(told.value)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_backup_damaged_anywhere_is_refused_or_not_changed_by_it(
    small: bytes, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    (folder / "good.zip").write_bytes(small)
    unpack(folder / "good.zip", folder / "good")
    damaged = bytearray(small)
    kind = data.draw(st.sampled_from(("flip", "cut", "zero", "insert")))
    at = data.draw(st.integers(0, len(small) - 1))
    if kind == "flip":
        damaged[at] ^= 1 << data.draw(st.integers(0, 7))
    elif kind == "cut":
        del damaged[at:]
    elif kind == "zero":
        damaged[at : at + data.draw(st.integers(1, 200))] = b"\0" * min(200, len(small) - at)
    else:
        damaged[at:at] = data.draw(st.binary(min_size=1, max_size=20))
    (folder / "bad.zip").write_bytes(damaged)
    try:
        unpack(folder / "bad.zip", folder / "bad")
    except BadBackup:
        return
    assert contents(folder / "bad") == contents(folder / "good")


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.8, 0.999])
def test_a_real_backup_cut_short_is_never_half_restored(
    hall: Hall, backup: Path, tmp_path: Path, share: float
) -> None:
    whole = backup.read_bytes()
    backup.write_bytes(whole[: int(len(whole) * share)])
    refused(backup, tmp_path / "new")


@pytest.mark.parametrize("where", range(12))
def test_a_real_backup_with_one_wrong_byte_is_never_half_restored(
    hall: Hall, backup: Path, tmp_path: Path, where: int
) -> None:
    damaged = bytearray(backup.read_bytes())
    damaged[len(damaged) * (2 * where + 1) // 24] ^= 0x55
    backup.write_bytes(damaged)
    folder = tmp_path / "new"
    try:
        done = restore(backup, folder, replace=False, at=AT)
    except BadFile:
        assert not folder.exists()
    else:
        assert done.verified["good"]
    assert [p for p in tmp_path.iterdir() if p.name.startswith(".")] == []


DB = b"SQLite format 3\0" + b"\0" * 500


@pytest.mark.parametrize(
    ("files", "word"),
    [
        ({"handsel.sqlite3": DB, "../out.txt": b"x"}, "no backup has"),
        ({"handsel.sqlite3": DB, "/etc/passwd": b"x"}, "no backup has"),
        ({"handsel.sqlite3": DB, "photos/../../x.jpg": b"x"}, "no backup has"),
        ({"handsel.sqlite3": DB, "photos/ab/" + "cd" * 32 + ".jpg": b"x"}, "no backup has"),
        ({"handsel.sqlite3": DB, "handsel.sqlite3-wal": b"x"}, "no backup has"),
        ({"handsel.sqlite3": DB, "secret-key": b"x"}, "no backup has"),
        ({"names.txt": b"x"}, "no records"),
        ({"handsel.sqlite3": DB, "records.jsonl": b"x"}, "twice"),
        ({"handsel.sqlite3": b"not a database at all" * 50}, "cannot be opened"),
    ],
)
def test_hostile_content_is_refused(tmp_path: Path, files: dict[str, bytes], word: str) -> None:
    made_by_hand(tmp_path / "b.zip", files)
    assert word in refused(tmp_path / "b.zip", tmp_path / "new")
    assert not (tmp_path / "out.txt").exists()


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"comment": ""}, "no backup"),
        ({"comment": "handsel-backup/2 abc"}, "newer version"),
        ({"comment": "handsel-backup/1 " + "0" * 64}, "changed or is damaged"),
        ({"hands": -1}, "hands"),
        ({"extra": 1}, "extra"),
        ({"made_at": "yesterday"}, "made_at"),
        ({"files": []}, "missing from it or too many"),
        ({"files": [{"name": "handsel.sqlite3", "sha256": "0" * 64, "bytes": len(DB)}]}, "damaged"),
        ({"files": [{"name": "handsel.sqlite3", "sha256": "0" * 64, "bytes": 3}]}, "another size"),
    ],
)
def test_a_list_of_files_that_is_not_right_is_refused(
    tmp_path: Path, changed: dict[str, Any], word: str
) -> None:
    made_by_hand(tmp_path / "b.zip", {"handsel.sqlite3": DB}, **changed)
    assert word in refused(tmp_path / "b.zip", tmp_path / "new")


def test_a_link_in_it_is_refused(tmp_path: Path) -> None:
    info = zipfile.ZipInfo("names.txt")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    made_by_hand(tmp_path / "b.zip", {"handsel.sqlite3": DB})
    with zipfile.ZipFile(tmp_path / "b.zip", "a") as zipped:
        zipped.writestr(info, "/etc/passwd")
    assert "link" in refused(tmp_path / "b.zip", tmp_path / "new")


def test_a_name_that_stands_twice_is_refused(tmp_path: Path) -> None:
    made_by_hand(tmp_path / "b.zip", {"handsel.sqlite3": DB})
    with zipfile.ZipFile(tmp_path / "b.zip", "a") as zipped, pytest.warns(UserWarning, match="Duplicate"):
        zipped.writestr("handsel.sqlite3", b"other")
    assert "two files of one name" in refused(tmp_path / "b.zip", tmp_path / "new")


def test_a_file_that_swells_is_stopped_at_its_announced_size(tmp_path: Path) -> None:
    import struct

    bomb = b"\0" * 5_000_000
    data = bytearray(
        made_by_hand(tmp_path / "b.zip", {"handsel.sqlite3": bomb}, listed={"handsel.sqlite3": b"\0" * 100})
    )
    # The zip's own sizes say what the list says; only the packed bytes hold more.
    for signature, offset in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        at = data.index(signature)
        data[at + offset : at + offset + 4] = struct.pack("<I", 100)
    (tmp_path / "b.zip").write_bytes(data)
    assert "damaged" in refused(tmp_path / "b.zip", tmp_path / "new")


def test_a_backup_with_no_room_for_it_is_refused_before_anything_is_written(
    hall: Hall, backup: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = type("Usage", (), {"free": 1000})
    monkeypatch.setattr("handsel.bench.records.restoring.shutil.disk_usage", lambda path: usage)
    with pytest.raises(NotRestored, match="MB left"):
        restore(backup, tmp_path / "new", replace=False, at=AT)
    assert not (tmp_path / "new").exists()


def test_records_of_a_newer_version_are_refused(hall: Hall, backup: Path, tmp_path: Path) -> None:
    unpack(backup, tmp_path / "out")
    database = tmp_path / "out" / "handsel.sqlite3"
    with closing(sqlite3.connect(database)) as opened:
        opened.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('hands', '0999_later', '2030-01-01')"
        )
        opened.commit()
    made_by_hand(tmp_path / "newer.zip", {"handsel.sqlite3": database.read_bytes()})
    assert "newer version" in refused(tmp_path / "newer.zip", tmp_path / "new")


# ---- the commands --------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_commands_back_up_and_restore(hall: Hall, tmp_path: Path) -> None:
    folder = folder_of_now(tmp_path / "day")
    told = handsel("backup", data=folder)
    place = Path(told.stdout.splitlines()[0])
    assert place.parent == folder / "backups"
    assert "read back and whole" in told.stdout
    assert "another disk" in told.stdout
    told = handsel("restore", place, data=tmp_path / "again")
    assert "Verified: everything" in told.stdout
    told = handsel("restore", place, data=tmp_path / "again", good=False)
    assert (told.returncode, "--replace" in told.stderr) == (2, True)
    told = handsel("restore", place, "--replace", data=tmp_path / "again")
    assert "is now in" in told.stdout
    told = handsel("verify", data=tmp_path / "again")
    assert told.stdout.startswith("Nothing was changed: 2 hands with ")


@pytest.mark.parametrize("verb", ["verify", "backup", "export"])
def test_a_folder_without_records_is_said_so_and_not_made(tmp_path: Path, verb: str) -> None:
    more = ("--to", tmp_path / "x.zip") if verb != "verify" else ()
    told = handsel(verb, *more, data=tmp_path / "none", good=False)
    assert told.returncode == 2
    assert "no records lie here" in told.stderr
    assert list(tmp_path.glob("none*")) == list(tmp_path.glob("x.zip")) == []


def test_a_file_that_is_no_backup_is_refused_by_the_command(tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_text("hello")
    for file in (tmp_path / "b.zip", tmp_path / "none.zip", tmp_path):
        told = handsel("restore", file, data=tmp_path / "new", good=False)
        assert told.returncode == 2
        assert told.stderr.strip()
    assert not (tmp_path / "new").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b.zip", "data"]
