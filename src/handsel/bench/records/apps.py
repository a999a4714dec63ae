from __future__ import annotations

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    name = "handsel.bench.records"
    label = "records"
