"""A hand and its record: an append-only chain of entries from which everything else can be told.

The columns of Hand below the line are a projection of the chain, kept beside it so that a page with many
hands asks once; `handsel verify` holds them against the chain.
"""

from __future__ import annotations

import json
from typing import Any

from django.conf import settings
from django.db import models


class KeptText(models.Model):
    """Text of a design, protocol or fault catalogue, kept under its fingerprint for as long as a hand needs it."""

    sha256 = models.CharField(max_length=64, primary_key=True)
    kind = models.CharField(max_length=12)  # "design", "protocol", "catalogue"
    name = models.CharField(max_length=60)
    version = models.CharField(max_length=40)
    text = models.TextField()

    def __str__(self) -> str:
        return f"{self.kind} {self.name} {self.version}"


class Standing(models.TextChoices):
    """Where a hand stands, in words that people at the bench use."""

    BUILDING = "building", "on the bench"
    ASKED = "asked", "waiting to be looked at"
    LOOKING = "looking", "being looked at"
    TO_PUT_RIGHT = "to put right", "to put right"
    FOR_LEAD = "for the lead", "for the lead to decide"
    TO_FIT = "ready to fit", "ready to fit"
    TO_RELEASE = "to release", "ready to release"
    RELEASED = "released", "released"
    HANDED_OVER = "handed over", "handed over"
    SCRAPPED = "scrapped", "scrapped"


class Hand(models.Model):
    """One physical hand."""

    code = models.CharField(max_length=6, unique=True)  # on its label, with a check character
    day = models.ForeignKey("days.Day", on_delete=models.PROTECT, related_name="hands")
    serial = models.CharField(max_length=16, unique=True)
    recipient_code = models.CharField(max_length=16)
    side = models.CharField(max_length=5)
    scale_ratio = models.FloatField()
    target_rest_angle_deg = models.FloatField(null=True)
    latex_sensitive = models.BooleanField(null=True)
    design = models.ForeignKey(KeptText, on_delete=models.PROTECT, related_name="+")
    protocol = models.ForeignKey(KeptText, on_delete=models.PROTECT, related_name="+")
    practice = models.CharField(max_length=40, blank=True)  # id of the practice fault; empty for a real hand
    begun_at = models.DateTimeField()

    # ---- projection of the chain -------------------------------------------------------------------
    standing = models.CharField(max_length=16, choices=Standing.choices, default=Standing.BUILDING)
    hold_point = models.CharField(max_length=40)  # the one that is worked toward or looked at
    since = models.DateTimeField()  # in this standing
    held_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="holding"
    )
    blocked_by = models.CharField(max_length=300, blank=True)
    sentence = models.CharField(max_length=1000, blank=True)  # of the last decision
    was_refused = models.BooleanField(default=False)  # once did not conform
    released_at = models.DateTimeField(null=True)
    entry_count = models.PositiveIntegerField(default=0)
    head_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ("pk",)
        indexes = (
            models.Index(fields=("day", "standing", "since")),
            models.Index(fields=("recipient_code",)),
        )

    def __str__(self) -> str:
        return f"{self.shown_code} {self.recipient_code}"

    @property
    def shown_code(self) -> str:
        """The code as people read it out."""
        return f"{self.code[:3]}-{self.code[3:]}"

    @property
    def called(self) -> str:
        """For a sentence: recipient and side."""
        return f"{self.recipient_code} {self.side}"


class Entry(models.Model):
    """One thing that was seen, done or decided. Never changed and never deleted; the database refuses both."""

    hand = models.ForeignKey(Hand, on_delete=models.PROTECT, related_name="entries")
    seq = models.PositiveIntegerField()
    kind = models.CharField(max_length=16)
    client_id = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    record = models.BinaryField()  # the canonical bytes that the chain is computed over
    sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ("hand", "seq")
        constraints = (models.UniqueConstraint(fields=("hand", "seq"), name="one_entry_per_place"),)
        indexes = (models.Index(fields=("kind", "at")),)

    def __str__(self) -> str:
        return f"{self.hand_id}/{self.seq} {self.kind}"

    def told(self) -> dict[str, Any]:
        """The whole record as data."""
        data: dict[str, Any] = json.loads(bytes(self.record))
        return data

    @property
    def what(self) -> dict[str, Any]:
        """What the entry says, apart from who, when and where in the chain."""
        what: dict[str, Any] = self.told()["what"]
        return what
