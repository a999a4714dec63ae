from __future__ import annotations

from django.apps import AppConfig


class HandsConfig(AppConfig):
    name = "handsel.bench.hands"
    label = "hands"
