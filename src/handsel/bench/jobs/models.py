"""Work that is too heavy for a page: decoding photographs, solving the mechanics. Workers take it from here."""

from __future__ import annotations

from django.db import models


class Job(models.Model):
    """One piece of work. The key names it by content, so that asking twice does it once."""

    QUEUED, WORKING, DONE, FAILED = "queued", "working", "done", "failed"

    kind = models.CharField(max_length=12)  # "answer", "photo", "measure", "measure-slow"
    key = models.CharField(max_length=100, unique=True)
    payload = models.JSONField()
    state = models.CharField(max_length=8, default=QUEUED)
    urgency = models.SmallIntegerField(default=0)  # larger first
    tries = models.PositiveSmallIntegerField(default=0)
    result = models.JSONField(null=True)
    error = models.JSONField(null=True)  # what, where, do
    queued_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=("kind", "state", "urgency", "queued_at")),)

    def __str__(self) -> str:
        return f"{self.kind} {self.state} {self.key[:12]}"
