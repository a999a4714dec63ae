from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.causes import views, views_learned

urlpatterns: list[URLPattern] = [
    path("h/<str:code>/causes/", views.causes, name="causes"),
    path("h/<str:code>/causes/look/", views.look, name="causes-look"),
    path("h/<str:code>/causes/back/", views.back, name="causes-back"),
    path("h/<str:code>/causes/begin/", views.begin, name="causes-begin"),
    path("day/learned/", views_learned.learned, name="learned"),
    path("day/learned/back/", views_learned.back, name="learned-back"),
]
