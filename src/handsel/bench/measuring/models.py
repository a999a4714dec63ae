"""What was read from a photo, or why nothing could be. The photo is evidence; this is what the program saw on it."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class State(models.TextChoices):
    """How far a measurement has come."""

    WAITING = "waiting", "being read"
    MEASURED = "measured", "read"
    REFUSED = "refused", "not readable"
    FAILED = "failed", "not worked out"


class Measurement(models.Model):
    """One photo read for one thing (or several photos read together)."""

    key = models.CharField(max_length=100, unique=True)  # kind and photo; entries name it by this
    kind = models.CharField(max_length=8)
    photo = models.ForeignKey("photos.Photo", on_delete=models.PROTECT, related_name="measurements")
    hand = models.ForeignKey("hands.Hand", on_delete=models.PROTECT, related_name="measurements")
    of = models.CharField(max_length=60)  # the characteristic that it was taken for
    asked = models.JSONField()  # how the cards sit, which photos belong together
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()

    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    result = models.JSONField(null=True)
    reason = models.CharField(max_length=300, blank=True)  # why it was refused
    do = models.CharField(max_length=300, blank=True)
    overlay_sha256 = models.CharField(max_length=64, blank=True)  # the photo with what was seen drawn on it
    pixels = models.CharField(max_length=8, blank=True)  # "as sent" or "as kept"
    took_ms = models.PositiveIntegerField(null=True)
    program = models.CharField(max_length=40, blank=True)
    decided_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("pk",)
        indexes = (models.Index(fields=("hand", "of")),)

    def __str__(self) -> str:
        return f"{self.key[:20]} {self.state}"
