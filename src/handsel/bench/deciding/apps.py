from __future__ import annotations

from django.apps import AppConfig


class DecidingConfig(AppConfig):
    name = "handsel.bench.deciding"
    label = "deciding"
