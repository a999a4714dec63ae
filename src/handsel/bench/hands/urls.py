from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.hands import views

urlpatterns: list[URLPattern] = [
    path("l/<str:code>/", views.label, name="label"),
    path("h/<str:code>/", views.page, name="traveller"),
]
