"""Beginning hands: one from a form, several from pasted lines such as "R-014 left 110"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from handsel.bench.days.models import Day
from handsel.bench.days.services import must_be_open
from handsel.bench.hands.models import Hand
from handsel.bench.hands.services import begin_hand
from handsel.bench.people.models import Person
from handsel.errors import HandselError, OutOfRange

MOST_LINES = 200
SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered:
    """One hand to begin."""

    recipient_code: str
    side: str
    scale_ratio: float


def read_lines(text: str) -> tuple[Ordered, ...]:
    """The hands in pasted lines: recipient's code, side, scale in per cent, in this order.

    Raises OutOfRange that names every line that cannot be read; none is begun then.
    """
    lines = [(n, line.strip()) for n, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if not lines:
        raise OutOfRange(
            "nothing was pasted", where="several hands", do="One hand a line, as in: R-014 left 110"
        )
    if len(lines) > MOST_LINES:
        raise OutOfRange(
            f"these are {len(lines)} lines; {MOST_LINES} are taken at a time",
            where="several hands",
            do="Paste them in parts.",
        )
    found, wrong = [], []
    for n, line in lines:
        try:
            found.append(_read(line))
        except ValueError as error:
            wrong.append(f"line {n} ({line[:40]}): {error}")
    if wrong:
        more = f"; and {len(wrong) - 5} more" if len(wrong) > 5 else ""
        raise OutOfRange(
            "; ".join(wrong[:5]) + more,
            where="several hands",
            do="Nothing was begun. Mend these lines and send them again.",
        )
    return tuple(found)


def _read(line: str) -> Ordered:
    words = [w for w in re.split(r"[\s,;|]+", line.replace("%", " ")) if w]
    if len(words) != 3:
        raise ValueError(f"{len(words)} words instead of code, side and scale")
    code, side, scale = words
    if side.lower() not in SIDES:
        raise ValueError(f"{side[:12]!r} is neither left nor right")
    if not re.fullmatch(r"[0-9]{2,3}(\.[0-9])?", scale):
        raise ValueError(f"{scale[:12]!r} is no scale in per cent, such as 110")
    return Ordered(recipient_code=code.upper(), side=SIDES[side.lower()], scale_ratio=float(scale) / 100)


def begin_all(
    day: Day | None, ordered: Sequence[Ordered], *, person: Person, client_id: str
) -> tuple[Hand, ...]:
    """Begin several hands, all or none; sent twice, they are begun once."""
    day = must_be_open(day)
    hands = []
    with transaction.atomic():
        for n, o in enumerate(ordered, start=1):
            try:
                hands.append(
                    begin_hand(
                        day=day,
                        recipient_code=o.recipient_code,
                        side=o.side,
                        scale_ratio=o.scale_ratio,
                        person=person,
                        client_id=f"{client_id}-{n}",
                    )
                )
            except HandselError as error:
                raise OutOfRange(
                    f"hand {n} ({o.recipient_code[:20]}): {error.what}",
                    where="several hands",
                    do=f"{error.do} Nothing was begun.",
                ) from None
    return tuple(hands)
