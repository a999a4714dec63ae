"""A photograph: who sent it, what became of it, and the numbers that a later measurement needs.

The picture itself is a file under its own fingerprint. The row stays when the picture is erased.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models


class State(models.TextChoices):
    """What became of a photo, in words that a person reads."""

    STORED = "stored", "received, not looked at yet"
    READY = "ready", "ready"
    REFUSED = "refused", "refused"
    ERASED = "erased", "erased"


class Photo(models.Model):
    """One photograph that a phone sent."""

    client_id = models.CharField(max_length=64, unique=True)  # entries name it by this
    hand = models.ForeignKey("hands.Hand", on_delete=models.PROTECT, null=True, related_name="photos")
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    raw_sha256 = models.CharField(max_length=64)  # of the bytes that were sent
    raw_bytes = models.PositiveBigIntegerField()
    kind = models.CharField(max_length=8, blank=True)  # of the bytes that were sent: "jpeg", "heic", ...
    state = models.CharField(max_length=8, choices=State.choices, default=State.STORED)
    reason = models.CharField(max_length=300, blank=True)  # why it was refused
    do = models.CharField(max_length=300, blank=True)
    decided_at = models.DateTimeField(null=True)  # when it became ready or was refused

    sha256 = models.CharField(max_length=64, blank=True, db_index=True)  # of the picture as kept
    thumb_sha256 = models.CharField(max_length=64, blank=True, db_index=True)
    width_px = models.PositiveIntegerField(null=True)  # as kept
    height_px = models.PositiveIntegerField(null=True)
    source_width_px = models.PositiveIntegerField(null=True)  # as sent, upright
    source_height_px = models.PositiveIntegerField(null=True)
    focal_length_mm = models.FloatField(null=True)
    focal_length_35mm_mm = models.FloatField(null=True)  # what gives the same view on 36 x 24 mm
    digital_zoom_ratio = models.FloatField(null=True)

    erased_at = models.DateTimeField(null=True)
    erased_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    erased_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("-received_at", "-pk")
        indexes = (models.Index(fields=("taken_by", "received_at")),)

    def __str__(self) -> str:
        return f"photo {self.client_id[:8]} {self.state}"
