"""Which day it is."""

from __future__ import annotations

from handsel.bench.days.models import Day


def current_day() -> Day | None:
    """The day that is open, a real one before a demonstration; else the last one; None before the first."""
    days = Day.objects.select_related("protocol", "design").defer("protocol__text", "design__text")
    is_open = days.filter(closed_at=None).order_by("is_demo", "-opened_at").first()
    return is_open or days.order_by("-opened_at").first()
