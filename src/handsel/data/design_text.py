"""A design as text: what a hand's record keeps, and the fingerprint of that text."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import lru_cache
from hashlib import sha256
from typing import Any

from handsel.data.design_tables import FORMAT
from handsel.data.load_design import design_from_data
from handsel.design.model import Design
from handsel.errors import BadFile

# The dataclass says "bodies" where the file has many tables called "body".
_TABLES = {
    "bodies": "body",
    "hinges": "hinge",
    "slides": "slide",
    "digits": "digit",
    "cords": "cord",
    "legs": "leg",
    "elastics": "elastic",
    "pads": "pad",
    "gauges": "gauge",
    "parts": "part",
    "reference_dimensions": "reference_dimension",
    "tag_pads": "tag_pad",
}


def design_text(design: Design) -> str:
    """The design in the file's own keys, always in the same bytes for the same design.

    Comments, order of keys and spelling of numbers in the file it came from leave no trace, so two
    files that mean the same give the same text.

    Parameters: design, as loaded.
    Returns: JSON in one line, keys sorted, only ASCII; `design_from_text` reads it back unchanged.
    Raises: nothing of its own.    Valid for: designs at scale 1, right side, as loaded.
    Source: our own; RFC 8785 has the same aim.    Checked by: unit/test_design_text.py
    """
    tables = _tables(asdict(design)) | {"format": FORMAT, "length_unit": "mm"}
    return json.dumps(tables, sort_keys=True, separators=(",", ":"), allow_nan=False)


def design_sha256(design: Design) -> str:
    """Fingerprint of a design: SHA-256 of its text, 64 hexadecimal digits."""
    return sha256(design_text(design).encode("ascii")).hexdigest()


def design_from_text(text: str, *, where: str) -> Design:
    """The design that a record keeps as text; checked as a file is.

    Parameters: text, as from `design_text`; where, the record's name, for messages.
    Returns: Design.    Raises: BadFile when the text is not a design.
    Valid for: text of any size that a record may hold.    Source: our own.
    Checked by: unit/test_design_text.py
    """
    return _design_in(text, where)


@lru_cache(maxsize=16)  # as in load_design
def _design_in(text: str, where: str) -> Design:
    do = "The record was changed or cut short; fetch it again from a backup."
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise BadFile("the design in it is not readable", where=where, do=do) from None
    if not isinstance(data, dict):
        raise BadFile("the design in it is not a table", where=where, do=do)
    return design_from_data(data, where)


def _tables(value: Any) -> Any:
    if isinstance(value, dict):
        # The file leaves a key out where the design has none.
        kept = {_TABLES.get(key, key): _tables(v) for key, v in value.items() if v is not None}
        if "measures" in kept:
            kept["measures"] = dict(value["measures"])
        return kept
    if isinstance(value, list | tuple):
        return [_tables(v) for v in value]
    return value
