"""Causes that a rework proved, as this bench has learned them. Nothing here is changed or deleted."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models

from handsel.errors import HandselError


class Lasting(HandselError):
    """What was learned is only ever added to."""


class LearnedEntry(models.Model):
    """One cause confirmed by its cure, or an earlier entry taken back."""

    number = models.PositiveIntegerField(unique=True)  # from 1, none left out
    catalogue = models.CharField(max_length=60)
    hand = models.ForeignKey("hands.Hand", on_delete=models.PROTECT, null=True, related_name="learned")
    fault = models.CharField(max_length=60, blank=True)
    place = models.CharField(max_length=60, blank=True)
    rework = models.CharField(max_length=60, blank=True)
    symptom = models.CharField(max_length=120, blank=True)
    of = models.PositiveIntegerField(
        null=True, unique=True
    )  # of an entry that takes another back: its number
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    client_id = models.CharField(max_length=100, unique=True)  # sent twice, stored once

    class Meta:
        ordering = ("number",)

    def __str__(self) -> str:
        return f"{self.number}: {self.fault or f'takes back {self.of}'}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Only new entries."""
        if self.pk is not None:
            raise Lasting("an entry is never changed", where=str(self), do="Add one that takes it back.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        """Never."""
        raise Lasting("an entry is never deleted", where=str(self), do="Add one that takes it back.")
