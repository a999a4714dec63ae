"""Reads a TOML file from outside and says in plain words what is wrong with it, and where."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from handsel.errors import BadFile

MAX_BYTES = 2_000_000
MAX_DEPTH = 24  # no format of ours needs more than six
NAME_KEYS = ("name", "id", "code", "digit", "hinge")  # what a table is called, the first that it has

M = TypeVar("M", bound=BaseModel)


def read_toml(path: str | Path, max_bytes: int = MAX_BYTES) -> dict[str, Any]:
    """The tables of a file, or a reason why it is not one.

    Parameters: path, as the user gave it; max_bytes, the largest file that is read [bytes].
    Returns: dict of plain values: str, int, float, bool, date and time, list, dict.
    Raises: BadFile for anything that is not a readable, moderate TOML text file.
    Valid for: UTF-8 text, with or without a byte order mark.
    Source: TOML 1.0, as the standard library reads it.
    Checked by: unit/test_toml_file.py
    """
    text = _text(Path(path), max_bytes)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadFile(
            f"this is not valid TOML: {error}",
            where=str(path),
            do="Mend that line; text needs quotes, lists need commas and brackets in pairs.",
        ) from None
    except ValueError:  # a whole number of thousands of digits
        raise BadFile(
            "a number in it is too long to read",
            where=str(path),
            do="Look for a line with a number of very many digits.",
        ) from None
    except RecursionError:
        raise _too_deep(path) from None
    if _depth(data) > MAX_DEPTH:
        raise _too_deep(path)
    return data


def _too_deep(path: str | Path) -> BadFile:
    return BadFile(
        f"its tables and lists are nested more than {MAX_DEPTH} deep",
        where=str(path),
        do="This is not a file of this program; start from a bundled example.",
    )


def _text(path: Path, max_bytes: int) -> str:
    where = str(path)
    try:
        if path.is_dir():
            raise BadFile("this is a folder", where=where, do="Name the file in it.")
        if path.exists() and not path.is_file():
            raise BadFile(
                "this is not an ordinary file", where=where, do="Save the text to a file and name that."
            )
        with path.open("rb") as file:
            raw = file.read(max_bytes + 1)
    except FileNotFoundError:
        raise BadFile(
            "there is no such file", where=where, do="Check the spelling and the folder that you are in."
        ) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        reason = (
            error.strerror if isinstance(error, OSError) and error.strerror else "the name cannot be used"
        )
        raise BadFile(
            f"it cannot be read: {reason}", where=where, do="Check its name and permissions."
        ) from None
    if len(raw) > max_bytes:
        raise BadFile(
            f"it is larger than {max_bytes / 1e6:g} MB",
            where=where,
            do="A file of this kind has some kilobytes; check that you named the right one.",
        )
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadFile("it is saved as UTF-16", where=where, do='Save it again with the encoding "UTF-8".')
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise BadFile(
            f"it is not UTF-8 text (byte {raw[error.start]:#04x} in line {line})",
            where=where,
            do='If it is a text file, save it again with the encoding "UTF-8"; '
            "else check that you named the right file.",
        ) from None
    if "\0" in text:
        raise BadFile("it is not a text file", where=where, do="Check that you named the right file.")
    return text


def _depth(data: object) -> int:
    """How deep tables and lists are nested, counted without recursion; stops past the limit."""
    level: list[object] = [data]
    for depth in range(MAX_DEPTH + 2):
        inner: list[object] = []
        for item in level:
            if isinstance(item, dict):
                inner += item.values()
            elif isinstance(item, list):
                inner += item
        if not inner:
            return depth
        level = inner
    return MAX_DEPTH + 1


def checked(model: type[M], data: dict[str, Any], path: str | Path) -> M:
    """The data as the model, or BadFile for the first thing that does not fit.

    Parameters: model, the pydantic class of the whole file; data, as read; path, for the message.
    Returns: an instance of the model.
    Raises: BadFile naming file, table (by name, not only by number), key, fault and remedy.
    Valid for: models whose tables carry one of NAME_KEYS where they are listed.
    Source: our own wording.
    Checked by: unit/test_toml_file.py
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems = error.errors(include_url=False)
        raise _bad(model, data, path, problems) from None


def _bad(model: type[BaseModel], data: object, path: str | Path, problems: list[ErrorDetails]) -> BadFile:
    # A wrong key name shows as one unknown and one missing key: the unknown one explains both.
    first = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
    what, do = _words(first, _keys_at(model, first["loc"][:-1]), _description(model, first["loc"]))
    if len(problems) > 1:
        what += f" (and {len(problems) - 1} more in this file)"
    return BadFile(what, where=place(path, data, first["loc"]), do=do)


def place(path: str | Path, data: object, loc: Sequence[str | int]) -> str:
    """Where in a file: its name, then the tables by their own names, then the key."""
    words = [str(path)]
    for step in loc:
        here: object = None
        if isinstance(data, dict) and isinstance(step, str):
            here = data.get(step)
            words.append(step)
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            here = data[step]
            words[-1] += f" {step + 1}{_called(here)}"
        elif not isinstance(step, int):
            words.append(step)
        data = here
    return ", ".join(shown_plain(w) for w in words)


def _called(item: object) -> str:
    if isinstance(item, dict):
        for key in NAME_KEYS:
            if isinstance(item.get(key), str):
                return f' "{item[key][:60]}"'
    return ""


def shown_plain(text: str) -> str:
    """Text from outside with control characters made visible, so that it cannot disturb a terminal."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def shown(value: object) -> str:
    """A value as it would be typed, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    text = shown_plain(f'"{value[:60]}"') if isinstance(value, str) else str(value)[:60]
    return text


def near(name: str, known: Iterable[str]) -> str:
    """A sentence with the likeliest meant name, or the names there are."""
    names = sorted(set(known))
    close = get_close_matches(name, names, n=1, cutoff=0.6)
    if close:
        return f'Did you mean "{close[0]}"?'
    if not names:
        return "There are none yet."
    listed = ", ".join(f'"{n}"' for n in names[:12]) + (", ..." if len(names) > 12 else "")
    return f"Known here: {listed}."


def _words(p: ErrorDetails, keys: list[str], description: str) -> tuple[str, str]:
    """What is wrong and how to mend it, for one finding of pydantic."""
    key, value, ctx = str(p["loc"][-1]) if p["loc"] else "file", p["input"], p.get("ctx", {})
    meant = f" {key} is: {description}" if description else ""
    kind = p["type"]
    if kind == "missing":
        return f'the key "{key}" is missing', f"Add it.{meant}"
    if kind == "extra_forbidden":
        return f'the key "{shown_plain(key[:60])}" is not known here', near(key, keys) + " Or take it out."
    if kind == "literal_error":
        options = ctx.get("expected", "").replace("'", '"')
        return f"it is {shown(value)}; expected {options}", near(str(value), _quoted(options)) + meant
    if kind in ("greater_than", "greater_than_equal"):
        bound = f"more than {ctx.get('gt')}" if kind == "greater_than" else f"{ctx.get('ge')} or more"
        return f"it is {shown(value)}; expected {bound}", f"Correct the number.{meant}"
    if kind in ("less_than", "less_than_equal"):
        bound = f"less than {ctx.get('lt')}" if kind == "less_than" else f"at most {ctx.get('le')}"
        return f"it is {shown(value)}; expected {bound}", f"Correct the number and check its unit.{meant}"
    if kind == "finite_number":
        return f"it is {shown(value)}; expected an ordinary number", f"Type the number.{meant}"
    if kind in (
        "float_type",
        "int_type",
        "int_from_float",
        "float_parsing",
        "int_parsing",
        "int_parsing_size",
    ):
        wanted = "a whole number" if kind.startswith("int") else "a number"
        return f"it is {shown(value)}; expected {wanted}", f"Type it without quotes.{meant}"
    if kind == "bool_type":
        return f"it is {shown(value)}; expected true or false", f"Type true or false without quotes.{meant}"
    if kind == "string_type":
        return f"it is {shown(value)}; expected text", f"Put it in quotes.{meant}"
    if kind in ("too_long", "too_short", "string_too_long", "string_too_short"):
        bound = f"at most {ctx['max_length']}" if kind.endswith("long") else f"at least {ctx['min_length']}"
        of = "characters" if kind.startswith("string") else "entries"
        return f"it has {_size(value)} {of}; expected {bound}", f"Correct it.{meant}"
    if kind == "string_pattern_mismatch":
        return f"it is {shown(value)}, which has a character that cannot stand there", (
            f"It must match {ctx.get('pattern')}.{meant}"
        )
    if kind in ("tuple_type", "list_type"):
        return f"it is {shown(value)}; expected a list", f"Write it in square brackets.{meant}"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"it is {shown(value)}; expected a table", f"Write it as a table, one key a line.{meant}"
    return f"it is {shown(value)}: {p['msg'][0].lower()}{p['msg'][1:]}", f"Correct it.{meant}"


def _size(value: object) -> int | str:
    return len(value) if isinstance(value, str | list | dict) else "the wrong number of"


def _quoted(options: str) -> list[str]:
    return options.split('"')[1::2]


def _keys_at(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    found = _model_at(model, loc)
    return [f.alias or name for name, f in found.model_fields.items()] if found else []


def _model_at(model: type[BaseModel] | None, loc: Sequence[str | int]) -> type[BaseModel] | None:
    for step in loc:
        if model is None:
            return None
        if isinstance(step, str) and step in model.model_fields:
            model = _model_in(model.model_fields[step].annotation)
    return model


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and not get_args(annotation):
        return annotation if issubclass(annotation, BaseModel) else None
    return next((m for m in map(_model_in, get_args(annotation)) if m), None)


def _description(model: type[BaseModel], loc: Sequence[str | int]) -> str:
    named = [i for i, step in enumerate(loc) if isinstance(step, str)]
    if not named:
        return ""
    owner = _model_at(model, loc[: named[-1]])
    field = owner.model_fields.get(str(loc[named[-1]])) if owner else None
    return (field.description or "") if field else ""
