"""The time zone of this computer, by a name that Django understands."""

from __future__ import annotations

import os
import time
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def local_zone() -> str:
    """The name of the zone: as set, as the system links it, or a fixed offset that holds for today."""
    for name in (os.environ.get("HANDSEL_TIME_ZONE"), os.environ.get("TZ"), _linked(), _offset()):
        if name and _is_known(name):
            return name
    return "UTC"


def _linked() -> str:
    try:
        parts = Path("/etc/localtime").resolve(strict=True).parts
    except OSError:
        return ""
    return "/".join(parts[parts.index("zoneinfo") + 1 :]) if "zoneinfo" in parts else ""


def _offset() -> str:
    """Whole hours only; the sign of these names is turned round."""
    east_s = time.localtime().tm_gmtoff
    hours = round(east_s / 3600)
    return f"Etc/GMT{-hours:+d}" if hours else "UTC"


def _is_known(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
