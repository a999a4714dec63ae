"""The lead's page about the records: check, back up, take away."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bench.hall import Hall
from handsel.bench.hands.models import Hand
from handsel.bench.hands.root import root_of
from handsel.bench.records import queries
from handsel.bench.records.backup_file import check
from handsel.data.load_case import load_case

PAGES = (
    "/records/",
    "/records/check/",
    "/records/export.zip",
    "/records/backups/handsel-2026-11-21-150405.zip",
)


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


def body(response: Any) -> bytes:
    found = b"".join(response.streaming_content)
    response.close()
    return found


@pytest.mark.parametrize("path", PAGES)
def test_the_records_are_for_the_lead(hall: Hall, path: str) -> None:
    assert hall.client().get(path).status_code == 302
    for person in (hall.inspector, hall.builder, hall.fitter):
        assert hall.client(person).get(path).status_code == 403
    assert hall.client(hall.lead).post(path).status_code == 405


def test_only_the_lead_makes_a_backup_and_only_by_post(hall: Hall, tmp_path: Path) -> None:
    assert hall.client(hall.lead).get("/records/backup/").status_code == 405
    assert hall.client(hall.builder).post("/records/backup/").status_code == 403
    assert hall.client().post("/records/backup/").status_code == 302
    assert hall.client(hall.lead, enforce_csrf_checks=True).post("/records/backup/").status_code == 403
    assert queries.backups() == ()


def test_the_page_warns_while_there_is_no_backup(hall: Hall) -> None:
    hall.hand()
    page = hall.client(hall.lead).get("/records/").content.decode()
    assert "There is no backup yet." in page
    assert "1 hand," in page


def test_a_backup_made_from_the_page_can_be_saved_elsewhere(shared_hall: Hall, tmp_path: Path) -> None:
    shared_hall.hand()
    client = shared_hall.client(shared_hall.lead)
    for _ in range(2):  # tapped twice
        answer = client.post("/records/backup/")
        assert (answer.status_code, answer["Location"]) == (303, "/records/")
    made = queries.backups()
    assert len(made) == 1
    page = client.get("/records/").content.decode()
    assert "Everything is in the newest backup." in page
    answer = client.get(f"/records/backups/{made[0].name}")
    assert answer["Content-Disposition"].startswith("attachment")
    saved = tmp_path / "saved.zip"
    saved.write_bytes(body(answer))
    assert check(saved).hands == 1


@pytest.mark.parametrize(
    "name", ["x.zip", "..%2fhandsel.sqlite3", "handsel-2026-11-21-150405.zip.part", "handsel.sqlite3"]
)
def test_nothing_but_backups_can_be_fetched(hall: Hall, tmp_path: Path, name: str) -> None:
    (tmp_path / "backups").mkdir()
    (tmp_path / "backups" / "x.zip").write_text("x")
    assert hall.client(hall.lead).get(f"/records/backups/{name}").status_code == 404


def test_a_check_says_that_nothing_was_changed_and_what_it_cannot_see(hall: Hall) -> None:
    hall.hand()
    page = hall.client(hall.lead).get("/records/check/").content.decode()
    assert "Nothing was changed." in page
    assert root_of(hall.day) in page
    assert "compute every fingerprint anew" in page


def test_a_check_names_what_was_changed(hall: Hall) -> None:
    hand = hall.hand()
    Hand.objects.filter(pk=hand.pk).update(sentence="<b>Good</b>")
    page = hall.client(hall.lead).get("/records/check/").content.decode()
    assert "1 thing not as written" in page
    assert hand.shown_code in page
    assert "<b>Good</b>" not in page


def test_a_root_from_paper_is_compared(hall: Hall) -> None:
    hall.hand()
    client, root = hall.client(hall.lead), root_of(hall.day)
    assert "is a root of these records" in client.get("/records/check/", {"root": root[:20]}).content.decode()
    assert "never the root" in client.get("/records/check/", {"root": "0" * 64}).content.decode()
    wrong = client.get("/records/check/", {"root": "<script>"})
    assert wrong.status_code == 200
    assert "is no root" in wrong.content.decode()
    assert "<script>" not in wrong.content.decode().replace("<script src", "")


def test_large_records_are_left_to_the_command_line(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    hall.hand()
    monkeypatch.setattr(queries, "MOST_ENTRIES_INLINE", 0)
    monkeypatch.setattr(queries, "MOST_BYTES_INLINE", -1)
    client = hall.client(hall.lead)
    assert "handsel verify" in client.get("/records/check/").content.decode()
    assert "handsel backup" in client.get("/records/").content.decode()
    assert client.post("/records/backup/").status_code == 409


def test_everything_can_be_downloaded_and_nothing_is_left_behind(hall: Hall, tmp_path: Path) -> None:
    hand = hall.hand()
    answer = hall.client(hall.lead).get("/records/export.zip?photos=1")
    assert answer["Content-Disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(body(answer))) as zipped:
        assert {"records.jsonl", "hands.csv", f"cases/{hand.code}.toml"} <= set(zipped.namelist())
    assert [p for p in tmp_path.iterdir() if p.name.startswith(".export")] == []


def test_a_hands_case_file_is_for_people_who_are_signed_in(hall: Hall, tmp_path: Path) -> None:
    hand = hall.hand(at="dry-fit")
    path = f"/h/{hand.code}/case.toml"
    assert hall.client().get(path).status_code == 302
    client = hall.client(hall.builder)
    assert client.post(path).status_code == 405
    answer = client.get(path)
    (tmp_path / "case.toml").write_bytes(answer.content)
    assert load_case(tmp_path / "case.toml").hand.code == "R-014"
    assert client.get(f"/h/{hand.shown_code}/case.toml").content == answer.content
    assert client.get("/h/222222/case.toml").status_code == 404
    assert client.get("/h/K7M4Q2/case.toml").status_code == 400


def test_the_number_of_queries_does_not_grow(hall: Hall) -> None:
    client = hall.client(hall.lead)
    counts = []
    for n in range(3):
        hall.hand(code=f"R-01{n}")
        with CaptureQueriesContext(connection) as asked:
            client.get("/records/")
        counts.append(len(asked))
    assert counts[0] == counts[2] <= 14
