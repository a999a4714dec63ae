from __future__ import annotations

from django.apps import AppConfig


class FittingConfig(AppConfig):
    name = "handsel.bench.fitting"
    label = "fitting"
