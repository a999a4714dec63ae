from __future__ import annotations

from django.apps import AppConfig


class LookingConfig(AppConfig):
    name = "handsel.bench.looking"
    label = "looking"
