from __future__ import annotations

from django.apps import AppConfig


class PapersConfig(AppConfig):
    name = "handsel.bench.papers"
    label = "papers"
