"""Cards, mats and the card carrier for measuring with photos: files that are alike for everybody, and their page."""

from __future__ import annotations

from functools import lru_cache

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from handsel.bench.papers.naming import inline_pdf
from handsel.bench.people.gate import needs
from handsel.data.carrier_file import carrier_file
from handsel.documents.card_sheet import PAPERS, card_sheet
from handsel.documents.mat_sheet import good_bar, mat_sheet
from handsel.vision.mat.sheet import BAR_MM, MATS

# Made once, then kept: there is one file for each paper, and a hall's phones may all ask for it.
_cards = lru_cache(maxsize=len(PAPERS))(card_sheet)
_mat = lru_cache(maxsize=len(MATS))(mat_sheet)
_carrier = lru_cache(maxsize=1)(carrier_file)


@needs("anyone")
@require_GET
def for_photos(request: HttpRequest) -> HttpResponse:
    """What there is to print before a photo can measure, for phones too."""
    bar = good_bar(BAR_MM)
    context = {
        "card_papers": [(name, MATS[name].title) for name in PAPERS],
        "mat_papers": [(m.name, m.title) for m in MATS.values()],
        "bar_words": f"Print at 100 %, then measure the black bar: {bar['low']} to {bar['high']} mm.",
    }
    return render(request, "papers/for_photos.html", context)


@needs("anyone")
@require_GET
def cards(request: HttpRequest) -> HttpResponse:
    """The tag cards; another paper with ?paper=letter."""
    paper = request.GET.get("paper", "a4")
    return inline_pdf(_cards(paper), f"tag-cards-{paper}")


@needs("anyone")
@require_GET
def mat(request: HttpRequest) -> HttpResponse:
    """The inspection mat; another paper with ?paper=a3."""
    paper = request.GET.get("paper", "a4")
    return inline_pdf(_mat(paper), f"mat-{paper}")


@needs("anyone")
@require_GET
def carrier(request: HttpRequest) -> HttpResponse:
    """The bracket for the cuff's card, for whoever prints."""
    response = HttpResponse(_carrier("3mf"), content_type="model/3mf")
    response.headers["Content-Disposition"] = 'attachment; filename="card-carrier.3mf"'
    return response
