"""What several of the builder's and the fitter's pages have in common."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A choice."""

    value: str
    words: str
    url: str = ""


def today() -> str:
    """Today in the hall's own clock."""
    return f"{timezone.localtime():%Y-%m-%d}"
