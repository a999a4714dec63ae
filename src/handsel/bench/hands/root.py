"""One fingerprint over the heads of all hands of a day, to be printed and kept away from the laptop.

    root = SHA-256 of the lines "code:head", sorted, each ended by a newline

Whoever could write to the database could compute every chain anew; a root on paper shows it.
"""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256

from handsel.bench.days.models import Day
from handsel.bench.hands.models import Hand


def root_over(heads: Iterable[tuple[str, str]]) -> str:
    """The root over pairs of a hand's code and the fingerprint of its last entry."""
    lines = sorted(f"{code}:{head}\n" for code, head in heads)
    return sha256("".join(lines).encode("ascii")).hexdigest()


def root_of(day: Day) -> str:
    """The root of a day as it stands now, practice hands included."""
    return root_over(Hand.objects.filter(day=day).values_list("code", "head_sha256"))
