from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.deciding import views

urlpatterns: list[URLPattern] = [
    path("h/<str:code>/decide/", views.decide, name="decide"),
    path("h/<str:code>/decide/concede/", views.concede),
    path("h/<str:code>/decide/take-back/", views.take_back),
    path("h/<str:code>/decide/look-again/", views.send_back),
    path("h/<str:code>/decide/scrap/", views.scrap),
]
