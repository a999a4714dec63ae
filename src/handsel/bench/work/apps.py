from __future__ import annotations

from django.apps import AppConfig


class WorkConfig(AppConfig):
    name = "handsel.bench.work"
    label = "work"
