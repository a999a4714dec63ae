from __future__ import annotations

from django.urls import URLPattern, path, re_path

from handsel.bench.measuring import views

urlpatterns: list[URLPattern] = [
    re_path(
        r"^measured/(?P<kind>[a-z]{1,8})/(?P<client_id>[0-9A-Za-z_-]{1,64})/$", views.state, name="measured"
    ),
    re_path(r"^measured/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/ask/$", views.ask, name="measured-ask"),
    path("h/<str:code>/measured/lines/", views.lines, name="measured-lines"),
    path("h/<str:code>/measured/together/", views.together, name="measured-together"),
]
