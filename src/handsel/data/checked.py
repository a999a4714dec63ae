"""Holds what was read against a pydantic model and puts its findings into plain words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from handsel.data.fields import PATTERN_WORDS
from handsel.data.places import near, place, shown, shown_plain
from handsel.errors import BadFile

M = TypeVar("M", bound=BaseModel)


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
    p = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
    loc, kind = p["loc"], p["type"]
    whole = (
        loc[:-1] if kind in ("missing", "extra_forbidden") else loc
    )  # the table that has, or lacks, the key
    do = _remedy(p, _keys_at(model, loc[:-1]))
    meaning = _description(model, loc)
    if meaning:
        do += f" Meaning: {meaning}"
    if len(problems) > 1:
        do += f" (To mend besides: {len(problems) - 1}.)"
    return BadFile(_fault(p), where=place(path, data, whole), do=do)


_NUMBERS = ("float_type", "int_type", "int_from_float", "int_parsing_size", "float_parsing", "int_parsing")
_TABLES = ("model_type", "dict_type", "model_attributes_type")
_WANTED = {
    **dict.fromkeys(_TABLES, "a table"),
    **dict.fromkeys(("tuple_type", "list_type"), "a list in square brackets"),
    "bool_type": "true or false",
    "string_type": "text in quotes",
    "finite_number": "an ordinary number",
}


def _fault(p: ErrorDetails) -> str:
    """What is wrong, for one finding of pydantic."""
    kind, value, ctx = p["type"], p["input"], p.get("ctx", {})
    key = p["loc"][-1] if p["loc"] else "file"
    if kind == "missing" and isinstance(key, int):
        return f"it has {_size(value)} entries; expected more"
    if kind == "missing":
        return f'the key "{key}" is missing'
    if kind == "extra_forbidden":
        return f'the key "{shown_plain(str(key)[:60])}" is not known here'
    if kind in ("too_long", "too_short", "string_too_long", "string_too_short"):
        bound = f"at most {ctx['max_length']}" if kind.endswith("long") else f"at least {ctx['min_length']}"
        of = "characters" if kind.startswith("string") else "entries"
        return f"it has {_size(value)} {of}; expected {bound}"
    wanted = _wanted(kind, ctx) or p["msg"]
    return f"it is {shown(value)}; expected {wanted}"


def _wanted(kind: str, ctx: dict[str, Any]) -> str:
    if kind in _NUMBERS:
        return "a whole number" if kind.startswith("int") else "a number"
    bounds = {
        "greater_than": "more than {gt:g}",
        "greater_than_equal": "{ge:g} or more",
        "less_than": "less than {lt:g}",
        "less_than_equal": "at most {le:g}",
    }
    if kind in bounds:
        return bounds[kind].format(**ctx)
    if kind == "literal_error":
        return str(ctx["expected"]).replace("'", '"')
    if kind == "string_pattern_mismatch":
        return PATTERN_WORDS.get(ctx["pattern"], f"a text that matches {ctx['pattern']}")
    return _WANTED.get(kind, "")


def _remedy(p: ErrorDetails, keys: list[str]) -> str:
    kind, value = p["type"], p["input"]
    if kind == "missing":
        return "Give every number that belongs there." if isinstance(p["loc"][-1], int) else "Add it."
    if kind == "extra_forbidden":
        return f"{near(str(p['loc'][-1]), keys)} Or take it out."
    if kind == "literal_error":
        options = str(p.get("ctx", {}).get("expected", "")).split("'")[1::2]
        # A number of thousands of digits cannot even be written; it resembles no option either.
        return near(value[:60] if isinstance(value, str) else "", options)
    if kind in _NUMBERS and isinstance(value, str):
        return "Type the number without quotes."
    if kind in ("less_than", "less_than_equal", "greater_than", "greater_than_equal"):
        return "Correct the number; check its sign and its unit."
    return "Correct it."


def _size(value: object) -> int | str:
    return len(value) if isinstance(value, str | list | dict) else "the wrong number of"


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
