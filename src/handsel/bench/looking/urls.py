from __future__ import annotations

from django.urls import URLPattern, path, re_path

from handsel.bench.looking import views

urlpatterns: list[URLPattern] = [
    path("h/<str:code>/look/", views.look, name="look"),
    path("h/<str:code>/answers/", views.answers, name="look-answers"),
    path("h/<str:code>/ask/", views.ask, name="look-ask"),
    path("h/<str:code>/answer/", views.answer, name="look-answer"),
    path("h/<str:code>/answer/state/", views.answer_state, name="look-answer-state"),
    path("answers/who/", views.who, name="look-who"),
    path("unsent/", views.unsent, name="look-unsent"),
    re_path(
        r"^figures/(?P<protocol>[0-9a-f]{64})/(?P<design>[0-9a-f]{64})\.json$",
        views.figures,
        name="look-figures",
    ),
]
