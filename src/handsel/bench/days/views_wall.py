"""The wall: read across the hall, open to all, codes only; and the search."""

from __future__ import annotations

from hashlib import sha256

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_GET

from handsel.bench.days.line import line_of
from handsel.bench.days.lots import FEW
from handsel.bench.days.models import Day, Lot
from handsel.bench.days.queries import current_day
from handsel.bench.days.views_day import see_other
from handsel.bench.days.wording import LABELS, SHAPES, span_words
from handsel.bench.hands.models import Hand
from handsel.bench.people.gate import needs, open_to_all

WALL_TAGS = 8
FOUND = 50


@open_to_all
@require_GET
def wall(request: HttpRequest) -> HttpResponse:
    """The day on the wall; with `part=live` only what changes, or nothing if nothing has."""
    day = current_day()
    live = _wall(day)
    mark = sha256(live.encode()).hexdigest()[:16]
    if request.GET.get("part") == "live":
        is_same = request.GET.get("mark") == mark
        return HttpResponse(status=204) if is_same else HttpResponse(live.replace("MARK", mark, 1))
    return render(request, "days/wall.html", {"day": day, "live": live.replace("MARK", mark, 1)})


def _wall(day: Day | None) -> str:
    if day is None:
        return render_to_string("days/_wall.html", {"day": None})
    now = timezone.now()
    few = Lot.objects.filter(day=day, used_up_at=None, spares_count__lte=FEW).order_by("spares_count", "pk")
    short = [{"name": lot.name or lot.get_kind_display(), "count": lot.spares_count} for lot in few[:4]]
    left = None if day.closes_at is None or day.closed_at is not None else day.closes_at - now
    line = line_of(day, now=now, tags=WALL_TAGS)
    seen = {tag.shape for station in line.stations for tag in station.tags}
    context = {
        "day": day,
        "line": line,
        "short": short,
        "left": "" if left is None else "over" if left.total_seconds() <= 0 else span_words(left),
        "closes_at": timezone.localtime(day.closes_at) if day.closes_at else None,
        "key": [{"shape": SHAPES[s], "words": label} for s, label in LABELS.items() if SHAPES[s] in seen],
    }
    return render_to_string("days/_wall.html", context)


@needs("anyone")
@require_GET
def search(request: HttpRequest) -> HttpResponse:
    """A hand by its label, its recipient's code or its serial; one hit is opened at once."""
    q = " ".join(request.GET.get("q", "")[:60].split())
    found = _found(q) if q else []
    if len(found) == 1:
        return see_other(f"/l/{found[0].code}/")
    now = timezone.now()
    rows = [
        {
            "code": h.shown_code,
            "url": f"/l/{h.code}/",
            "slug": h.standing.replace(" ", "-"),
            "shape": SHAPES[h.standing],
            "words": LABELS[h.standing],
            "about": f"{h.recipient_code} {h.side}, {h.serial}",
            "waited": span_words(now - h.since),
        }
        for h in found[:FOUND]
    ]
    return render(request, "days/search.html", {"q": q, "rows": rows, "more": len(found) > FOUND})


def _found(q: str) -> list[Hand]:
    """Whole matches if there are any, else beginnings; two queries at most."""
    bare = q.replace("-", "").replace(" ", "").upper()
    if "/" in q:  # an address from a label
        bare = ([p for p in bare.split("/") if p] or [""])[-1]
    hands = Hand.objects.order_by("-pk")
    if not bare:
        return []
    whole = list(hands.filter(Q(code=bare) | Q(recipient_code__iexact=q) | Q(serial__iexact=q))[: FOUND + 1])
    begins = Q(code__startswith=bare) | Q(recipient_code__istartswith=q) | Q(serial__istartswith=q)
    return whole or list(hands.filter(begins)[: FOUND + 1])
