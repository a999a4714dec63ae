"""Verifying: whatever is changed later in the records is found, and it is said where."""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from bench.hall import Hall, good_entries
from bench.pictures import saved, scene
from handsel.bench.hands.append_only import switch
from handsel.bench.hands.chain import New, append, canonical
from handsel.bench.hands.codes import shown
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.bench.hands.root import root_of
from handsel.bench.photos import places, services
from handsel.bench.photos.models import Photo
from handsel.bench.records.roots import meet, typed_root
from handsel.bench.records.verifying import Verified, verify
from handsel.errors import OutOfRange

Workers = Callable[[], None]


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path
    settings.PHOTOS = tmp_path / "photos"


@pytest.fixture
def hands(hall: Hall) -> list[Hand]:
    """Three hands with some history."""
    found = [hall.hand(code=f"R-01{n}", at="dry-fit") for n in range(3)]
    for hand in found:
        append(hand, good_entries(hand, "dry-fit")[:4], person=hall.inspector)
        append(hand, [New(kind="noted", what={"text": "hinge a little stiff"})], person=hall.builder)
    return found


def tamper(statement: str, *values: Any) -> None:
    """Change the database behind the program's back, and cover the tracks."""
    with connection.cursor() as cursor:
        for trigger in ("entry_no_update", "entry_no_delete"):
            cursor.execute(f"DROP TRIGGER {trigger}")
        cursor.execute(statement, values)
        # pytest's transaction is open, so the schema editor cannot be used here
    with connection.cursor() as cursor:
        for verb in ("UPDATE", "DELETE"):
            cursor.execute(
                f"CREATE TRIGGER entry_no_{verb.lower()} BEFORE {verb} ON hands_entry "
                "BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END"
            )


def found(v: Verified) -> set[tuple[str, str, int | None]]:
    return {(f.kind, f.hand, f.seq) for f in v.findings}


def entry(hand: Hand, seq: int) -> Entry:
    return Entry.objects.get(hand=hand, seq=seq)


# ---- nothing changed -----------------------------------------------------------------------------------


def test_records_as_they_were_written_are_good(hall: Hall, hands: list[Hand], no_workers: Workers) -> None:
    import io

    services.take_in(io.BytesIO(saved(scene())), client_id="p" * 16, person=hall.builder, hand=hands[0])
    services.take_in(io.BytesIO(saved(scene(9, 9))), client_id="q" * 16, person=hall.builder)
    assert verify().findings == []  # while a photo waits for the worker
    no_workers()
    services.erase(Photo.objects.get(client_id="q" * 16), person=hall.lead, because="test")
    v = verify()
    assert v.findings == []
    assert v.is_good
    assert (v.hands_count, v.entries_count, v.photos_count) == (3, Entry.objects.count(), 2)
    assert v.texts_count == KeptText.objects.count() > 0
    assert [r.root_sha256 for r in v.roots] == [root_of(hall.day)]


def test_a_hand_through_its_whole_life_is_good(hall: Hall) -> None:
    hand = hall.hand(at="strung")
    append(hand, good_entries(hand, "strung")[:5], person=hall.inspector)
    what = {"of": "press-test", "place": "", "reason": "seen before"}
    for kind, told in (
        ("withdrawn", {"seq": hand.entry_count, "reason": "slip"}),
        ("put-down", {}),
        ("taken", {"to": "build"}),
        ("asked", {"hold_point": "strung"}),
        ("conceded", what),
        ("changed", {"field": "target_rest_angle_deg", "old": None, "new": 30.0}),
    ):
        append(hand, [New(kind=kind, what=told)], person=hall.lead)
    Hand.objects.filter(pk=hand.pk).update(target_rest_angle_deg=30.0)
    append(hand, [New(kind="scrapped", what={"reason": "fell"})], person=hall.lead)
    assert verify().findings == []


def test_progress_is_told_to_the_end(hands: list[Hand]) -> None:
    told: list[tuple[int, int]] = []
    verify(progress=lambda done, steps: told.append((done, steps)))
    assert told[-1] == (3 + KeptText.objects.count(), 3 + KeptText.objects.count())
    assert [done for done, _ in told] == list(range(1, len(told) + 1))


def test_verifying_writes_nothing_and_asks_a_bounded_number_of_times(
    hands: list[Hand], django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(3 * 2 + 30) as asked:
        verify()
    assert not [q for q in asked.captured_queries if q["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]


# ---- every kind of tampering, found and located --------------------------------------------------------


def test_one_changed_byte(hands: list[Hand]) -> None:
    at = entry(hands[1], 4)
    record = bytearray(at.record)
    place = record.index(b"yes") if b"yes" in record else len(record) // 2
    record[place] ^= 1
    tamper("UPDATE hands_entry SET record = %s WHERE id = %s", bytes(record), at.pk)
    v = verify()
    assert ("changed", hands[1].code, 4) in found(v)
    assert {f.hand for f in v.findings} == {hands[1].code}
    assert {f.seq for f in v.findings} == {4}
    assert str(v.findings[0]).startswith(f"{shown(hands[1].code)}, entry 4: ")


@pytest.mark.parametrize("which", range(6))
def test_any_bit_of_an_entry(hands: list[Hand], which: int) -> None:
    at = entry(hands[0], 3)
    record = bytearray(at.record)
    record[len(record) * which // 6] ^= 1 << (which % 8)
    tamper("UPDATE hands_entry SET record = %s WHERE id = %s", bytes(record), at.pk)
    assert ("changed", hands[0].code, 3) in found(verify())


def test_a_changed_answer_with_its_fingerprint_made_anew(hands: list[Hand]) -> None:
    at = entry(hands[1], 4)
    told = at.told()
    told["what"]["note"] = "was fine"
    record = canonical(told)
    tamper(
        "UPDATE hands_entry SET record = %s, sha256 = %s WHERE id = %s",
        record,
        sha256(record).hexdigest(),
        at.pk,
    )
    v = verify()
    assert found(v) == {("link", hands[1].code, 5)}
    assert "does not follow from entry 4" in v.findings[0].what


def test_the_last_entry_changed_with_its_fingerprint_made_anew(hands: list[Hand]) -> None:
    at = entry(hands[2], hands[2].entry_count)
    told = at.told()
    told["what"]["text"] = "all fine"
    record = canonical(told)
    tamper(
        "UPDATE hands_entry SET record = %s, sha256 = %s WHERE id = %s",
        record,
        sha256(record).hexdigest(),
        at.pk,
    )
    assert found(verify()) == {("head", hands[2].code, hands[2].entry_count)}


def test_a_deleted_entry(hands: list[Hand]) -> None:
    pk = entry(hands[0], 5).pk
    tamper("DELETE FROM hands_entry WHERE id = %s", pk)
    v = verify()
    assert ("missing", hands[0].code, 5) in found(v)
    assert ("missing", "", None) in found(v)
    assert f"row {pk} was taken out" in " ".join(f.what for f in v.findings)
    assert {f.hand for f in v.findings} == {hands[0].code, ""}


def test_the_first_entry_deleted(hands: list[Hand]) -> None:
    tamper("DELETE FROM hands_entry WHERE id = %s", entry(hands[0], 1).pk)
    assert ("missing", hands[0].code, 1) in found(verify())


def test_two_entries_swapped(hands: list[Hand]) -> None:
    a, b = entry(hands[2], 4), entry(hands[2], 5)
    tamper("UPDATE hands_entry SET seq = 1000 - seq WHERE id IN (%s, %s)", a.pk, b.pk)
    tamper("UPDATE hands_entry SET seq = seq - 991 + 0 WHERE id = %s", a.pk)  # 996 -> 5
    tamper("UPDATE hands_entry SET seq = seq - 991 WHERE id = %s", b.pk)  # 995 -> 4
    assert {entry(hands[2], 4).pk, entry(hands[2], 5).pk} == {a.pk, b.pk}
    assert entry(hands[2], 4).pk == b.pk
    v = verify()
    assert {("moved", hands[2].code, 4), ("moved", hands[2].code, 5)} <= found(v)


def test_an_entry_moved_to_another_hand(hands: list[Hand]) -> None:
    at = entry(hands[0], hands[0].entry_count)
    tamper(
        "UPDATE hands_entry SET hand_id = %s, seq = %s WHERE id = %s",
        hands[1].pk,
        hands[1].entry_count + 1,
        at.pk,
    )
    kinds = found(verify())
    assert ("moved", hands[1].code, hands[1].entry_count + 1) in kinds
    assert ("missing", hands[0].code, hands[0].entry_count) in kinds


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("kind", "noted"),
        ("client_id", "x" * 32),
        ("at", "2020-01-01 00:00:00"),
        ("sha256", "0" * 64),
    ],
)
def test_a_changed_column(hands: list[Hand], column: str, value: str) -> None:
    tamper(f"UPDATE hands_entry SET {column} = %s WHERE id = %s", value, entry(hands[1], 3).pk)
    v = verify()
    kind = "changed" if column == "sha256" else "column"
    assert (kind, hands[1].code, 3) in found(v)
    assert {f.hand for f in v.findings} == {hands[1].code}


def test_a_changed_person(hall: Hall, hands: list[Hand]) -> None:
    tamper("UPDATE hands_entry SET person_id = %s WHERE id = %s", hall.fitter.pk, entry(hands[1], 3).pk)
    assert found(verify()) == {("column", hands[1].code, 3)}


def test_a_tail_cut_off(hands: list[Hand]) -> None:
    last = hands[1].entry_count
    tamper("DELETE FROM hands_entry WHERE hand_id = %s AND seq > %s", hands[1].pk, last - 2)
    v = verify()
    assert ("missing", hands[1].code, last - 1) in found(v)
    assert "2 entries" in next(f.what for f in v.findings if f.hand)


def test_a_tail_cut_off_and_the_head_set_back_leaves_gaps_in_the_table(hands: list[Hand]) -> None:
    last = hands[1].entry_count
    tamper("DELETE FROM hands_entry WHERE hand_id = %s AND seq = %s", hands[1].pk, last)
    Hand.objects.filter(pk=hands[1].pk).update(
        entry_count=last - 1, head_sha256=entry(hands[1], last - 1).sha256
    )
    assert ("missing", "", None) in found(verify())


def test_a_changed_head(hands: list[Hand]) -> None:
    Hand.objects.filter(pk=hands[0].pk).update(head_sha256="a" * 64)
    assert found(verify()) == {("head", hands[0].code, hands[0].entry_count)}


def test_a_changed_count(hands: list[Hand]) -> None:
    Hand.objects.filter(pk=hands[0].pk).update(entry_count=hands[0].entry_count - 1)
    assert found(verify()) == {("head", hands[0].code, hands[0].entry_count)}


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("standing", "released"),
        ("hold_point", "finished"),
        ("blocked_by", "nothing"),
        ("sentence", "Good in every way."),
        ("was_refused", True),
        ("recipient_code", "R-999"),
        ("side", "left"),
        ("scale_ratio", 1.0),
        ("latex_sensitive", True),
        ("serial", "H-9999"),
        ("practice", "fault"),
    ],
)
def test_what_a_hands_row_says_against_its_record(hands: list[Hand], column: str, value: Any) -> None:
    Hand.objects.filter(pk=hands[2].pk).update(**{column: value})
    assert found(verify()) == {("standing", hands[2].code, None)}


def test_a_holder_and_times_against_the_record(hall: Hall, hands: list[Hand]) -> None:
    from datetime import timedelta

    Hand.objects.filter(pk=hands[0].pk).update(
        held_by=hall.lead, since=hands[0].since - timedelta(hours=1), released_at=hands[0].since
    )
    assert [f.kind for f in verify().findings] == ["standing"] * 3


@pytest.mark.parametrize("kind", ["design", "protocol"])
def test_a_changed_text(hands: list[Hand], kind: str) -> None:
    kept = KeptText.objects.filter(kind=kind).first()
    assert kept is not None
    KeptText.objects.filter(pk=kept.pk).update(text=kept.text.replace("1", "2", 1))
    v = verify()
    assert [f.kind for f in v.findings] == ["text"]
    assert kept.name in v.findings[0].where


def test_a_hand_without_its_row(hands: list[Hand]) -> None:
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        cursor.execute("PRAGMA defer_foreign_keys = ON")
        cursor.execute("UPDATE hands_hand SET id = id + 1000 WHERE id = %s", [hands[0].pk])
        v = verify()
        cursor.execute("UPDATE hands_hand SET id = id - 1000 WHERE id = %s", [hands[0].pk + 1000])
    assert ("database", "", None) in found(v)
    assert ("missing", hands[0].code, 1) in found(v)


def test_a_database_whose_refusal_was_switched_off(hands: list[Hand]) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER entry_no_update")
    v = verify()
    assert found(v) == {("database", "", None)}
    assert "refusal" in v.findings[0].what


def test_content_that_is_no_json_or_has_the_wrong_form(hands: list[Hand]) -> None:
    for record in (b"", b"[]", b"{", b"\xff\xfe", b'{"hand":1}', b"[" * 50_000):
        at = entry(hands[0], 2)
        tamper("UPDATE hands_entry SET record = %s WHERE id = %s", record, at.pk)
        assert ("changed", hands[0].code, 2) in found(verify())


def test_an_entry_that_was_written_well_and_makes_no_sense_is_found(hall: Hall, hands: list[Hand]) -> None:
    hand = hands[0]
    record = canonical(
        {
            "hand": hand.code,
            "seq": hand.entry_count + 1,
            "prev": hand.head_sha256,
            "kind": "decided",
            "at": "2026-11-21T10:00:00.000000Z",
            "by": {"number": hall.lead.number, "called": "lead 1"},
            "client_id": "z" * 20,
            "what": {"whole": "invented"},
        }
    )
    digest = sha256(record).hexdigest()
    Entry.objects.create(
        hand=hand, seq=hand.entry_count + 1, kind="decided", client_id="z" * 20, person=hall.lead,
        at="2026-11-21T10:00:00Z", record=record, sha256=digest,
    )  # fmt: skip
    Hand.objects.filter(pk=hand.pk).update(entry_count=hand.entry_count + 1, head_sha256=digest)
    assert found(verify()) == {("changed", hand.code, hand.entry_count + 1)}


def test_a_broken_hand_does_not_fill_the_screen(hands: list[Hand]) -> None:
    tamper("UPDATE hands_entry SET kind = 'asked' WHERE hand_id = %s", hands[0].pk)
    v = verify()
    assert len([f for f in v.findings if f.hand == hands[0].code]) == 21
    assert "more findings" in v.findings[-1].what


# ---- photos --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["changed", "missing", "thumb", "raw", "back"])
def test_a_photo_that_is_not_as_it_was(hall: Hall, hands: list[Hand], no_workers: Workers, what: str) -> None:
    import io

    photo, _ = services.take_in(
        io.BytesIO(saved(scene())), client_id="p" * 16, person=hall.builder, hand=hands[1]
    )
    if what == "raw":
        places.raw(photo).write_bytes(b"other")
    else:
        no_workers()
    photo.refresh_from_db()
    if what in ("changed", "thumb"):
        path = places.kept(photo.sha256 if what == "changed" else photo.thumb_sha256)
        path.write_bytes(path.read_bytes()[:-1] + b"\0")
    elif what == "missing":
        places.kept(photo.sha256).unlink()
    elif what == "back":
        data = places.kept(photo.sha256).read_bytes()
        services.erase(photo, person=hall.lead, because="test")
        assert verify().findings == []
        places.kept(photo.sha256).write_bytes(data)
    v = verify()
    assert found(v) == {("photo", hands[1].code, None)}
    assert "photo pppp" in v.findings[0].where


# ---- the root on paper ---------------------------------------------------------------------------------


def test_a_root_from_paper_is_met_although_the_day_went_on(hall: Hall, hands: list[Hand]) -> None:
    printed, count = root_of(hall.day), Entry.objects.count()
    append(hands[0], [New(kind="noted", what={"text": "later"})], person=hall.lead)
    hall.hand(code="R-020")
    for entries_count in (None, count):
        v = verify(
            root=typed_root(f"{printed[:8]} {printed[8:16].upper()} {printed[16:]}"),
            entries_count=entries_count,
        )
        assert v.is_good
        assert v.met is not None
        assert v.met.entries_count == count
    assert meet(printed, count + 1) is None


def test_chains_computed_anew_from_end_to_end_are_only_found_with_the_root(
    hall: Hall, hands: list[Hand]
) -> None:
    printed = root_of(hall.day)
    hand, prev = hands[0], ""
    for at in Entry.objects.filter(hand=hand).order_by("seq"):
        told = at.told() | {"prev": prev}
        if at.seq == 3:
            told["what"] = told["what"] | {"note": "looked fine"}
        record = canonical(told)
        prev = sha256(record).hexdigest()
        tamper("UPDATE hands_entry SET record = %s, sha256 = %s WHERE id = %s", record, prev, at.pk)
    Hand.objects.filter(pk=hand.pk).update(head_sha256=prev)
    assert verify().is_good
    v = verify(root=printed)
    assert v.findings == []
    assert not v.is_good


@pytest.mark.parametrize("typed", ["", "abc", "g" * 64, "0" * 65, "12345678 1234567"])
def test_what_is_no_root_is_said_so(typed: str) -> None:
    with pytest.raises(OutOfRange, match="root"):
        typed_root(typed)


# ---- the command ---------------------------------------------------------------------------------------


def test_the_command_says_what_it_found_and_where(shared_hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    from click.testing import CliRunner

    from handsel.bench.commands import folder
    from handsel.bench.commands import verify as verb

    monkeypatch.setattr(folder, "open_records", lambda data: data)
    hand = shared_hall.hand(at="dry-fit")
    told = CliRunner().invoke(verb.command, [])
    assert told.exit_code == 0, told.output
    assert told.output.startswith("Nothing was changed: 1 hand with ")
    assert "handsel verify --root" in told.output.replace("\n", " ")
    assert root_of(shared_hall.day) in told.output
    with connection.schema_editor() as editor:
        switch(editor, "off")
    tamper_row = entry(hand, 2)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE hands_entry SET kind = 'noted' WHERE id = %s", [tamper_row.pk])
    told = CliRunner().invoke(verb.command, ["--json"])
    assert told.exit_code == 1
    data = json.loads(told.stdout)
    assert data["good"] is False
    assert {"kind": "column", "hand": hand.code, "entry": 2} == {
        k: data["findings"][-1][k] for k in ("kind", "hand", "entry")
    }
    told = CliRunner().invoke(verb.command, ["--root", "0" * 64])
    assert told.exit_code == 1
    assert "never the root" in told.output


def test_a_folder_without_records_is_left_as_it_is(tmp_path: Path) -> None:
    from handsel.bench.commands.folder import NoRecords, open_records

    with pytest.raises(NoRecords, match="no records lie here"):
        open_records(tmp_path / "none")
    assert not (tmp_path / "none").exists()
