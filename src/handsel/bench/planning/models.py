"""Plans of a day as they were made, and what the lead told them to go by."""

from __future__ import annotations

from django.db import models


class GoneBy(models.Model):
    """What a day's plan goes by besides the records: who is experienced, who waits, how many spares there are."""

    day = models.OneToOneField("days.Day", on_delete=models.CASCADE, related_name="plan_goes_by")
    away = models.JSONField(default=list)  # numbers of people who are not to be planned with
    experienced = models.JSONField(default=list)  # numbers of builders who may do what asks for experience
    waiting = models.JSONField(default=dict)  # hand's code: "here" or "appointed"
    spares = models.JSONField(default=dict)  # name of a spare: how many are left

    def __str__(self) -> str:
        return f"plan of {self.day_id}"


class Plan(models.Model):
    """One plan, with the state of things that it was made for."""

    day = models.ForeignKey("days.Day", on_delete=models.CASCADE, related_name="plans")
    made_at = models.DateTimeField()  # minutes count from here
    state_key = models.CharField(max_length=64)
    told = models.JSONField()  # the plan, in its own words
    more = models.JSONField(null=True)  # what one more helper or some more spares would bring; null: not yet
    took_ms = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("pk",)
        indexes = (models.Index(fields=("day", "made_at")),)

    def __str__(self) -> str:
        return f"plan {self.pk} of {self.day_id}"
