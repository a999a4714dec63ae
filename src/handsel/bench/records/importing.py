"""Reading an export into a bench: everything is checked, chains included, before the first row is written.

The file is read twice. The first time nothing but this program's memory is touched; the second time, in
one transaction, what was found good is written, and the file's fingerprint must still be the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.db import IntegrityError, models, transaction

from handsel.bench.days.models import Day, Lot
from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
from handsel.bench.hands.codes import is_code, shown
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.bench.on_disk import fingerprint
from handsel.bench.people.models import Person
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State
from handsel.bench.records.chains import Row, Walk, step
from handsel.bench.records.exporting import FORMAT
from handsel.bench.records.folding import Fold
from handsel.bench.records.rows import BadValue, check_columns, moment, read_row
from handsel.data.design_text import design_from_text
from handsel.data.load_protocol import protocol_from_text
from handsel.errors import BadFile, HandselError
from handsel.inspection.deciding import inspect

MOST_LINE_BYTES = 8_000_000
AT_ONCE = 500


class BadExport(BadFile):
    """A file that is no export, or no whole one. The database was not touched."""


class Collides(HandselError):
    """Something of the file is here already and is something else. The database was not touched."""

    status = 409


@dataclass(slots=True, kw_only=True)
class Imported:
    """What came in, and what was here before."""

    hands_count: int = 0
    entries_count: int = 0
    photos_count: int = 0
    known_hands: list[str] = field(default_factory=list)  # codes that were here, with the same record
    without_picture: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line, read."""

    number: int
    data: dict[str, Any]
    where: str

    def bad(self, what: str) -> BadExport:
        """This line is wrong."""
        do = "Export it again, or take an older export. Nothing was written."
        return BadExport(what, where=f"{self.where}, line {self.number}", do=do)


def lines_of(path: Path) -> Iterator[Line]:
    """The lines of an export; the last one's fingerprint is held against the file before it ends."""
    where = path.name
    digest, ended, kind = sha256(), False, ""
    try:
        file = path.open("rb")
    except OSError as error:
        raise BadExport(
            f"it cannot be opened ({error.strerror})", where=where, do="Check the name."
        ) from None
    with file:
        number = 0
        while raw := file.readline(MOST_LINE_BYTES + 1):
            number += 1
            line = Line(number=number, data=_json(raw, number, where), where=where)
            kind = line.data.get("is", "")
            if ended:
                raise line.bad("something stands after its end")
            if number == 1:
                _first(line)
            elif kind == "records":
                raise line.bad("a second beginning stands in it")
            if kind == "end":
                ended = True
                if line.data != {"is": "end", "lines": number - 1, "sha256": digest.hexdigest()}:
                    raise line.bad("the file was changed or damaged: it no longer has its fingerprint")
            digest.update(raw)
            yield line
    if not ended:
        do = "Export it again, or copy it again. Nothing was written."
        raise BadExport("it is empty" if not number else "it is cut short", where=where, do=do)


def _json(raw: bytes, number: int, where: str) -> dict[str, Any]:
    line = Line(number=number, data={}, where=where)
    if len(raw) > MOST_LINE_BYTES or not raw.endswith(b"\n"):
        raise line.bad("the line is cut short" if len(raw) <= MOST_LINE_BYTES else "the line is too long")
    try:
        data = json.loads(raw, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise line.bad("this is no line of JSON") from None
    if not isinstance(data, dict) or not isinstance(data.get("is"), str):
        raise line.bad('"is" is missing: it says what the line is')
    return data


def _no_constant(name: str) -> float:
    raise ValueError(name)


def _first(line: Line) -> None:
    said = line.data.get("format")
    if line.data["is"] != "records" or not isinstance(said, str) or not said.startswith("handsel-records/"):
        raise line.bad("this is no export of handsel")
    if said != FORMAT:
        do = "Install the version that wrote it."
        where = f"{line.where}, line {line.number}, format"
        raise BadExport(f"it is written as {said[:30]}; this version reads {FORMAT}", where=where, do=do)


# ---- first reading -------------------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class Chain:
    """A hand of the file, as far as its entries have been read."""

    code: str
    day: int
    walk: Walk
    fold: Fold


@dataclass(slots=True, kw_only=True)
class Reading:
    """What the lines so far have told. `save` is off the first time."""

    save: bool
    texts: dict[str, Any] = field(default_factory=dict)
    people: dict[int | None, Any] = field(default_factory=dict)
    days: dict[int, Any] = field(default_factory=dict)
    lots: set[int] = field(default_factory=set)
    chains: dict[str, Chain] = field(default_factory=dict)
    client_ids: set[str] = field(default_factory=set)
    photo_ids: set[str] = field(default_factory=set)
    first_points: dict[str, str] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)  # hands that are here already
    waiting: list[Entry] = field(default_factory=list)
    done: Imported = field(default_factory=Imported)

    def look_up(self, model: type[models.Model], key: Any) -> Any:
        """What an earlier line told under this key."""
        if model is Hand:
            chain = self.chains.get(key) if isinstance(key, str) else None
            return None if chain is None else chain.fold.hand
        tables: dict[Any, dict[Any, Any]] = {KeptText: self.texts, Person: self.people, Day: self.days}
        table = tables[model]
        return table.get(key) if isinstance(key, int | str) and not isinstance(key, bool) else None


def import_records(path: Path) -> Imported:
    """Read an export into this bench. Raises BadExport or Collides before anything is written."""
    first = Reading(save=False)
    digest = _read_all(path, first)
    with transaction.atomic():
        second = Reading(save=True)
        try:
            if _read_all(path, second) != digest:
                raise BadExport("the file changed while it was read", where=path.name, do="Try again.")
        except IntegrityError as error:
            raise Collides(
                f"something of it is here already under the same name ({error})",
                where=path.name,
                do="Import into an empty folder: handsel import FILE --data NEW-FOLDER.",
            ) from None
    return second.done


def _read_all(path: Path, reading: Reading) -> str:
    digest = ""
    for line in lines_of(path):
        kind = line.data["is"]
        if kind == "end":
            digest = line.data["sha256"]
            continue
        if kind == "records":
            continue
        take = _TAKE.get(kind)
        if take is None:
            raise line.bad(f"no line is a {kind[:30]!r}")
        try:
            take(reading, line)
        except BadValue as error:
            raise line.bad(str(error)) from None
    _flush(reading)
    _finish(path, reading)
    return digest


def _take_text(r: Reading, line: Line) -> None:
    columns = read_row("text", line.data, r.look_up)
    name, text = columns["sha256"], columns["text"]
    if sha256(text.encode()).hexdigest() != name:
        raise BadValue("text: it does not have the fingerprint that it is kept under")
    if name in r.texts:
        raise BadValue("sha256: this text stands twice in the file")
    try:
        if columns["kind"] == "protocol":
            protocol = protocol_from_text(text, where=f"{line.where}, line {line.number}")
            r.first_points[name] = protocol.hold_points[0].id
        elif columns["kind"] == "design":
            design_from_text(text, where=f"{line.where}, line {line.number}")
    except BadFile as error:
        raise BadValue(f"text: {error.what} ({error.where})") from None
    kept = KeptText(**columns)
    if r.save and not KeptText.objects.filter(pk=name).exists():
        kept.save(force_insert=True)
    r.texts[name] = kept


def _take_person(r: Reading, line: Line) -> None:
    columns = read_row("person", line.data, r.look_up)
    number = columns["number"]
    if number in r.people:
        raise BadValue("number: two people have it")
    here = Person.objects.filter(number=number).first()
    if here is not None and here.joined_at != columns["joined_at"]:
        raise Collides(
            f"person {number} here is another than person {number} in the file",
            where=f"{line.where}, line {line.number}, number",
            do="Import into an empty folder: handsel import FILE --data NEW-FOLDER.",
        )
    person = here or Person(**columns)
    if r.save and here is None:
        person.set_unusable_password()
        person.save(force_insert=True)
    r.people[number] = person


def _take_day(r: Reading, line: Line) -> None:
    columns = read_row("day", line.data, r.look_up)
    number = columns.pop("id")
    if number in r.days:
        raise BadValue("id: two days have it")
    here = Day.objects.filter(title=columns["title"], opened_at=columns["opened_at"]).first()
    day = here or Day(**columns)
    if r.save and here is None:
        day.save(force_insert=True)
    r.days[number] = day


def _take_lot(r: Reading, line: Line) -> None:
    columns = read_row("lot", line.data, r.look_up)
    number = columns["id"]
    if number in r.lots:
        raise BadValue("id: two lots have it")
    r.lots.add(number)
    here = Lot.objects.filter(pk=number).first()
    if here is None:
        if r.save:
            Lot(**columns).save(force_insert=True)
    elif (here.kind, here.name, here.added_at) != (columns["kind"], columns["name"], columns["added_at"]):
        # Entries name lots by this number, so it cannot be given anew.
        raise Collides(
            f"lot {number} here is another than lot {number} in the file",
            where=f"{line.where}, line {line.number}, id",
            do="Import into an empty folder: handsel import FILE --data NEW-FOLDER.",
        )


def _take_hand(r: Reading, line: Line) -> None:
    if sorted(line.data) != ["code", "day", "is"]:
        raise BadValue("a hand has a code and a day, and nothing else")
    code, day = line.data["code"], line.data["day"]
    if not isinstance(code, str) or not is_code(code):
        raise BadValue(f"code: {str(code)[:20]!r} is no code of a hand")
    if code in r.chains:
        raise BadValue("code: two hands have it")
    if r.look_up(Day, day) is None:
        raise BadValue("day: no such day stands before this line")
    fold = Fold(r.people, first_hold_point=r.first_points.get)
    r.chains[code] = Chain(code=code, day=day, walk=Walk(code=code), fold=fold)
    if Hand.objects.filter(code=code).exists():
        r.known.add(code)


def _take_entry(r: Reading, line: Line) -> None:
    row, chain = _entry_row(r, line)
    told = step(chain.walk, row)
    if chain.walk.findings:
        finding = chain.walk.findings[0]
        raise BadValue(f"record: entry {finding.seq} of {shown(chain.code)}: {finding.what}")
    if told is None or row.person_number not in r.people:
        raise BadValue("record: nobody in the file has the number that it names")
    if row.client_id in r.client_ids:
        raise BadValue("record: its client id was used before")
    r.client_ids.add(row.client_id)
    chain.fold.add(row, told)
    hand = chain.fold.hand
    if chain.fold.broken_at is not None or hand is None:
        raise BadValue("record: what it says makes no sense after the entries before it")
    for name in (hand.design_id, hand.protocol_id):
        if name not in r.texts:
            raise BadValue("record: it names a design or protocol whose text is not in the file")
    hand.entry_count, hand.head_sha256 = row.seq, row.sha256
    if row.seq == 1:
        check_columns(hand)
    if r.save and chain.code not in r.known:
        _keep(r, chain, hand, row)


def _entry_row(r: Reading, line: Line) -> tuple[Row, Chain]:
    if sorted(line.data) != ["hand", "is", "record", "sha256"]:
        raise BadValue("an entry has a hand, a record and its sha256, and nothing else")
    code, record, digest = line.data["hand"], line.data["record"], line.data["sha256"]
    chain = r.chains.get(code) if isinstance(code, str) else None
    if chain is None:
        raise BadValue("hand: no such hand stands before this line")
    if not isinstance(record, str) or not record.isascii() or not isinstance(digest, str):
        raise BadValue("record: it is no record of an entry")
    try:
        told = json.loads(record)
        seq, number = told["seq"], told["by"]["number"]
        if any(isinstance(n, bool) or not isinstance(n, int) or not 0 < n < 2**31 for n in (seq, number)):
            raise ValueError
        row = Row(
            seq=seq,
            kind=str(told["kind"])[:16],
            client_id=str(told["client_id"])[:64],
            person_number=number,
            at=moment(told["at"]),
            record=record.encode("ascii"),
            sha256=digest,
        )
    except (ValueError, LookupError, TypeError, RecursionError):
        raise BadValue("record: it is no record of an entry") from None
    return row, chain


def _keep(r: Reading, chain: Chain, hand: Hand, row: Row) -> None:
    if row.seq == 1:
        hand.code, hand.day = chain.code, r.days[chain.day]
        hand.save(force_insert=True)
        r.done.hands_count += 1
    r.waiting.append(
        Entry(
            hand=hand,
            seq=row.seq,
            kind=row.kind,
            client_id=row.client_id,
            person=r.people.get(row.person_number),
            at=row.at,
            record=row.record,
            sha256=row.sha256,
        )
    )
    r.done.entries_count += 1
    if len(r.waiting) >= AT_ONCE:
        _flush(r)


def _flush(r: Reading) -> None:
    if r.waiting:
        Entry.objects.bulk_create(r.waiting)
        r.waiting.clear()


def _take_photo(r: Reading, line: Line) -> None:
    columns = read_row("photo", line.data, r.look_up)
    if columns["client_id"] in r.photo_ids:
        raise BadValue("client_id: two photos have it")
    for name in ("raw_sha256", "sha256", "thumb_sha256"):
        value = columns[name]
        if value and (len(value) != 64 or set(value) - set("0123456789abcdef")):
            raise BadValue(f"{name}: it is no fingerprint")
    r.photo_ids.add(columns["client_id"])
    here = Photo.objects.filter(client_id=columns["client_id"]).first()
    if here is not None and here.raw_sha256 != columns["raw_sha256"]:
        raise Collides(
            "a photo of this id is here and is another",
            where=f"{line.where}, line {line.number}, client_id",
            do="Import into an empty folder: handsel import FILE --data NEW-FOLDER.",
        )
    if not r.save or here is not None:
        return
    hand = columns["hand"]
    if hand is not None and hand.code in r.known:
        columns["hand"] = Hand.objects.get(code=hand.code)
    photo = Photo(**columns)
    if not _has_files(photo):
        photo.state, photo.sha256, photo.thumb_sha256 = State.REFUSED, "", ""
        photo.reason, photo.do = (
            "its picture was not in the file that was imported",
            "Look for it in a backup.",
        )
        r.done.without_picture += 1
    photo.save(force_insert=True)
    r.done.photos_count += 1


def _has_files(photo: Photo) -> bool:
    if photo.state == State.STORED:
        return places.raw(photo).is_file() and fingerprint(places.raw(photo)) == photo.raw_sha256
    if photo.state == State.READY:
        names = (photo.sha256, photo.thumb_sha256)
        return all(n and places.kept(n).is_file() and fingerprint(places.kept(n)) == n for n in names)
    return True


def _finish(path: Path, r: Reading) -> None:
    """At the end: hands without entries are none; known ones must have this very record; heads are kept."""
    for code, chain in r.chains.items():
        hand = chain.fold.hand
        if hand is None:
            do = "Export it again. Nothing was written."
            raise BadExport(f"the hand {shown(code)} has no entries", where=path.name, do=do)
        if code in r.known:
            here = Hand.objects.get(code=code)
            if here.head_sha256 != hand.head_sha256:
                raise Collides(
                    f"the hand {shown(code)} is here already, with another record",
                    where=path.name,
                    do="Import into an empty folder: handsel import FILE --data NEW-FOLDER.",
                )
            r.done.known_hands.append(code)
            continue
        try:
            check_columns(hand)
        except BadValue as error:
            raise _senseless(path, code, str(error)) from None
        if r.save:
            hand.save()
            _can_be_judged(path, hand)


def _can_be_judged(path: Path, hand: Hand) -> None:
    """A record whose entries are each in order may still tell of nothing; its pages would break."""
    try:
        told = told_of(hand)
        inspect(case_of(hand, told), protocol_kept(hand.protocol_id))
        case_of(hand, told, with_causes=True)
    except HandselError as error:
        raise _senseless(path, hand.code, error.what) from None
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise _senseless(path, hand.code, f"an entry lacks what its kind needs ({error})") from None


def _senseless(path: Path, code: str, what: str) -> BadExport:
    do = "Export it again, or take an older export. Nothing was written."
    return BadExport(f"the record of {shown(code)} cannot be used: {what}", where=path.name, do=do)


_TAKE = {
    "text": _take_text,
    "person": _take_person,
    "day": _take_day,
    "lot": _take_lot,
    "hand": _take_hand,
    "entry": _take_entry,
    "photo": _take_photo,
}
