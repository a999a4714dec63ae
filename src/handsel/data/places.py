"""How places, values and names of a file are written in messages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path

NAME_KEYS = (
    "name",
    "id",
    "of",
    "what",
    "code",
    "digit",
    "hinge",
)  # what a table is called, the first that it has


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
    if isinstance(value, str):
        return shown_plain(f'"{value[:60]}"')
    if isinstance(value, int) and value.bit_length() > 100:
        return "a whole number of very many digits"  # Python refuses to write the longest ones
    return str(value)[:60]


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
