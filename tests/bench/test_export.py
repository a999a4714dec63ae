"""Exports: everything is in them, they read back to the same records, and hostile ones are never written."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.apps import apps
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench.folders import folder_of_now, handsel
from bench.hall import Hall, good_entries
from bench.pictures import saved, scene
from handsel.bench.days.models import Day, Lot
from handsel.bench.hands.casebook import case_of, told_of
from handsel.bench.hands.chain import New, append, canonical
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.bench.hands.root import root_of
from handsel.bench.people.models import Person
from handsel.bench.photos import places, services
from handsel.bench.photos.models import Photo
from handsel.bench.records.backing_up import AlreadyThere
from handsel.bench.records.export_file import cases, export_to, import_from
from handsel.bench.records.export_lines import BadExport
from handsel.bench.records.exporting import record_lines, records_schema
from handsel.bench.records.import_lines import Collides
from handsel.bench.records.importing import import_records
from handsel.bench.records.rows import LEFT_OUT, TABLES, fields_of
from handsel.bench.records.spreadsheets import cell
from handsel.bench.records.verifying import verify
from handsel.data.load_case import load_case
from handsel.data.load_protocol import load_protocol
from handsel.inspection.deciding import inspect

Workers = Callable[[], None]
# Not exported: what is a cache, a key, or of Django's own making.
# A reading that somebody took is an entry; one that nobody took can be read again from its photo, which is exported.
ELSEWHERE = {"auth.Permission", "auth.Group", "contenttypes.ContentType", "sessions.Session", "jobs.Job",
             "people.JoinPass", "ready.Tick", "hands.Hand", "hands.Entry", "measuring.Measurement",
             # Plans are made anew; each proof of a cause is an entry too, and what a bench made of them is its own.
             "planning.GoneBy", "planning.Plan", "causes.LearnedEntry"}  # fmt: skip


@pytest.fixture(autouse=True)
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA = tmp_path / "data"
    settings.PHOTOS = settings.DATA / "photos"
    settings.DATA.mkdir()


@pytest.fixture
def busy(hall: Hall, no_workers: Workers) -> Hall:
    """A day with some of everything."""
    Person.objects.filter(pk=hall.builder.pk).update(name="=Ada")
    hand = hall.hand(at="strung")
    append(hand, good_entries(hand, "strung")[:6], person=hall.inspector)
    rework = {"rework": "restring-all", "place": "", "title": "Restring", "minutes": 25, "skill": "builder"}
    append(
        hand,
        [
            New(kind="observed", what={"of": "kit-complete", "place": "", "answer": "no", "note": "=HYPERLINK(1)"}),
            New(kind="ordered", what=rework),
            New(kind="did", what={"what": "restring-all", "is_rework": True, "at": "strung", "cards_left": 0,
                                  "closes_card": hand.entry_count}),
            New(kind="noted", what={"text": "knot é", "photo": "p" * 16}),
            New(kind="observed", what={"of": "starts", "place": "index", "answer": "late", "from": "causes"}),
            New(kind="withdrawn", what={"seq": hand.entry_count + 5, "reason": "wrong", "from": "causes"}),
            New(kind="learned", what={"fault": "wrist-tight", "place": "", "rework": "ease-wrist",
                                      "symptom": "smooth-travel", "decided": 1}),
        ],
        person=hall.builder,
    )  # fmt: skip
    lot = Lot.objects.create(
        day=hall.day, kind="cord", name="braid 0.8", added_by=hall.lead, added_at=hand.begun_at
    )
    append(
        hand,
        [New(kind="lot-used", what={"lot": lot.pk, "kind": "cord", "name": lot.name})],
        person=hall.builder,
    )
    gone = hall.hand(code="R-015", side="left")
    append(gone, [New(kind="scrapped", what={"reason": "cracked"})], person=hall.lead)
    services.take_in(io.BytesIO(saved(scene())), client_id="p" * 16, person=hall.builder, hand=hand)
    services.take_in(io.BytesIO(saved(scene(50, 40))), client_id="q" * 16, person=hall.builder)
    no_workers()
    services.erase(Photo.objects.get(client_id="q" * 16), person=hall.lead, because="test")
    return hall


def emptied() -> None:
    """As a new folder is: no rows of ours."""
    from django.db import connection

    with connection.cursor() as cursor:
        for trigger in ("entry_no_update", "entry_no_delete"):
            cursor.execute(f"DROP TRIGGER {trigger}")
        cursor.execute("PRAGMA defer_foreign_keys = ON")
        for model in (Photo, Entry, Hand, Lot, Day, KeptText, Person):
            cursor.execute(f"DELETE FROM {model._meta.db_table}")
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [model._meta.db_table])
        for verb in ("UPDATE", "DELETE"):
            cursor.execute(
                f"CREATE TRIGGER entry_no_{verb.lower()} BEFORE {verb} ON hands_entry "
                "BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END"
            )


def state() -> dict[str, Any]:
    """What is on record, without row numbers."""
    hands = Hand.objects.order_by("code").values(
        "code", "serial", "recipient_code", "side", "scale_ratio", "standing", "hold_point", "since",
        "held_by__number", "sentence", "was_refused", "entry_count", "head_sha256", "design_id", "protocol_id",
        "begun_at", "day__title", "target_rest_angle_deg", "latex_sensitive", "released_at", "practice", "blocked_by",
    )  # fmt: skip
    return {
        "hands": list(hands),
        "entries": [(bytes(r), s, n) for r, s, n in Entry.objects.order_by("pk").values_list(
            "record", "sha256", "person__number")],
        "people": list(Person.objects.order_by("number").values_list("number", "name", "is_lead", "may_fit")),
        "lots": list(Lot.objects.values_list("pk", "kind", "name", "added_by__number")),
        "texts": set(KeptText.objects.values_list("sha256", "name", "text")),
        "photos": list(Photo.objects.order_by("client_id").values_list(
            "client_id", "state", "sha256", "erased_because", "hand__code")),
    }  # fmt: skip


def lines() -> list[dict[str, Any]]:
    return [json.loads(line) for line in record_lines()]


def written(folder: Path, data: list[dict[str, Any]], *, sealed: bool = True) -> Path:
    """An export with these lines, its end made to fit."""
    body = b"".join(json.dumps(d, separators=(",", ":")).encode() + b"\n" for d in data if d["is"] != "end")
    count = body.count(b"\n")
    if sealed:
        body += json.dumps({"is": "end", "lines": count, "sha256": sha256(body).hexdigest()}).encode() + b"\n"
    path = folder / "records.jsonl"
    path.write_bytes(body)
    return path


_KEPT: list[str] = []


@pytest.fixture
def exported(request: pytest.FixtureRequest, db: None) -> list[dict[str, Any]]:
    """The lines of a busy day's export, and an empty bench. Made once: only files differ in these tests."""
    if not _KEPT:
        request.getfixturevalue("busy")
        _KEPT.append(json.dumps(lines()))
        emptied()
    data: list[dict[str, Any]] = json.loads(_KEPT[0])
    return data


# ---- complete and as described -------------------------------------------------------------------------


def test_every_table_is_exported_or_known_to_stay() -> None:
    ours = {m._meta.label for m in apps.get_models()}
    assert ours - ELSEWHERE == {m._meta.label for m in TABLES.values()}, (
        "a table was added: export it in records/rows.py, or say here why it stays"
    )
    for kind, model in TABLES.items():
        names = {f.name for f in model._meta.concrete_fields} - LEFT_OUT - {"id"}
        assert names <= {f.name for f in fields_of(kind)}


def test_every_line_is_as_the_schema_says(busy: Hall) -> None:
    schema = records_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    found = lines()
    assert {d["is"] for d in found} == {
        "records",
        "text",
        "person",
        "day",
        "lot",
        "hand",
        "entry",
        "photo",
        "end",
    }
    for data in found:
        validator.validate(data)
    assert not validator.is_valid(found[1] | {"more": 1})


def test_the_chain_can_be_checked_with_nothing_but_the_file(busy: Hall) -> None:
    heads: dict[str, str] = {}
    count = 0
    for data in lines():
        if data["is"] == "entry":
            assert sha256(data["record"].encode()).hexdigest() == data["sha256"]
            told = json.loads(data["record"])
            assert told["prev"] == heads.get(data["hand"], "")
            heads[data["hand"]] = data["sha256"]
            count += 1
    assert count == Entry.objects.count()
    assert heads == dict(Hand.objects.values_list("code", "head_sha256"))


def test_passphrases_stay_where_they_are(busy: Hall) -> None:
    busy.lead.set_password("a long passphrase of the lead")
    busy.lead.save()
    text = b"".join(record_lines())
    assert b"pbkdf2" not in text
    assert busy.lead.password.encode() not in text
    assert b"password" not in text


# ---- round trip ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".zip", ".jsonl"])
def test_what_is_read_back_is_what_was_there(busy: Hall, tmp_path: Path, ending: str) -> None:
    place = tmp_path / f"out{ending}"
    export_to(place)
    before, root = state(), root_of(busy.day)
    emptied()
    if ending == ".zip":
        import shutil

        shutil.rmtree(places.kept("0" * 64).parent.parent)
    done = import_from(place)
    assert state() == before
    assert (done.hands_count, done.entries_count, done.photos_count) == (2, len(before["entries"]), 2)
    assert root_of(Day.objects.get()) == root
    assert verify().findings == []
    assert all(not p.has_usable_password() for p in Person.objects.all())
    # Read once more, nothing comes in twice.
    again = import_from(place)
    assert (again.hands_count, again.entries_count, len(again.known_hands)) == (0, 0, 2)
    assert state() == before


def test_a_photo_whose_picture_is_not_in_the_file_says_so(busy: Hall, tmp_path: Path) -> None:
    export_to(tmp_path / "out.zip", with_photos=False)
    emptied()
    for path in places.incoming().parent.glob("photos/*/*.jpg"):
        path.unlink()
    done = import_from(tmp_path / "out.zip")
    assert done.without_picture == 1
    photo = Photo.objects.get(client_id="p" * 16)
    assert (photo.state, "not in the file" in photo.reason) == ("refused", True)
    assert verify().findings == []


def test_new_hands_come_into_a_bench_that_has_others_of_the_same_day(busy: Hall, tmp_path: Path) -> None:
    export_to(tmp_path / "first.jsonl")
    more = busy.hand(code="R-030", at="dry-fit")
    export_to(tmp_path / "second.jsonl")
    before = state()
    emptied()
    import_from(tmp_path / "first.jsonl")
    assert not Hand.objects.filter(code=more.code).exists()
    done = import_from(tmp_path / "second.jsonl")
    assert (done.hands_count, len(done.known_hands)) == (1, 2)
    assert state()["hands"] == before["hands"]
    assert verify().findings == []


def test_a_hand_that_went_on_elsewhere_is_not_overwritten(busy: Hall, tmp_path: Path) -> None:
    export_to(tmp_path / "first.jsonl")
    hand = Hand.objects.get(recipient_code="R-014")
    append(hand, [New(kind="noted", what={"text": "later"})], person=busy.lead)
    before = state()
    with pytest.raises(Collides, match="another record"):
        import_from(tmp_path / "first.jsonl")
    assert state() == before


def test_another_benchs_people_are_not_mixed_with_ours(busy: Hall, tmp_path: Path) -> None:
    data = lines()
    person = next(d for d in data if d["is"] == "person")
    person["joined_at"] = "2020-01-01T00:00:00.000000Z"
    before = state()
    with pytest.raises(Collides, match="person 1 here is another"):
        import_records(written(tmp_path, data))
    assert state() == before


def test_case_files_read_back_to_the_same_inspection(busy: Hall, tmp_path: Path) -> None:
    protocol = load_protocol()
    for code, text in cases():
        hand = Hand.objects.get(code=code)
        (tmp_path / f"{code}.toml").write_text(text, encoding="utf-8")
        found = inspect(load_case(tmp_path / f"{code}.toml"), protocol)
        wanted = inspect(case_of(hand, told_of(hand)), protocol)
        assert found.whole == wanted.whole
        assert [(i.id, i.place, i.status, i.reason) for i in found.items] == [
            (i.id, i.place, i.status, i.reason) for i in wanted.items
        ]


# ---- tables --------------------------------------------------------------------------------------------


def table(place: Path, name: str) -> list[dict[str, str]]:
    with zipfile.ZipFile(place) as zipped:
        text = zipped.read(f"{name}.csv").decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_the_tables_say_what_the_records_say(busy: Hall, tmp_path: Path) -> None:
    place = tmp_path / "out.zip"
    export_to(place)
    hands = table(place, "hands")
    assert [(h["recipient"], h["side"], h["scale_percent"]) for h in hands] == [
        ("R-014", "right", "110.0"),
        ("R-015", "left", "110.0"),
    ]
    seen = table(place, "observations")
    told = [e for e in Entry.objects.filter(kind="observed")]
    assert len(seen) == len(told)
    number, column = next((r, c) for r in seen for c in r if c.startswith("value_") and r[c])
    entry = Entry.objects.get(hand__recipient_code=number["recipient"], seq=number["entry"])
    assert (float(number[column]), column) == (entry.what["value"], f"value_{entry.what['unit']}")
    assert [r["title"] for r in table(place, "rework")] == ["Restring", ""]
    assert {d["kind"] for d in table(place, "decisions")} == {"decided", "scrapped"}
    assert table(place, "lots")[0]["hands"] == hands[0]["hand"]
    assert [p["state"] for p in table(place, "photos")] == ["ready", "erased"]
    with zipfile.ZipFile(place) as zipped:
        names = zipped.namelist()
        assert "READ-ME.txt" in names
        assert sum(n.startswith("cases/") for n in names) == 2
        assert sum(n.startswith("photos/") for n in names) == 2


def test_no_cell_is_a_formula(busy: Hall, tmp_path: Path) -> None:
    place = tmp_path / "out.zip"
    export_to(place)
    cells = [
        value
        for name in ("hands", "observations", "decisions", "rework", "lots", "photos")
        for row in table(place, name)
        for value in row.values()
    ]
    assert "'=HYPERLINK(1)" in cells
    assert not [c for c in cells if c.startswith(("=", "+", "@", "\t", "\r"))]
    assert [c for c in cells if c.startswith("-")] == [c for c in cells if c.startswith("-") and float(c) < 0]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-2+3", "'-2+3"),
        ("\t=1", "'\t=1"),
        (-2.5, "-2.5"),
        (0, "0"),
        (True, "yes"),
        (None, ""),
        ("R-014", "R-014"),
        (0.1, "0.1"),
    ],
)
def test_a_cell(value: Any, shown: str) -> None:
    assert cell(value) == shown


def test_a_file_that_is_there_is_never_overwritten(busy: Hall, tmp_path: Path) -> None:
    for name in ("out.zip", "out.jsonl"):
        (tmp_path / name).write_text("mine")
        with pytest.raises(AlreadyThere):
            export_to(tmp_path / name)
        assert (tmp_path / name).read_text() == "mine"


# ---- damaged and hostile files -------------------------------------------------------------------------


def refused(path: Path) -> str:
    """Refused before anything was written; the words."""
    before = state()
    with pytest.raises((BadExport, Collides)) as told:
        import_from(path)
    assert state() == before
    return str(told.value)


Change = Callable[[list[dict[str, Any]]], None]


def _first(data: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    return next(d for d in data if d["is"] == kind)


def _nth_entry(data: list[dict[str, Any]], n: int) -> dict[str, Any]:
    return [d for d in data if d["is"] == "entry"][n]


def _rewrite(entry: dict[str, Any], **changed: Any) -> None:
    """Change an entry and make its own fingerprint fit."""
    entry["record"] = canonical(json.loads(entry["record"]) | changed).decode()
    entry["sha256"] = sha256(entry["record"].encode()).hexdigest()


HOSTILE: list[tuple[str, Change, str]] = [
    ("no format", lambda d: d[0].pop("format"), "line 1"),
    ("newer format", lambda d: d[0].update(format="handsel-records/2"), "this version reads"),
    ("unknown kind", lambda d: d.insert(1, {"is": "hat"}), "line 2: no line is a 'hat'"),
    ("second beginning", lambda d: d.insert(1, dict(d[0])), "line 2"),
    ("unknown field", lambda d: _first(d, "person").update(shoe=44), "'shoe' is no field of a person"),
    ("missing field", lambda d: _first(d, "day").pop("title"), "title: it is missing"),
    ("wrong type", lambda d: _first(d, "person").update(is_lead="yes"), "is_lead: it should be true or false"),
    ("number as text", lambda d: _first(d, "person").update(number="1"), "number: it should be a whole number"),
    ("negative", lambda d: _first(d, "lot").update(spares_count=-1), "spares_count"),
    ("too large", lambda d: _first(d, "person").update(number=2**40), "number: it should be a whole number"),
    ("too long", lambda d: _first(d, "day").update(title="x" * 500), "title: it has 500 characters"),
    ("no text at all", lambda d: _first(d, "day").update(title="a\u0000b"), "title: it has characters"),
    ("half a character", lambda d: _first(d, "day").update(title="\ud800"), "title: it has characters"),
    ("not a moment", lambda d: _first(d, "day").update(opened_at="today"), "opened_at: it should be a moment"),
    ("empty moment", lambda d: _first(d, "day").update(opened_at=None), "opened_at: it may not be empty"),
    ("no choice", lambda d: _first(d, "lot").update(kind="gold"), "kind: 'gold' is none of"),
    ("unknown reference", lambda d: _first(d, "lot").update(added_by=999), "added_by: '999' is not in the file"),
    ("list as reference", lambda d: _first(d, "lot").update(added_by=[1]), "added_by"),
    ("changed text", lambda d: _first(d, "text").update(text="x"), "text: it does not have the fingerprint"),
    ("text twice", lambda d: d.insert(2, dict(_first(d, "text"))), "stands twice"),
    ("person twice", lambda d: d.insert(d.index(_first(d, "day")), dict(_first(d, "person"))), "two people"),
    ("hand twice", lambda d: d.insert(d.index(_nth_entry(d, 0)), dict(_first(d, "hand"))), "two hands"),
    ("bad code", lambda d: _first(d, "hand").update(code="AAAAAA"), "code: 'AAAAAA' is no code"),
    ("no such day", lambda d: _first(d, "hand").update(day=99), "day: no such day"),
    ("changed record", lambda d: _nth_entry(d, 3).update(record=_nth_entry(d, 3)["record"].replace('"', "'", 1)),
     "record: it is no record"),
    ("one letter", lambda d: _nth_entry(d, 3).update(record=_nth_entry(d, 3)["record"].replace("at", "At", 1)),
     "record"),
    ("new fingerprint", lambda d: _rewrite(_nth_entry(d, 3), what={"text": "fine"}), "does not follow from entry 4"),
    ("entry gone", lambda d: d.remove(_nth_entry(d, 3)), "gone from the record"),
    ("entry twice", lambda d: d.insert(d.index(_nth_entry(d, 3)), dict(_nth_entry(d, 3))), "two entries"),
    ("first entry gone", lambda d: d.remove(_nth_entry(d, 0)), "entry 1 of"),
    ("stranger", lambda d: _rewrite(_nth_entry(d, 0), by={"number": 77, "called": "lead 77"}), "nobody in the file"),
    ("no number", lambda d: _rewrite(_nth_entry(d, 0), by={"number": True, "called": "x"}), "no record"),
    ("no kind of entry", lambda d: _rewrite(_nth_entry(d, 0), kind="blessed"), "cannot be read as an entry"),
    ("not begun", lambda d: _rewrite(_nth_entry(d, 0), kind="noted"), "makes no sense"),
    ("senseless side", lambda d: _rewrite(
        _nth_entry(d, 0), what=json.loads(_nth_entry(d, 0)["record"])["what"] | {"side": ["left"]}), "side"),
    ("unknown protocol", lambda d: _rewrite(
        _nth_entry(d, 0), what=json.loads(_nth_entry(d, 0)["record"])["what"] | {"protocol": {"sha256": "0" * 64}}),
     "makes no sense"),
    ("extra in entry", lambda d: _nth_entry(d, 0).update(pk=1), "and nothing else"),
    ("photo path", lambda d: _first(d, "photo").update(sha256="../../etc/passwd"), "sha256: it is no fingerprint"),
    ("photo of no hand", lambda d: _first(d, "photo").update(hand="222222"), "hand: '222222' is not in the file"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "word"), [h[1:] for h in HOSTILE], ids=[h[0] for h in HOSTILE])
def test_a_file_that_is_not_right_is_refused_with_line_and_field(
    exported: list[dict[str, Any]], tmp_path: Path, change: Change, word: str
) -> None:
    change(exported)
    path = written(tmp_path, exported)
    said = refused(path)
    assert word in said
    assert "records.jsonl" in said


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (b"", "empty"),
        (b"\n", "line 1"),
        (b"hello\n", "line 1: this is no line of JSON"),
        (b"[1]\n", "line 1"),
        (b"[" * 100_000 + b"\n", "line 1"),
        (b'{"is":NaN}\n', "line 1"),
        (b'{"is":"records","format":"handsel-records/1"}\n', "cut short"),
        (b'{"is":"records","format":"handsel-records/1"}', "cut short"),
        (b'{"is":"records","n":' + b"9" * 10_000 + b"}\n", "line 1"),
        (b"\x00\xff\xfe\n", "line 1"),
        (b"PK\x03\x04 no zip", "zip is damaged"),
    ],
)
def test_what_is_no_export_is_refused(hall: Hall, tmp_path: Path, body: bytes, word: str) -> None:
    (tmp_path / "x.jsonl").write_bytes(body)
    assert word in refused(tmp_path / "x.jsonl")


def test_a_line_without_end_is_not_read_into_memory(
    hall: Hall, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsel.bench.records.export_lines.MOST_LINE_BYTES", 1000)
    (tmp_path / "x.jsonl").write_bytes(b'{"is":"' + b"x" * 5000)
    assert "too long" in refused(tmp_path / "x.jsonl")


def test_an_entry_that_lacks_what_its_kind_needs_leaves_nothing_behind(
    exported: list[dict[str, Any]], tmp_path: Path
) -> None:
    data = exported
    last = [d for d in data if d["is"] == "entry"][-1]
    told = json.loads(last["record"])
    new = {"hand": last["hand"], "seq": told["seq"] + 1, "prev": last["sha256"], "kind": "noted", "at": told["at"],
           "by": told["by"], "client_id": "z" * 20, "what": {"text": "x", "corrects": 3}}  # fmt: skip
    new |= {"kind": "withdrawn", "what": {"reason": "no number"}}
    record = canonical(new)
    data.insert(
        data.index(last) + 1,
        {
            "is": "entry",
            "hand": last["hand"],
            "record": record.decode(),
            "sha256": sha256(record).hexdigest(),
        },
    )
    path = written(tmp_path, data)
    assert "lacks what its kind needs" in refused(path)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    where=st.floats(0, 1),
    bit=st.integers(0, 7),
    kind=st.sampled_from(("flip", "cut", "drop-line", "swap-lines")),
)
def test_an_export_damaged_anywhere_is_refused(
    exported: list[dict[str, Any]],
    tmp_path_factory: pytest.TempPathFactory,
    where: float,
    bit: int,
    kind: str,
) -> None:
    whole = written(tmp_path_factory.mktemp("whole"), exported).read_bytes()
    at = min(int(len(whole) * where), len(whole) - 1)
    rows = whole.splitlines(keepends=True)
    n = min(int(len(rows) * where), len(rows) - 2)
    if kind == "flip":
        bad = whole[:at] + bytes([whole[at] ^ (1 << bit)]) + whole[at + 1 :]
    elif kind == "cut":
        bad = whole[:at]
    elif kind == "drop-line":
        bad = b"".join(rows[:n] + rows[n + 1 :])
    else:
        bad = b"".join([*rows[:n], rows[n + 1], rows[n], *rows[n + 2 :]])
        if rows[n] == rows[n + 1]:
            return
    path = tmp_path_factory.mktemp("damaged") / "x.jsonl"
    path.write_bytes(bad)
    refused(path)


def test_a_zip_that_unpacks_to_too_much_is_stopped(
    hall: Hall, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsel.bench.records.export_file.MOST_RECORDS_BYTES", 1_000_000)
    with zipfile.ZipFile(tmp_path / "x.zip", "w", zipfile.ZIP_DEFLATED) as zipped:
        zipped.writestr("records.jsonl", b"\0" * 30_000_000)
    assert "too large" in refused(tmp_path / "x.zip")
    assert list(Path(places.incoming()).parent.iterdir()) == []


def test_pictures_in_a_zip_that_is_refused_do_not_stay(busy: Hall, tmp_path: Path) -> None:
    picture = saved(scene(33, 33))
    name = sha256(picture).hexdigest()
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as zipped:
        zipped.writestr("records.jsonl", "no records\n")
        zipped.writestr(f"photos/{name[:2]}/{name}.jpg", picture)
        zipped.writestr("photos/../../out.jpg", picture)
    refused(tmp_path / "x.zip")
    assert not places.kept(name).exists()
    assert not list(tmp_path.rglob("out.jpg"))


# ---- the commands --------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_commands_export_and_import(shared_hall: Hall, tmp_path: Path) -> None:
    shared_hall.hand(at="dry-fit")
    folder = folder_of_now(tmp_path / "day")
    handsel("export", "--to", tmp_path / "out.zip", data=folder)
    told = handsel("import", tmp_path / "out.zip", data=tmp_path / "new")
    assert told.stdout.startswith("1 hand with ")
    told = handsel("verify", "--root", root_of(shared_hall.day), data=tmp_path / "new")
    assert "nothing before that was changed since" in told.stdout.replace("\n", " ")
    (tmp_path / "bad.jsonl").write_text("hello\n")
    told = handsel("import", tmp_path / "bad.jsonl", data=tmp_path / "new", good=False)
    assert (told.returncode, "line 1" in told.stderr) == (2, True)
    with zipfile.ZipFile(tmp_path / "out.zip") as zipped:
        case = next(n for n in zipped.namelist() if n.startswith("cases/"))
        (tmp_path / "case.toml").write_bytes(zipped.read(case))
    from click.testing import CliRunner

    from handsel.cli import handsel as program

    told_case = CliRunner().invoke(program, ["assess", str(tmp_path / "case.toml")])
    assert told_case.exit_code in (0, 1), told_case.output
