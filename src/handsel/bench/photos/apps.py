from __future__ import annotations

from django.apps import AppConfig


class PhotosConfig(AppConfig):
    name = "handsel.bench.photos"
    label = "photos"
