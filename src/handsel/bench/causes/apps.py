from __future__ import annotations

from django.apps import AppConfig


class CausesConfig(AppConfig):
    name = "handsel.bench.causes"
    label = "causes"
