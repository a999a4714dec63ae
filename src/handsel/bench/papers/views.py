"""Papers as PDFs that open in the browser, and the page that offers them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from handsel.bench.days.queries import current_day
from handsel.bench.days.views_day import see_other
from handsel.bench.hands.head import hand_by
from handsel.bench.hands.models import Hand
from handsel.bench.papers import of_day, of_hand, sheets
from handsel.bench.papers.naming import inline_pdf
from handsel.bench.people.gate import needs
from handsel.bench.phone_address import base_for_phones, reaches_phones
from handsel.data.load_labels import bundled_label_grids, load_label_grid
from handsel.documents.day_report import day_report
from handsel.documents.release_record import grouped_hash
from handsel.errors import OutOfRange


def _number(request: HttpRequest, name: str, default: int | None) -> int | None:
    said = request.GET.get(name, "").strip()
    if not said:
        return default
    if not (said.isascii() and said.isdecimal() and len(said) <= 6):
        raise OutOfRange(f"{said[:20]!r} is no number", where="papers", do="Type a whole number.")
    return int(said)


# ---- one hand ----------------------------------------------------------------------------------------


@needs("anyone")
@require_GET
def traveller(request: HttpRequest, code: str) -> HttpResponse:
    """The traveller, from where the hand is; whole with ?whole=1."""
    hand = hand_by(code)
    data = of_hand.traveller_pdf(hand, base_for_phones(request), whole=request.GET.get("whole") == "1")
    return inline_pdf(data, f"traveller-{hand.shown_code}")


@needs("anyone")
@require_GET
def rework(request: HttpRequest, code: str) -> HttpResponse:
    """The open rework cards, or one with ?card=<seq>."""
    hand = hand_by(code)
    data = of_hand.rework_pdf(hand, base_for_phones(request), seq=_number(request, "card", None))
    return inline_pdf(data, f"rework-{hand.shown_code}")


@needs("fit", "inspect")
@require_GET
def release(request: HttpRequest, code: str) -> HttpResponse:
    """The release record."""
    hand = hand_by(code)
    return inline_pdf(of_hand.release_pdf(hand, base_for_phones(request)), f"release-{hand.shown_code}")


@needs("fit", "inspect")
@require_GET
def hand_over(request: HttpRequest, code: str) -> HttpResponse:
    """The hand-over sheet; in another language with ?language=."""
    hand = hand_by(code)
    language = request.GET.get("language", "")[:20]
    if language and not all(c.isascii() and (c.isalnum() or c == "-") for c in language):
        raise OutOfRange(
            f"{language!r} is no language", where="hand-over sheet", do="Use a code such as en or de."
        )
    data = of_hand.hand_over_pdf(hand, base_for_phones(request), language=language)
    return inline_pdf(data, f"hand-over-{hand.shown_code}")


# ---- many hands --------------------------------------------------------------------------------------


@needs("lead")
@require_GET
def papers(request: HttpRequest) -> HttpResponse:
    """What can be printed now, and where labels would lead."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    base = base_for_phones(request)
    hands = Hand.objects.filter(day=day, practice="")
    context = {
        "day": day,
        "all_count": hands.count(),
        "new_count": hands.filter(entry_count=1).count(),
        "base": base,
        "reaches": reaches_phones(base),
        "grids": [load_label_grid(name) for name in bundled_label_grids()],
        "grid": day.label_grid or sheets.USUAL_GRID,
        "kept": "kept" in request.GET,
    }
    return render(request, "papers/papers.html", context)


@needs("lead")
@require_POST
def keep_grid(request: HttpRequest) -> HttpResponse:
    """Remember the sheet of labels that this day uses."""
    day, grid = current_day(), request.POST.get("grid", "")
    if grid not in bundled_label_grids():
        raise OutOfRange(
            f"there is no label grid {grid[:40]!r}", where="labels", do="Choose one of the list."
        )
    if day is not None:
        day.label_grid = grid
        day.save(update_fields=["label_grid"])
    return see_other("/papers/?kept=1")


@needs("lead")
@require_GET
def labels(request: HttpRequest) -> HttpResponse:
    """Labels of the hands that the address names."""
    day = current_day()
    hands = sheets.chosen(day, request.GET.get("hands", "new")[:4_000])
    usual = (day.label_grid if day is not None else "") or sheets.USUAL_GRID
    data = sheets.labels_pdf(
        hands,
        base_for_phones(request),
        grid=request.GET.get("grid", "") or usual,
        start=_number(request, "start", 1) or 0,
    )
    return inline_pdf(data, f"labels-{timezone.localtime():%Y-%m-%d}")


@needs("lead")
@require_GET
def travellers(request: HttpRequest) -> HttpResponse:
    """Travellers of the hands that the address names."""
    hands = sheets.chosen(current_day(), request.GET.get("hands", "new")[:4_000])
    data = sheets.travellers_pdf(hands, base_for_phones(request))
    return inline_pdf(data, f"travellers-{timezone.localtime():%Y-%m-%d}")


@needs("lead")
@require_GET
def report_pdf(request: HttpRequest) -> HttpResponse:
    """The day report on paper."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    return inline_pdf(
        day_report(of_day.report_of(day)), f"day-report-{timezone.localtime(day.opened_at):%Y-%m-%d}"
    )


@needs("lead")
@require_GET
def report(request: HttpRequest) -> HttpResponse:
    """The day report on the screen."""
    day = current_day()
    if day is None:
        return see_other("/day/")
    r = of_day.report_of(day)
    most = max((f.hands_count for f in r.found), default=1)
    context = {
        "day": day,
        "r": r,
        "root": grouped_hash(r.root_sha256),
        "first": [
            {
                "title": f.hold_point,
                "passed": f.passed_count,
                "looked": f.looked_count,
                "low": round(100 * (f.low_ratio or 0)),
                "high": round(100 * (f.high_ratio or 0)),
                "x": round(100 * (f.low_ratio or 0), 1),
                "width": round(max(1.0, 100 * ((f.high_ratio or 0) - (f.low_ratio or 0))), 1),
                "dot": round(100 * f.passed_count / f.looked_count, 1),
            }
            for f in r.first_time
        ],
        "found": [{"f": f, "width": round(100 * f.hands_count / most, 1)} for f in r.found[:12]],
        "found_more": max(0, len(r.found) - 12),
    }
    return render(request, "papers/report.html", context)
