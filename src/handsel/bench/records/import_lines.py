"""What one line of an export tells, by its kind: checked, and written when it is time."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from django.db import models

from handsel.bench.days.models import Day, Lot
from handsel.bench.hands.codes import is_code, shown
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.bench.on_disk import fingerprint
from handsel.bench.people.models import Person
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State
from handsel.bench.records.chains import Row, Walk, step
from handsel.bench.records.export_lines import Line
from handsel.bench.records.folding import Fold
from handsel.bench.records.rows import BadValue, check_columns, moment, read_row
from handsel.data.design_text import design_from_text
from handsel.data.load_protocol import protocol_from_text
from handsel.errors import BadFile, HandselError

AT_ONCE = 500


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
        flush(r)


def flush(r: Reading) -> None:
    """Write the entries that wait to be written together."""
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


TAKE = {
    "text": _take_text,
    "person": _take_person,
    "day": _take_day,
    "lot": _take_lot,
    "hand": _take_hand,
    "entry": _take_entry,
    "photo": _take_photo,
}
