from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.papers import views, views_photo_sheets, views_typing

urlpatterns: list[URLPattern] = [
    path("papers/", views.papers, name="papers"),
    path("papers/grid/", views.keep_grid),
    path("papers/labels.pdf", views.labels),
    path("papers/travellers.pdf", views.travellers),
    path("papers/day-report.pdf", views.report_pdf),
    path("papers/for-photos/", views_photo_sheets.for_photos, name="papers-for-photos"),
    path("papers/cards.pdf", views_photo_sheets.cards),
    path("papers/mat.pdf", views_photo_sheets.mat),
    path("papers/card-carrier.3mf", views_photo_sheets.carrier),
    path("day/report/", views.report),
    path("h/<str:code>/papers/traveller.pdf", views.traveller),
    path("h/<str:code>/papers/rework.pdf", views.rework),
    path("h/<str:code>/papers/release.pdf", views.release),
    path("h/<str:code>/papers/hand-over.pdf", views.hand_over),
    path("h/<str:code>/paper/", views_typing.paper, name="paper"),
]
