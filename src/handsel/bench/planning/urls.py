from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.planning import views

urlpatterns: list[URLPattern] = [
    path("day/plan/", views.plan, name="day-plan"),
    path("day/plan/again/", views.again, name="day-plan-again"),
    path("day/plan/goes-by/", views.goes_by, name="day-plan-goes-by"),
]
