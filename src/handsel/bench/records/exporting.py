"""Everything on record as lines of JSON: one file that another bench, or another program, can read.

    {"is": "records", ...}                what this is
    {"is": "text" | "person" | "day" | "lot" | "hand" | "photo", ...}
    {"is": "entry", "hand": ..., "record": "<the bytes that the chain is computed over>", "sha256": ...}
    {"is": "end", "lines": N, "sha256": <of all bytes before this line>}

Entries stand in the order in which they were made. Their record is text in ASCII, so its bytes are exact.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.utils import timezone

from handsel import __version__
from handsel.bench.hands.chain import stamp
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.on_disk import write_whole
from handsel.bench.records.rows import MOMENT, rows_to_write, schema_of, written

FORMAT = "handsel-records/1"
BEFORE_ENTRIES = ("text", "person", "day", "lot")


def record_lines() -> Iterator[bytes]:
    """All lines, each ended by a newline."""
    digest, count = sha256(), 0
    for data in _lines():
        line = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode() + b"\n"
        digest.update(line)
        count += 1
        yield line
    end = {"is": "end", "lines": count, "sha256": digest.hexdigest()}
    yield json.dumps(end, separators=(",", ":")).encode() + b"\n"


def _lines() -> Iterator[dict[str, Any]]:
    # The bench may go on while this is read. What is begun after this moment waits for the next export.
    last = Entry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    yield {
        "is": "records",
        "format": FORMAT,
        "program_version": __version__,
        "exported_at": stamp(timezone.now()),
    }
    for kind in BEFORE_ENTRIES:
        for row in rows_to_write(kind).iterator(chunk_size=500):
            yield written(kind, row)
    for code, day in (
        Hand.objects.filter(entries__seq=1, entries__pk__lte=last)
        .order_by("pk")
        .values_list("code", "day_id")
    ):
        yield {"is": "hand", "code": code, "day": day}
    of = Entry.objects.filter(pk__lte=last).order_by("pk").values_list("hand__code", "record", "sha256")
    for code, record, digest in of.iterator(chunk_size=500):
        yield {"is": "entry", "hand": code, "record": bytes(record).decode("ascii"), "sha256": digest}
    for photo in rows_to_write("photo").iterator(chunk_size=500):
        if photo.hand is None or photo.hand.entries.filter(seq=1, pk__lte=last).exists():
            yield written("photo", photo)


def write_records(to: Path) -> None:
    """Write the whole file, or none."""
    write_whole(to, record_lines())


def records_schema() -> dict[str, Any]:
    """The JSON Schema of one line."""
    sha = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
    own: dict[str, dict[str, Any]] = {
        "records": {
            "format": {"const": FORMAT},
            "program_version": {"type": "string"},
            "exported_at": MOMENT,
        },
        "hand": {"code": {"type": "string", "minLength": 6, "maxLength": 6}, "day": {"type": "integer"}},
        "entry": {
            "hand": {"type": "string", "minLength": 6, "maxLength": 6},
            "record": {
                "type": "string",
                "description": "Canonical JSON of hand, seq, prev, kind, at, by, client_id and what: keys sorted, "
                "no spaces, ASCII. prev is the sha256 of the hand's entry before, empty for its first.",
            },
            "sha256": sha | {"description": "SHA-256 of the record's bytes."},
        },
        "end": {
            "lines": {"type": "integer", "description": "How many lines stand before this one."},
            "sha256": sha | {"description": "SHA-256 of all bytes before this line."},
        },
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"A line of {FORMAT}",
        "oneOf": [
            *(
                {
                    "type": "object",
                    "additionalProperties": False,
                    "required": ["is", *properties],
                    "properties": {"is": {"const": kind}} | properties,
                }
                for kind, properties in own.items()
            ),
            *(schema_of(kind) for kind in ("text", "person", "day", "lot", "photo")),
        ],
    }
