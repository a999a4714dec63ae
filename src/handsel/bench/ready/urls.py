from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.ready import views

urlpatterns: list[URLPattern] = [
    path("ready/", views.ready),
    path("ready/points/", views.points),
    path("ready/tick/", views.tick),
    path("ready/try/", views.try_workers),
    path("ready/scale/", views.scale),
    path("ready/backup/", views.backup),
    path("ready/scale-bar.pdf", views.bar),
    path("ready/phone/", views.phone),
]
