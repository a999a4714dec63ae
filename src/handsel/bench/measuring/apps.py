from __future__ import annotations

from django.apps import AppConfig


class MeasuringConfig(AppConfig):
    name = "handsel.bench.measuring"
    label = "measuring"
