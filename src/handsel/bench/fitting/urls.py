from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.fitting import views

urlpatterns: list[URLPattern] = [
    path("h/<str:code>/fit/", views.fit, name="fit"),
    path("h/<str:code>/fit/begin/", views.begin, name="fit-begin"),
    path("h/<str:code>/fit/clock/", views.clock, name="fit-clock"),
    path("h/<str:code>/release/", views.release, name="release"),
    path("h/<str:code>/hand-over/", views.hand_over, name="hand-over"),
]
