"""How the lead's pages and the wall say where a hand stands and how long it has waited."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from handsel.bench.hands.models import Standing

LONG = timedelta(minutes=20)  # after this, waiting is worth a look

LABELS: dict[str, str] = dict(Standing.choices)
SHAPES: dict[Any, str] = {
    Standing.BUILDING: "building",
    Standing.ASKED: "asked",
    Standing.LOOKING: "looking",
    Standing.TO_PUT_RIGHT: "to-put-right",
    Standing.FOR_LEAD: "for-the-lead",
    Standing.TO_FIT: "ready-to-fit",
    Standing.TO_RELEASE: "to-release",
    Standing.RELEASED: "released",
    Standing.HANDED_OVER: "handed-over",
    Standing.SCRAPPED: "scrapped",
}
FINISHED: tuple[Any, ...] = (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED)
WAITING: tuple[Any, ...] = (
    Standing.ASKED,
    Standing.TO_PUT_RIGHT,
    Standing.FOR_LEAD,
    Standing.TO_FIT,
    Standing.TO_RELEASE,
)


def span_words(span: timedelta) -> str:
    """How long, in as few words as will do: "now", "12 min", "1 h 05", "3 days"."""
    minutes = max(0, int(span.total_seconds() // 60))
    if minutes < 1:
        return "now"
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60:02d}"
    days = minutes // (24 * 60)
    return "1 day" if days == 1 else f"{days} days"


def waits_long(standing: str, since: datetime, *, is_held: bool, now: datetime) -> bool:
    """Whether nobody has had it in hand for longer than a hand should wait."""
    return standing in WAITING and not is_held and now - since > LONG


def count_words(count: int, one: str, many: str) -> str:
    """ "1 hand", "3 hands"."""
    return f"{count} {one if count == 1 else many}"
