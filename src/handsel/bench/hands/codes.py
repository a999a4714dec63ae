"""The six characters on a hand's label: five at random and one that gives a slip away.

29 characters, a prime number, without vowels (no words arise) and without 0, 1 (read as O, I, L). The
check character makes the sum of each place's number times its weight a multiple of 29, so that any
one wrong character, and any two exchanged, is noticed: the scheme of ISBN-10 with another prime.
"""

from __future__ import annotations

import secrets

from handsel.errors import HandselError

SIGNS = "23456789BCDFGHJKLMNPQRSTVWXYZ"
LENGTH = 6
WEIGHTS = (2, 3, 4, 5, 6, 1)  # all different and none a multiple of 29


class BadCode(HandselError, ValueError):
    """A code that is on no label."""


def new_code() -> str:
    """A code nobody can guess from another; the caller sees to it that it is not taken yet."""
    body = "".join(secrets.choice(SIGNS) for _ in range(LENGTH - 1))
    return body + check_sign(body)


def check_sign(body: str) -> str:
    """The last character for the five before it."""
    total = sum(w * SIGNS.index(c) for w, c in zip(WEIGHTS, body, strict=False))
    return SIGNS[-total % len(SIGNS)]


def is_code(text: str) -> bool:
    """Whether this is a whole code, its check character included."""
    return (
        len(text) == LENGTH
        and all(c in SIGNS for c in text)
        and sum(w * SIGNS.index(c) for w, c in zip(WEIGHTS, text, strict=True)) % len(SIGNS) == 0
    )


def shown(code: str) -> str:
    """As printed and read out: K7M-4QX."""
    return f"{code[:3]}-{code[3:]}"


def read_code(typed: str) -> str:
    """The code in what somebody typed, scanned or read from a photo.

    Raises BadCode, in words that say which character cannot be right.
    """
    text = typed.strip().upper()
    if "/" in text:  # the whole address of a label
        parts = [p for p in text.split("/") if p]
        text = parts[-1] if parts else ""
    text = "".join(c for c in text if c.isalnum())[:40]
    where, do = "the code", "Type the six characters under the square on the label."
    if not text:
        raise BadCode("nothing was typed", where=where, do=do)
    wrong = next((c for c in text if c not in SIGNS), None)
    if wrong is not None:
        raise BadCode(f"no code has a {wrong!r} in it", where=where, do=f"{do} Look at that one again.")
    if len(text) != LENGTH:
        raise BadCode(f"it has {len(text)} characters and not {LENGTH}", where=where, do=do)
    if not is_code(text):
        raise BadCode(f"{shown(text)} is no code: one of its characters is wrong", where=where, do=do)
    return text
