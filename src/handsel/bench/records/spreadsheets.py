"""The records as tables for a spreadsheet. Units stand in the column names, times are UTC.

A cell that a spreadsheet would take for a formula gets an apostrophe before it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from handsel.bench.days.models import Lot
from handsel.bench.hands.casebook import Told, out_of_force, told_of
from handsel.bench.hands.chain import stamp
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.photos.models import Photo
from handsel.data.case_tables import UNITS

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
BOM = "\ufeff"  # without it a common spreadsheet reads accents wrong

WHO = ("hand", "recipient", "entry", "at_utc", "by")
HANDS = (
    "hand", "serial", "recipient", "side", "scale_percent", "target_rest_angle_deg", "latex_sensitive", "practice",
    "day", "standing", "hold_point", "begun_at_utc", "since_utc", "released_at_utc", "was_refused", "sentence",
    "design", "protocol", "entries_count", "head_sha256",
)  # fmt: skip
OBSERVATIONS = (
    *WHO, "in_force", "kind", "characteristic", "place", "answer", "reading", *(f"value_{u}" for u in UNITS),
    *(f"u_{u}" for u in UNITS), "method", "note", "photo", "tap_s", "protocol_sha256",
)  # fmt: skip
DECISIONS = (
    *WHO, "kind", "hold_point", "whole", "characteristic", "place", "sentence", "blocked_by", "open_count", "reason",
)  # fmt: skip
REWORK = (*WHO, "kind", "rework", "place", "title", "minutes", "skill", "closes_entry")
LOTS = ("day", "lot", "kind", "name", "note", "spares_count", "added_at_utc", "used_up_at_utc", "hands")
PHOTOS = (
    "photo", "hand", "state", "reason", "by", "received_at_utc", "width_px", "height_px", "source_width_px",
    "source_height_px", "focal_length_mm", "focal_length_35mm_mm", "digital_zoom_ratio", "sha256", "erased_at_utc",
)  # fmt: skip
DECIDING = ("decided", "conceded", "scrapped", "released", "handed-over")


def cell(value: Any) -> str:
    """A value as a cell: numbers with a point, nothing for nothing, no formulas."""
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return repr(value)
    if hasattr(value, "astimezone"):
        return stamp(value)
    text = str(value).replace("\x00", "")
    return f"'{text}" if text.startswith(FORMULA) else text


@dataclass(slots=True, kw_only=True)
class Table:
    """A file being written, its columns fixed."""

    columns: tuple[str, ...]
    file: IO[str]
    writer: Any = None

    def __post_init__(self) -> None:
        self.file.write(BOM)
        self.writer = csv.writer(self.file, lineterminator="\r\n")
        self.writer.writerow(self.columns)

    def add(self, row: dict[str, Any]) -> None:
        """One row; a key that is no column is a mistake of ours."""
        unknown = set(row) - set(self.columns)
        if unknown:
            raise KeyError(f"no column {sorted(unknown)}")
        self.writer.writerow([cell(row.get(c)) for c in self.columns])


def write_tables(folder: Path) -> tuple[str, ...]:
    """All tables as files in a folder; their names."""
    names = {"hands": HANDS, "observations": OBSERVATIONS, "decisions": DECISIONS, "rework": REWORK,
             "lots": LOTS, "photos": PHOTOS}  # fmt: skip
    files = {n: (folder / f"{n}.csv").open("w", encoding="utf-8", newline="") for n in names}
    try:
        tables = {n: Table(columns=columns, file=files[n]) for n, columns in names.items()}
        hands = Hand.objects.select_related("day", "design", "protocol").defer(
            "design__text", "protocol__text"
        )
        for hand in hands.order_by("pk").iterator(chunk_size=200):
            tables["hands"].add(_hand(hand))
            told = told_of(hand)
            for row in _observations(hand, told):
                tables["observations"].add(row)
            for t in told:
                if t.kind in DECIDING:
                    tables["decisions"].add(_who(hand, t) | _decision(t))
                elif t.kind == "ordered" or (t.kind == "did" and t.what.get("is_rework")):
                    tables["rework"].add(_who(hand, t) | _rework(t))
        for row in _lots():
            tables["lots"].add(row)
        for photo in Photo.objects.select_related("hand", "taken_by").order_by("pk").iterator(chunk_size=500):
            tables["photos"].add(_photo(photo))
    finally:
        for file in files.values():
            file.close()
    return tuple(f"{n}.csv" for n in names)


def _who(hand: Hand, t: Told) -> dict[str, Any]:
    return {
        "hand": hand.shown_code,
        "recipient": hand.recipient_code,
        "entry": t.seq,
        "at_utc": t.at,
        "by": t.by.get("called"),
    }


def _hand(hand: Hand) -> dict[str, Any]:
    return {
        "hand": hand.shown_code,
        "serial": hand.serial,
        "recipient": hand.recipient_code,
        "side": hand.side,
        "scale_percent": round(100 * hand.scale_ratio, 6),
        "target_rest_angle_deg": hand.target_rest_angle_deg,
        "latex_sensitive": hand.latex_sensitive,
        "practice": hand.practice,
        "day": hand.day.title,
        "standing": hand.get_standing_display(),
        "hold_point": hand.hold_point,
        "begun_at_utc": hand.begun_at,
        "since_utc": hand.since,
        "released_at_utc": hand.released_at,
        "was_refused": hand.was_refused,
        "sentence": hand.sentence,
        "design": f"{hand.design.name} {hand.design.version}",
        "protocol": f"{hand.protocol.name} {hand.protocol.version}",
        "entries_count": hand.entry_count,
        "head_sha256": hand.head_sha256,
    }


def _observations(hand: Hand, told: tuple[Told, ...]) -> Iterator[dict[str, Any]]:
    gone = out_of_force(told)
    for t in told:
        if t.kind not in ("observed", "as-shown"):
            continue
        w = t.what
        tap_ms = w.get("tap_ms")
        row = _who(hand, t) | {
            "in_force": t.seq not in gone,
            "kind": "looked for the cause" if t.is_for_causes else t.kind,
            "characteristic": w.get("of") or w.get("group"),
            "place": w.get("place"),
            "answer": w.get("answer"),
            "method": w.get("method"),
            "note": w.get("note"),
            "photo": w.get("photo"),
            "tap_s": tap_ms / 1000 if isinstance(tap_ms, int | float) else None,
            "protocol_sha256": w.get("protocol"),
        }
        unit = w.get("unit")
        if unit not in UNITS:
            yield row
            continue
        readings = w.get("readings") or ([] if w.get("value") is None else [w["value"]])
        for n, value in enumerate(readings, start=1):
            yield row | {"reading": n, f"value_{unit}": value, f"u_{unit}": w.get("u")}


def _decision(t: Told) -> dict[str, Any]:
    w = t.what
    opened = w.get("open")
    return {
        "kind": t.kind,
        "hold_point": w.get("hold_point"),
        "whole": w.get("whole"),
        "characteristic": w.get("of"),
        "place": w.get("place"),
        "sentence": w.get("sentence"),
        "blocked_by": w.get("blocked_by"),
        "open_count": len(opened) if isinstance(opened, list) else None,
        "reason": w.get("reason"),
    }


def _rework(t: Told) -> dict[str, Any]:
    w = t.what
    return {
        "kind": t.kind,
        "rework": w.get("rework") or w.get("what"),
        "place": w.get("place"),
        "title": w.get("title"),
        "minutes": w.get("minutes"),
        "skill": w.get("skill"),
        "closes_entry": w.get("closes_card"),
    }


def _lots() -> Iterator[dict[str, Any]]:
    used: dict[int, list[str]] = {}
    for entry in Entry.objects.filter(kind="lot-used").select_related("hand").order_by("pk").iterator(200):
        number = entry.what.get("lot")
        if isinstance(number, int) and entry.hand.shown_code not in used.setdefault(number, []):
            used[number].append(entry.hand.shown_code)
    for lot in Lot.objects.select_related("day").order_by("pk"):
        yield {
            "day": lot.day.title,
            "lot": lot.pk,
            "kind": lot.get_kind_display(),
            "name": lot.name,
            "note": lot.note,
            "spares_count": lot.spares_count,
            "added_at_utc": lot.added_at,
            "used_up_at_utc": lot.used_up_at,
            "hands": " ".join(used.get(lot.pk, ())),
        }


def _photo(photo: Photo) -> dict[str, Any]:
    numbers = ("width_px", "height_px", "source_width_px", "source_height_px", "focal_length_mm",
               "focal_length_35mm_mm", "digital_zoom_ratio", "sha256", "reason")  # fmt: skip
    return {name: getattr(photo, name) for name in numbers} | {
        "photo": photo.client_id,
        "hand": photo.hand.shown_code if photo.hand is not None else "",
        "state": photo.state,
        "by": photo.taken_by.called,
        "received_at_utc": photo.received_at,
        "erased_at_utc": photo.erased_at,
    }
