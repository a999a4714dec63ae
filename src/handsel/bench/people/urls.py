from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.people import helpers, home, joining, views

urlpatterns: list[URLPattern] = [
    path("", home.home),
    path("sign-in/", views.sign_in),
    path("switch/", views.switch),
    path("sign-out/", views.sign_out),
    path("first/", views.first),
    path("join/", joining.typed),
    path("join/<str:token>/", joining.join),
    path("people/", helpers.people),
    path("people/join/", joining.code),
    path("people/join/new/", joining.code_new),
    path("people/join/<int:pk>/renew/", joining.code_renew),
    path("people/join/<int:pk>/end/", joining.code_end),
    path("people/<int:number>/", helpers.person),
]
