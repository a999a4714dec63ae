"""What a phone sends: hostile until it has been read here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, TypeAdapter, ValidationError
from pydantic_core import from_json

from handsel.errors import HandselError

MOST_ENTRIES = 100  # in one batch
MOST_BYTES = 400_000
LONGEST_MS = 600_000  # past ten minutes nobody was looking at the screen
ID = r"^[A-Za-z0-9_-]{16,64}$"


class NotUnderstood(HandselError, ValueError):
    """A batch that is no batch."""


class TooMuch(HandselError, ValueError):
    """A batch that is too large."""

    status = 413


def _bounded(value: Any) -> Any:
    """A phone's clock may jump; the time of a tap says little past ten minutes and nothing below zero."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and value == value:
        return int(min(max(value, 0), LONGEST_MS))
    return value


def _plain(value: Any) -> Any:
    """Text without what cannot be seen: control characters, and the marks that turn the direction of writing."""
    if not isinstance(value, str):
        return value
    unseen = "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return "".join(c for c in value if (c >= " " or c == "\n") and c != "\x7f" and c not in unseen).strip()


Milliseconds = Annotated[int, BeforeValidator(_bounded)]
Words = Annotated[str, Field(max_length=60)]
Text = Annotated[str, BeforeValidator(_plain), Field(max_length=500)]
ClientId = Annotated[str, Field(pattern=ID)]


class Sent(BaseModel):
    """One entry of a batch: who gave it on this phone, and when in the phone's own measure."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    client_id: ClientId
    by: Annotated[int, Field(ge=1, le=10_000_000)]  # number of the person who answered
    tap_ms: Milliseconds = 0  # since the screen was shown
    step_ms: Milliseconds = 0  # since the answer before, the screens between included
    seen_count: Annotated[int, Field(ge=0, le=10_000_000)] = 0  # entries of the hand that the phone knew


Pixel = Annotated[float, Field(ge=0, le=100_000)]
Point = Annotated[list[Pixel], Field(min_length=2, max_length=2)]
Line = Annotated[list[Point], Field(min_length=2, max_length=2)]


class Drawn(BaseModel):
    """Two lines as a person drew them on a photo, from the wrist outward."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    palm: Line
    cuff: Line


class Lines(BaseModel):
    """A photo's size as it was shown, and the lines drawn on it, each time they were drawn."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    size: Annotated[list[Annotated[int, Field(ge=1, le=100_000)]], Field(min_length=2, max_length=2)]
    drawn: Annotated[list[Drawn], Field(min_length=1, max_length=8)]


class Observed(Sent):
    """An answer or a number for one characteristic at one place."""

    kind: Literal["observed"]
    of: Words
    place: Words = ""
    answer: Words | None = None
    value: float | None = None
    readings: Annotated[list[float], Field(max_length=20)] = []
    unit: Annotated[str, Field(max_length=12)] | None = None
    method: Words = ""
    note: Text = ""
    photo: ClientId | None = None
    measured: Annotated[str, Field(pattern=r"^[a-z]{1,8}/[0-9A-Za-z_-]{8,64}$")] | None = (
        None  # what was read
    )
    lines: Lines | None = None  # drawn on the photo, instead
    marks: Annotated[
        list[Annotated[list[Words], Field(min_length=2, max_length=2)]], Field(max_length=60)
    ] = []  # places marked on the photo, each with what the person says of it
    protocol: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class AsShown(Sent):
    """A group taken as shown, whole or in the part that was on the screen."""

    kind: Literal["as-shown"]
    group: Words
    only: Annotated[
        list[Annotated[list[Words], Field(min_length=2, max_length=2)]], Field(max_length=400)
    ] = []
    photo: ClientId | None = None
    photo_asked: bool = False
    protocol: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Withdrawn(Sent):
    """An answer taken back, named by the id that the phone gave it."""

    kind: Literal["withdrawn"]
    undoes: ClientId
    reason: Text = "undone on the phone"


class Noted(Sent):
    """A note, with a photo or without."""

    kind: Literal["noted"]
    text: Annotated[str, BeforeValidator(_plain), Field(min_length=1, max_length=2000)]
    photo: ClientId | None = None


class PutDown(Sent):
    """The person stops here, and someone else may go on."""

    kind: Literal["put-down"]


AnySent = Observed | AsShown | Withdrawn | Noted | PutDown
_ONE: TypeAdapter[AnySent] = TypeAdapter(Annotated[AnySent, Field(discriminator="kind")])


def batch_of(body: bytes) -> list[dict[str, Any]]:
    """The entries of a batch, each still to be read by itself: one that is damaged stops no other."""
    if len(body) > MOST_BYTES:
        raise TooMuch("this is more than a batch may hold", where="the answers", do="Send fewer at a time.")
    try:
        data = from_json(body, allow_inf_nan=False)
    except ValueError:
        data = None
    entries = data.get("entries") if isinstance(data, dict) else None
    if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
        raise NotUnderstood(
            "this is no list of answers",
            where="the answers",
            do="Load the page again; what was not sent stays on the phone.",
        )
    if len(entries) > MOST_ENTRIES:
        raise TooMuch(
            f"these are {len(entries)} answers; {MOST_ENTRIES} may come at once",
            where="the answers",
            do="Send fewer at a time.",
        )
    return entries


def read_one(data: dict[str, Any]) -> AnySent | str:
    """One entry, or in words which field of it cannot be read."""
    try:
        return _ONE.validate_python(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        field = ".".join(str(x) for x in first["loc"] if x not in _KINDS) or "kind"
        return f"{field[:60]}: {first['msg'][:120]}"


class _LinesSent(BaseModel):
    """Lines on their way to be worked out, and the check that they are for."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    of: Words
    lines: Lines


def read_lines(body: bytes) -> tuple[str, Lines]:
    """Drawn lines and their check."""
    try:
        sent = _LinesSent.model_validate(from_json(body, allow_inf_nan=False))
    except ValueError:  # a ValidationError is one too
        raise NotUnderstood("these are no two lines", where="the lines", do="Draw them again.") from None
    return sent.of, sent.lines


_KINDS = {"observed", "as-shown", "withdrawn", "noted", "put-down"}


def what_of(sent: AnySent, *, undone_seq: int | None = None) -> dict[str, Any]:
    """The body of the record's entry; empty fields are left out."""
    timed = {"tap_ms": sent.tap_ms, "step_ms": sent.step_ms, "seen_count": sent.seen_count}
    if isinstance(sent, Observed):
        said: dict[str, Any] = {
            "of": sent.of,
            "place": sent.place,
            "protocol": sent.protocol,
            "from": "screen",
        }
        optional = {
            "answer": sent.answer,
            "value": sent.value,
            "readings": list(sent.readings),
            "unit": sent.unit,
            "method": sent.method,
            "note": sent.note,
            "photo": sent.photo,
            "measured": sent.measured,
            "lines": None if sent.lines is None else sent.lines.model_dump(),
            "marks": [list(pair) for pair in sent.marks],
        }
        return said | _filled(optional.items()) | timed
    if isinstance(sent, AsShown):
        said = {"group": sent.group, "protocol": sent.protocol, "from": "screen"}
        only = [list(pair) for pair in sent.only]
        return (
            said
            | _filled({"only": only, "photo": sent.photo, "photo_asked": sent.photo_asked}.items())
            | timed
        )
    if isinstance(sent, Withdrawn):
        return {"seq": undone_seq, "reason": sent.reason} | timed
    if isinstance(sent, Noted):
        return {"text": sent.text} | _filled([("photo", sent.photo)])
    return {}


def _filled(items: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    return {k: v for k, v in items if v is not None and v != "" and v != [] and v is not False}
