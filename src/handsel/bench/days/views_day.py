"""Starting a day, the lead's glance, closing and opening again."""

from __future__ import annotations

from hashlib import sha256

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from handsel.bench.days import services
from handsel.bench.days.glance import page_of
from handsel.bench.days.line import line_of
from handsel.bench.days.models import Day
from handsel.bench.days.protocols import count_others
from handsel.bench.days.queries import current_day
from handsel.bench.days.wording import count_words, span_words
from handsel.bench.hands.root import root_of
from handsel.bench.people.gate import needs

TAGS = 5  # labels hanging at one station of the lead's line


def see_other(url: str) -> HttpResponseRedirect:
    """To a page after something was stored; going back and forth does not send it again."""
    response = HttpResponseRedirect(url)
    response.status_code = 303
    return response


@needs("lead")
@require_GET
def glance(request: HttpRequest) -> HttpResponse:
    """The whole day at a glance; with `part=live` only what changes, or nothing if nothing has."""
    day = current_day()
    if day is None:
        return render(request, "days/start.html", {"title": services.long_date(timezone.now())})
    live = _live(request, day)
    mark = sha256(live.encode()).hexdigest()[:16]
    if request.GET.get("part") == "live":
        if request.GET.get("mark") == mark:
            return HttpResponse(status=204)
        return HttpResponse(live.replace("MARK", mark, 1))
    context = {
        "day": day,
        "q": _typed(request),
        "number": _number(request),
        "live": live.replace("MARK", mark, 1),
    }
    return render(request, "days/glance.html", context)


def _typed(request: HttpRequest) -> str:
    return request.GET.get("q", "")[:60]


def _number(request: HttpRequest) -> int:
    said = request.GET.get("page", "1")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 6 else 1


def _live(request: HttpRequest, day: Day) -> str:
    now = timezone.now()
    page = page_of(day, q=_typed(request), number=_number(request), now=now)
    line = line_of(day, now=now, tags=TAGS)
    context = {
        "day": day,
        "page": page,
        "line": line,
        "q": _typed(request),
        "said": count_words(line.open_count, "hand in work", "hands in work"),
        "to_close": _to_close(day),
        "others": count_others(day),
        "protocol_since": timezone.localtime(day.protocol_since) if day.protocol_since else None,
    }
    return render_to_string("days/_live.html", context)


def _to_close(day: Day) -> str:
    if day.closed_at is not None:
        return f"closed at {timezone.localtime(day.closed_at):%H:%M}"
    if day.closes_at is None:
        return ""
    left = day.closes_at - timezone.now()
    at = f"{timezone.localtime(day.closes_at):%H:%M}"
    return f"{span_words(left)} until {at}" if left.total_seconds() > 0 else f"{span_words(-left)} past {at}"


@needs("lead")
@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """One tap: a day with defaults. While one is open, it goes on."""
    if request.method == "POST":
        services.start_day()
        return see_other("/day/hands/new/")
    day = current_day()
    if day is not None and day.closed_at is None:
        return see_other("/day/")
    return render(request, "days/start.html", {"title": services.long_date(timezone.now()), "last": day})


@needs("lead")
@require_http_methods(["GET", "POST"])
def close(request: HttpRequest) -> HttpResponse:
    """Close the day; what is still open is said first."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    if request.method == "POST":
        services.close_day(day)
        return see_other("/day/close/")
    line = line_of(day, now=timezone.now(), tags=0)
    return render(request, "days/close.html", {"day": day, "line": line, "root": root_of(day)})


@needs("lead")
@require_POST
def reopen(request: HttpRequest) -> HttpResponse:
    """Go on with the closed day."""
    day = current_day()
    if day is not None:
        services.reopen_day(day)
    return see_other("/day/")
