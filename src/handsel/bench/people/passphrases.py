"""Passphrases and numbers that the program makes; nobody chooses one, so nobody chooses a bad one.

A lead's passphrase is six words of a list of 1024: 6 x 10 bits = 60 bits. At the thousand tries an hour that
the bench lets through at most, half of them would take some 65 thousand million years.
A fitter's number is four digits: enough beside ten tries in all, and typed with a glove on.
"""

from __future__ import annotations

import re
import secrets
from functools import lru_cache
from importlib.resources import files
from math import log2

WORD_COUNT = 6
PIN_LENGTH = 4


@lru_cache(maxsize=1)
def words() -> tuple[str, ...]:
    """The list: plain words, all different."""
    text = files("handsel.bench.people").joinpath("words.txt").read_text(encoding="ascii")
    return tuple(text.split())


def bits() -> float:
    """What a new passphrase is worth [bit]."""
    return WORD_COUNT * log2(len(words()))


def new_passphrase() -> str:
    """Six words at random."""
    return " ".join(secrets.choice(words()) for _ in range(WORD_COUNT))


def new_pin() -> str:
    """Four digits at random."""
    return "".join(secrets.choice("0123456789") for _ in range(PIN_LENGTH))


def as_kept(typed: str) -> str:
    """What somebody typed, as it was made: lower case, one space between words, whatever stood there."""
    return " ".join(re.findall(r"[a-z0-9]+", typed[:400].lower()))
