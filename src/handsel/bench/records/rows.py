"""Rows of the database as plain data, and back, field by field: what is written is also what is accepted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

from django.db import models
from django.db.models import QuerySet

from handsel.bench.days.models import Day, Lot
from handsel.bench.hands.chain import stamp
from handsel.bench.hands.models import Hand, KeptText
from handsel.bench.people.models import Person
from handsel.bench.photos.models import Photo

# Kind of line -> the table it is a row of. Hands and entries are told by their records instead.
TABLES: dict[str, type[models.Model]] = {
    "text": KeptText, "person": Person, "day": Day, "lot": Lot, "photo": Photo,
}  # fmt: skip
# Passphrases and what guards them stay where they are; a new one is made with `handsel lead`.
LEFT_OUT = {"password", "last_login", "wrong_count"}
# A row that others refer to by its number keeps that number in the file.
WITH_NUMBER = {"day", "lot"}
NATURAL: dict[type[models.Model], str] = {KeptText: "sha256", Person: "number", Day: "pk", Hand: "code"}
LARGEST = {
    "PositiveSmallIntegerField": 32767,
    "PositiveIntegerField": 2**31 - 1,
    "PositiveBigIntegerField": 2**53,
}


class BadValue(ValueError):
    """What is wrong with a field's value."""


def fields_of(kind: str) -> Iterator[Any]:
    """The fields of a line of this kind."""
    for field in TABLES[kind]._meta.concrete_fields:
        if field.name in LEFT_OUT or (field.name == "id" and kind not in WITH_NUMBER):
            continue
        yield field


def written(kind: str, row: Any) -> dict[str, Any]:
    """A row as a line's data."""
    return {"is": kind} | {field.name: _out(field, row) for field in fields_of(kind)}


def _out(field: Any, row: Any) -> Any:
    if field.is_relation:
        target = getattr(row, field.name)
        return None if target is None else getattr(target, NATURAL[field.related_model])
    value = getattr(row, field.attname)
    return stamp(value) if isinstance(value, datetime) else value


def rows_to_write(kind: str) -> QuerySet[Any]:
    """All rows of a kind, oldest first, with what they refer to."""
    relations = [f.name for f in fields_of(kind) if f.is_relation]
    of = TABLES[kind]._default_manager.order_by("pk")
    return of.select_related(*relations) if relations else of


def read_row(
    kind: str, data: dict[str, Any], look_up: Callable[[type[models.Model], Any], Any]
) -> dict[str, Any]:
    """A line's data as columns. Raises BadValue, beginning with the field's name."""
    fields = {f.name: f for f in fields_of(kind)}
    for name in data:
        if name not in fields and name != "is":
            raise BadValue(f"{name[:40]!r} is no field of a {kind}")
    found: dict[str, Any] = {}
    for name, field in fields.items():
        if name not in data:
            raise BadValue(f"{name}: it is missing")
        try:
            found[name] = _in(field, data[name], look_up)
        except BadValue as error:
            raise BadValue(f"{name}: {error}") from None
    return found


def _in(field: Any, value: Any, look_up: Callable[[type[models.Model], Any], Any]) -> Any:
    if value is None:
        if not field.null:
            raise BadValue("it may not be empty")
        return None
    if field.is_relation:
        target = look_up(field.related_model, value)
        if target is None:
            raise BadValue(f"{str(value)[:70]!r} is not in the file before this line")
        return target
    return _KINDS[type(field).__name__](field, value)


def check_columns(row: models.Model) -> None:
    """Hold what was told from a record against what the columns take. Raises BadValue."""
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if (
            field.is_relation
            or field.name == "id"
            or isinstance(value, datetime)
            or (value is None and field.null)
        ):
            continue
        try:
            _KINDS[type(field).__name__](field, value)
        except BadValue as error:
            raise BadValue(f"{field.name}: {error}") from None


def _text(field: Any, value: Any) -> str:
    if not isinstance(value, str):
        raise BadValue("it should be text")
    if field.max_length is not None and len(value) > field.max_length:
        raise BadValue(f"it has {len(value)} characters; {field.max_length} are taken")
    if field.choices and value not in dict(field.flatchoices):
        raise BadValue(f"{value[:40]!r} is none of {', '.join(str(k) for k in dict(field.flatchoices))}")
    if "\x00" in value or any("\ud800" <= c <= "\udfff" for c in value):
        raise BadValue("it has characters that no text has")
    return value


def _whole(field: Any, value: Any) -> int:
    most = LARGEST.get(type(field).__name__, 2**53)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise BadValue(f"it should be a whole number from 0 to {most}")
    return value


def _number(field: Any, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e15:
        raise BadValue("it should be a number")
    return float(value)


def _yes_no(field: Any, value: Any) -> bool:
    if not isinstance(value, bool):
        raise BadValue("it should be true or false")
    return value


def moment(value: Any) -> datetime:
    """A moment as records write it. Raises BadValue."""
    try:
        found = datetime.strptime(value, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    except (TypeError, ValueError):
        raise BadValue("it should be a moment as in 2026-11-21T10:05:00.000000Z") from None
    if stamp(found) != value or found.year < 1970:
        raise BadValue("it should be a moment as in 2026-11-21T10:05:00.000000Z")
    return found


_KINDS: dict[str, Callable[[Any, Any], Any]] = {
    "CharField": _text,
    "TextField": _text,
    "BooleanField": _yes_no,
    "FloatField": _number,
    "PositiveIntegerField": _whole,
    "PositiveSmallIntegerField": _whole,
    "PositiveBigIntegerField": _whole,
    "BigAutoField": _whole,
    "DateTimeField": lambda field, value: moment(value),
}


def schema_of(kind: str) -> dict[str, Any]:
    """The JSON Schema of a line of this kind."""
    properties = {field.name: _schema(field) for field in fields_of(kind)}
    return {
        "type": "object",
        "additionalProperties": False,
        "required": ["is", *properties],
        "properties": {"is": {"const": kind}} | properties,
    }


def _schema(field: Any) -> dict[str, Any]:
    if field.is_relation:
        found: dict[str, Any] = {"type": "string" if field.related_model in (KeptText, Hand) else "integer"}
        found["description"] = f"{NATURAL[field.related_model]} of a {field.related_model.__name__.lower()}"
    else:
        found = dict(_SCHEMAS[type(field).__name__])
        if getattr(field, "max_length", None):
            found["maxLength"] = field.max_length
        if field.choices:
            found["enum"] = [str(k) for k in dict(field.flatchoices)]
    return {"anyOf": [found, {"type": "null"}]} if field.null else found


MOMENT = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z$"}
_SCHEMAS: dict[str, dict[str, Any]] = {
    "CharField": {"type": "string"},
    "TextField": {"type": "string"},
    "BooleanField": {"type": "boolean"},
    "FloatField": {"type": "number"},
    "PositiveIntegerField": {"type": "integer", "minimum": 0},
    "PositiveSmallIntegerField": {"type": "integer", "minimum": 0},
    "PositiveBigIntegerField": {"type": "integer", "minimum": 0},
    "BigAutoField": {"type": "integer", "minimum": 0},
    "DateTimeField": MOMENT,
}
