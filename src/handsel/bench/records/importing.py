"""Reading an export into a bench: everything is checked, chains included, before the first row is written.

The file is read twice. The first time nothing but this program's memory is touched; the second time, in
one transaction, what was found good is written, and the file's fingerprint must still be the same.
"""

from __future__ import annotations

from pathlib import Path

from django.db import IntegrityError, transaction

from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
from handsel.bench.hands.codes import shown
from handsel.bench.hands.models import Hand
from handsel.bench.records.export_lines import BadExport, lines_of
from handsel.bench.records.import_lines import TAKE, Collides, Imported, Reading, flush
from handsel.bench.records.rows import BadValue, check_columns
from handsel.errors import HandselError
from handsel.inspection.deciding import inspect


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
        take = TAKE.get(kind)
        if take is None:
            raise line.bad(f"no line is a {kind[:30]!r}")
        try:
            take(reading, line)
        except BadValue as error:
            raise line.bad(str(error)) from None
    flush(reading)
    _finish(path, reading)
    return digest


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
