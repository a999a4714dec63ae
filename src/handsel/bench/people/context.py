"""What every template may show about the person at this phone."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def signed_in(request: HttpRequest) -> dict[str, Any]:
    """`person` (or None), whether this is a maker working alone, and whether all of it is invented."""
    user = getattr(request, "user", None)
    person = user if user is not None and user.is_authenticated else None
    return {"person": person, "solo": settings.SOLO, "demo": settings.DEMO}
