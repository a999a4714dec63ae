from __future__ import annotations

from django.apps import AppConfig


class DaysConfig(AppConfig):
    name = "handsel.bench.days"
    label = "days"
