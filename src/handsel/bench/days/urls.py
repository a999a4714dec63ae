from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.days import views_begin, views_day, views_details, views_mend, views_wall

urlpatterns: list[URLPattern] = [
    path("day/", views_day.glance),
    path("day/start/", views_day.start),
    path("day/close/", views_day.close),
    path("day/reopen/", views_day.reopen),
    path("day/hands/new/", views_begin.new),
    path("h/<str:code>/about/", views_mend.about),
    path("day/hands/several/", views_begin.several),
    path("day/details/", views_details.details),
    path("day/lots/", views_details.lot_add),
    path("day/lots/<int:pk>/", views_details.lot_change),
    path("day/protocol/", views_details.protocol),
    path("day/protocol/move/", views_details.move),
    path("wall/", views_wall.wall),
    path("search/", views_wall.search),
]
