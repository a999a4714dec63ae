from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.work import views

urlpatterns: list[URLPattern] = [
    path("h/<str:code>/build/", views.build, name="build"),
    path("h/<str:code>/build/step/<slug:step>/", views.step, name="build-step"),
    path("h/<str:code>/build/did/", views.did, name="build-did"),
    path("h/<str:code>/build/checks/", views.checks, name="build-checks"),
    path("h/<str:code>/build/ask/", views.ask, name="build-ask"),
    path("h/<str:code>/build/take/", views.take, name="build-take"),
    path("h/<str:code>/build/put-down/", views.put_down, name="build-put-down"),
    path("h/<str:code>/build/note/", views.note, name="build-note"),
    path("h/<str:code>/build/lot/", views.lot, name="build-lot"),
    path("h/<str:code>/order/", views.order, name="order"),
    path("h/<str:code>/cards/<int:seq>/", views.card, name="card"),
    path("h/<str:code>/cards/<int:seq>/done/", views.card_done, name="card-done"),
    path("h/<str:code>/cards/<int:seq>/cannot/", views.card_cannot, name="card-cannot"),
    path("h/<str:code>/cards/<int:seq>/drop/", views.card_drop, name="card-drop"),
]
