from __future__ import annotations

from django.apps import AppConfig


class ReadyConfig(AppConfig):
    name = "handsel.bench.ready"
    label = "ready"
