from __future__ import annotations

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "handsel.bench.jobs"
    label = "jobs"
