"""What was ticked off before the hall opened, day by day."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Tick(models.Model):
    """One point of the checklist on one calendar day, as it was last found."""

    on = models.DateField()
    item = models.CharField(max_length=24)
    is_good = models.BooleanField()
    said = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ("on", "item")
        constraints = (models.UniqueConstraint(fields=("on", "item"), name="one_tick_per_point_and_day"),)

    def __str__(self) -> str:
        return f"{self.on} {self.item}: {'good' if self.is_good else 'not good'}"
