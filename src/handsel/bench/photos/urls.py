from __future__ import annotations

from django.urls import URLPattern, path, re_path

from handsel.bench.photos import views

urlpatterns: list[URLPattern] = [
    path("photos/", views.take, name="photos"),
    path("photos/label/", views.take_label, name="label-photos"),
    re_path(r"^photos/label/(?P<client_id>[0-9A-Za-z_-]{1,64})/$", views.label, name="label-photo"),
    path("photos/all/", views.all_photos, name="photos-all"),
    re_path(r"^photos/(?P<fingerprint>[0-9a-f]{64})\.jpg$", views.picture, name="photo-picture"),
    re_path(r"^photos/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/$", views.state, name="photo-state"),
    re_path(r"^photos/by/(?P<client_id>[0-9A-Za-z_-]{1,64})/erase/$", views.erase, name="photo-erase"),
]
