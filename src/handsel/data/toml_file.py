"""Reads a TOML file from outside and says in plain words what is wrong with it, and where."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from hashlib import sha256
from pathlib import Path
from typing import Any

from handsel.data.places import shown_plain
from handsel.errors import BadFile

MAX_BYTES = 2_000_000
MAX_DEPTH = 24  # no format of ours needs more than six

# The standard library's reader takes time as the square of a dotted key's parts, or more, so keys
# of too many parts are refused before it sees them. Possessive, and only from the start of a word,
# so that this search itself takes time in proportion to the file.
_LONG_DOTTED_KEY = re.compile(
    r"(?<![A-Za-z0-9_-])"
    r"""(?:(?:"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+'|[A-Za-z0-9_-]++)[ \t]*+\.[ \t]*+)"""
    rf"{{{MAX_DEPTH}}}"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TomlFile:
    """What a file holds, and the fingerprint that a record keeps of it."""

    data: dict[str, Any]
    text: str  # without byte order mark, line ends as LF
    sha256: str  # of that text in UTF-8, so that a copy saved on another system keeps its fingerprint


def read_toml(path: str | Path, max_bytes: int = MAX_BYTES) -> dict[str, Any]:
    """The tables of a file, or a reason why it is not one.

    Parameters: path, as the user gave it; max_bytes, the largest file that is read [bytes].
    Returns: dict of plain values: str, int, float, bool, date and time, list, dict.
    Raises: BadFile for anything that is not a readable, moderate TOML text file.
    Valid for: UTF-8 text, with or without a byte order mark.
    Source: TOML 1.0, as the standard library reads it.
    Checked by: unit/test_toml_file.py
    """
    return read_toml_file(path, max_bytes).data


def read_toml_file(path: str | Path, max_bytes: int = MAX_BYTES) -> TomlFile:
    """As read_toml, with the text and its fingerprint, for files that a record refers to.

    Parameters: as read_toml.
    Returns: TomlFile.
    Raises: as read_toml.
    Valid for: as read_toml.
    Source: as read_toml; FIPS 180-4 through the standard library.
    Checked by: unit/test_toml_file.py
    """
    return toml_of_text(text_of_file(path, max_bytes), shown_plain(str(path)))


def toml_of_text(text: str, where: str) -> TomlFile:
    """As read_toml_file, for text that a record keeps.

    Parameters: text, as TomlFile has it; where, what it came from, for messages.
    Returns: TomlFile.
    Raises: BadFile for anything that is not readable, moderate TOML.
    Valid for: text with line ends as LF.
    Source: as read_toml.
    Checked by: unit/test_toml_file.py
    """
    if _LONG_DOTTED_KEY.search(text):
        raise _too_deep(where)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(error, text, where) from None
    except ValueError:  # a whole number of thousands of digits
        raise BadFile(
            "a number in it is too long to read",
            where=where,
            do="Look for a line with a number of very many digits.",
        ) from None
    except RecursionError:
        raise _too_deep(where) from None
    if _depth(data) > MAX_DEPTH:
        raise _too_deep(where)
    return TomlFile(data=data, text=text, sha256=sha256(text.encode()).hexdigest())


_TWICE = ("Cannot overwrite a value", "Cannot declare", "Duplicate inline table key", "Cannot mutate")


def _not_toml(error: tomllib.TOMLDecodeError, text: str, where: str) -> BadFile:
    """The parser's complaint with the line it means, and the likeliest slip behind it."""
    found = re.search(r"\(at line (\d+), column \d+\)$", str(error))
    number = int(found.group(1)) if found else text.count("\n") + 1
    line = "".join(text.split("\n")[number - 1 : number]).strip()
    value = line.partition("=")[2].strip()
    if str(error).startswith(_TWICE):
        do = "The same key or table stands twice: keep one of them."
    elif re.search("[\u201c\u201d\u201e\u00ab\u00bb\u2018\u2019]", line):
        do = 'Use straight quotes, ", not the curly ones of a word processor.'
    elif re.match(r"[-+]?\d+,\d", value):
        do = "Write numbers with a point, 28.5, not with a comma."
    elif re.match(r"[A-Za-z]", value):
        do = f'Words stand in quotes, as in "{shown_plain(value[:30])}".'
    else:
        do = "Mend that line; text needs quotes, lists need commas and brackets in pairs."
    said = f": {shown_plain(line[:60])}" if line else ""
    return BadFile(f"this is not valid TOML: {shown_plain(str(error)[:120])}{said}", where=where, do=do)


def _too_deep(where: str) -> BadFile:
    return BadFile(
        f"its tables and lists are nested more than {MAX_DEPTH} deep",
        where=where,
        do="This is not a file of this program; start from a bundled example.",
    )


def _raw(path: Path, where: str, size: int) -> bytes:
    try:
        if path.is_dir():
            raise BadFile("this is a folder", where=where, do="Name the file in it.")
        if path.exists() and not path.is_file():
            do = "Save the text to a file and name that."
            raise BadFile("this is not an ordinary file", where=where, do=do)
        with path.open("rb") as file:
            return file.read(size)
    except BadFile:
        raise
    except FileNotFoundError:
        do = _similar(path) or "Check the spelling and the folder that you are in."
        raise BadFile("there is no such file", where=where, do=do) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        reason = error.strerror if isinstance(error, OSError) else None
        raise BadFile(
            f"it cannot be read: {reason or 'the name cannot be used'}",
            where=where,
            do="Check its name and its permissions.",
        ) from None


def _similar(path: Path) -> str:
    """The file that was probably meant, when the folder holds one with nearly that name."""
    try:
        names = sorted(p.name for p in path.parent.glob("*.toml"))[:500]
    except OSError:
        return ""
    close = get_close_matches(path.name, names, n=1, cutoff=0.6)
    return f'Did you mean "{shown_plain(close[0])}"?' if close else ""


def text_of_file(path: str | Path, max_bytes: int = MAX_BYTES) -> str:
    """The text of a file as TomlFile has it, not yet read as TOML.

    Parameters: as read_toml.
    Returns: text, without byte order mark, line ends as LF.
    Raises: BadFile for anything that is not a readable, moderate text file.
    Valid for: UTF-8 text.
    Source: own rule.
    Checked by: unit/test_toml_file.py
    """
    where = shown_plain(str(path))
    raw = _raw(Path(path), where, max_bytes + 1)
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
    return text.replace("\r\n", "\n")


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
