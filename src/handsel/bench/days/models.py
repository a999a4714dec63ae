"""A build day: where, until when, with what material."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Day(models.Model):
    """One build day. Starts with defaults; everything about it can be filled in while work goes on."""

    title = models.CharField(max_length=80)
    place = models.CharField(max_length=80, blank=True)
    opened_at = models.DateTimeField()
    closes_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)
    address = models.CharField(max_length=200, blank=True)  # what labels lead to: "http://192.168.1.5:8000"
    label_grid = models.CharField(max_length=60, blank=True)
    protocol = models.ForeignKey(
        "hands.KeptText", on_delete=models.PROTECT, related_name="+"
    )  # for new hands
    design = models.ForeignKey("hands.KeptText", on_delete=models.PROTECT, related_name="+")
    protocol_since = models.DateTimeField(null=True)  # when it was last changed during the day
    is_demo = models.BooleanField(default=False)

    class Meta:
        ordering = ("-opened_at",)

    def __str__(self) -> str:
        return self.title


class Lot(models.Model):
    """A spool, bag or box that hands of a day are made from, so that a bad one can be traced."""

    KINDS = (
        ("filament", "filament"),
        ("cord", "cord"),
        ("elastic", "elastic"),
        ("foam", "foam"),
        ("pins", "pins and screws"),
        ("glue", "glue"),
        ("printer", "printer"),
        ("other", "other"),
    )
    day = models.ForeignKey(Day, on_delete=models.PROTECT, related_name="lots")
    kind = models.CharField(max_length=12, choices=KINDS)
    name = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=200, blank=True)
    photo_sha256 = models.CharField(max_length=64, blank=True)  # a photo of the bag will do
    photo_client_id = models.CharField(max_length=64, blank=True)  # by which the photo was sent
    client_id = models.CharField(max_length=64, unique=True, null=True)  # sent twice, stored once
    spares_count = models.PositiveIntegerField(null=True)  # how many are left, where somebody counts
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()
    used_up_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("kind", "added_at")

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.name or 'see photo'}"
