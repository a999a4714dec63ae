"""Starting a day, filling it in while work goes on, closing and opening it again."""

from __future__ import annotations

import ipaddress
import re
from datetime import datetime, time
from typing import NoReturn
from urllib.parse import urlsplit

from django.db import transaction
from django.utils import timezone

from handsel.bench.days.models import Day
from handsel.bench.hands.services import keep_design, keep_protocol
from handsel.bench.hosts import add_name
from handsel.bench.people.models import Person
from handsel.errors import HandselError, OutOfRange

PROTOCOL, DESIGN = "wrist-hand-1", "linden"  # what a day starts with
NAME = re.compile(r"(?=.{1,120}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


class DayClosed(HandselError):
    """The day is closed: nothing is begun until it is opened again."""

    status = 409


def start_day(*, title: str = "", at: datetime | None = None) -> Day:
    """A day with defaults; while one is open, that one. Two leads who start at once get the same day."""
    at = at or timezone.now()
    with transaction.atomic():
        # One writer at a time: on a database that allows several, they wait for each other here.
        list(Person.objects.select_for_update().filter(is_lead=True).values_list("pk"))
        running = Day.objects.filter(closed_at=None, is_demo=False).first()
        if running is not None:
            return running
        return Day.objects.create(
            title=title.strip()[:80] or f"Build day, {long_date(at)}",
            opened_at=at,
            protocol=keep_protocol(PROTOCOL),
            design=keep_design(DESIGN),
        )


def long_date(at: datetime) -> str:
    """A date as people write it: 25 November 2026."""
    local = timezone.localtime(at)
    return f"{local.day} {local:%B %Y}"


def change_details(day: Day, *, title: str, place: str, closes: time | None, address: str) -> None:
    """Place, closing time and the address that labels lead to. A name is let in as a name of this bench."""
    shown = read_address(address) if address.strip() else ""
    name = urlsplit(shown).hostname or ""
    if name and not is_number(name):
        add_name(name)
    day.title = title.strip()[:80] or day.title
    day.place = place.strip()[:80]
    day.closes_at = None if closes is None else closing(closes)
    day.address = shown
    day.save(update_fields=["title", "place", "closes_at", "address"])


def closing(at: time) -> datetime:
    """This time today."""
    local = timezone.localtime(timezone.now())
    return local.replace(hour=at.hour, minute=at.minute, second=0, microsecond=0)


def is_number(name: str) -> bool:
    """Whether a host is given by its number."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def read_address(typed: str) -> str:
    """The address in what somebody typed, in its one way of writing: "http://192.168.1.5:8000"."""
    text = typed.strip().rstrip("/")
    if "://" not in text:
        text = f"http://{text}"
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        _no_address(typed)
    name = (parts.hostname or "").lower()
    extra = parts.path or parts.query or parts.fragment or parts.username or parts.password
    if parts.scheme not in ("http", "https") or extra or not (is_number(name) or NAME.fullmatch(name)):
        _no_address(typed)
    host = f"[{name}]" if ":" in name else name
    return f"{parts.scheme}://{host}" + (f":{port}" if port else "")


def _no_address(typed: str) -> NoReturn:
    raise OutOfRange(
        f"{typed.strip()[:60]!r} is no address",
        where="the address that labels lead to",
        do="Type a number or a name and the port, as in 192.168.1.5:8000 or bench.local:8000.",
    )


def close_day(day: Day) -> None:
    """Close the day. Hands that are not finished stay as they are."""
    Day.objects.filter(pk=day.pk, closed_at=None).update(closed_at=timezone.now())
    day.refresh_from_db(fields=["closed_at"])


def reopen_day(day: Day) -> None:
    """Go on with a closed day, unless another one has begun."""
    with transaction.atomic():
        list(Person.objects.select_for_update().filter(is_lead=True).values_list("pk"))
        if Day.objects.filter(closed_at=None, is_demo=day.is_demo).exclude(pk=day.pk).exists():
            raise DayClosed(
                "another day is open",
                where=day.title,
                do="Close that one first, or go on with it.",
            )
        Day.objects.filter(pk=day.pk).update(closed_at=None)
    day.refresh_from_db(fields=["closed_at"])


def must_be_open(day: Day | None) -> Day:
    """The day, if hands can be begun in it."""
    if day is None or day.closed_at is not None:
        raise DayClosed(
            "no day is open" if day is None else f"{day.title} is closed",
            where="the day",
            do="Start a day, or open the last one again.",
        )
    return day
