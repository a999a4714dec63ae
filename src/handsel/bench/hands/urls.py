from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.hands import practice_views, views

urlpatterns: list[URLPattern] = [
    path("l/<str:code>/", views.label, name="label"),
    path("h/<str:code>/", views.page, name="traveller"),
    path("practice/", practice_views.start, name="practice"),
    path("practice/begin/", practice_views.begin, name="practice-begin"),
    path("practice/<str:code>/", practice_views.one, name="practice-one"),
    path("practice/<str:code>/look/", practice_views.look, name="practice-look"),
    path("practice/<str:code>/ask/", practice_views.ask, name="practice-ask"),
    path("practice/<str:code>/done/", practice_views.done, name="practice-done"),
]
