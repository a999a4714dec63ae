"""What the lead says a plan goes by. Whatever is not understood is refused, and nothing is changed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from handsel.errors import OutOfRange

MOST_SPARES = 10_000
WAITING = (("no", "nobody"), ("appointed", "a date is agreed"), ("here", "in the hall"))


def read_goes_by(
    data: Any, *, numbers: set[int], codes: set[str], spares: Mapping[int, str]
) -> dict[str, Any]:
    """The form as it came. `spares` are the names that were asked for, by their place on the page."""
    here = _numbers(data.getlist("here"), numbers)
    waiting = {}
    for code in codes:
        said = data.get(f"waiting-{code}", "no")
        if said not in dict(WAITING):
            raise OutOfRange(
                "who waits for a hand was not understood", where=code, do="Choose one of the three."
            )
        if said != "no":
            waiting[code] = said
    counts = {}
    for place, name in spares.items():
        text = str(data.get(f"spare-{place}", "")).strip()
        if not text:
            continue
        if not re.fullmatch(r"[0-9]{1,5}", text) or int(text) > MOST_SPARES:
            raise OutOfRange(
                f"{text[:20]!r} is no count", where=name, do=f"Type a whole number up to {MOST_SPARES}."
            )
        counts[name] = int(text)
    return {
        "away": sorted(numbers - here),
        "experienced": sorted(_numbers(data.getlist("experienced"), numbers)),
        "waiting": waiting,
        "spares": counts,
    }


def _numbers(values: list[str], known: set[int]) -> set[int]:
    found = {int(v) for v in values if re.fullmatch(r"[0-9]{1,9}", v)}
    return found & known
