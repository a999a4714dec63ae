"""What is asked about photos."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse

from handsel.bench.photos.models import Photo, State


def told(photo: Photo) -> dict[str, Any]:
    """A photo's state, for a script."""
    found: dict[str, Any] = {"photo": photo.client_id, "state": photo.state}
    if photo.state == State.READY:
        found |= {
            "url": picture_url(photo.sha256),
            "small": picture_url(photo.thumb_sha256),
            "width_px": photo.width_px,
            "height_px": photo.height_px,
        }
    elif photo.state == State.REFUSED:
        found |= {"reason": photo.reason, "do": photo.do}
    elif photo.state == State.ERASED and photo.erased_at is not None:
        found |= {"erased_at": photo.erased_at.isoformat()}
    return found


def picture_url(fingerprint: str) -> str:
    """Where a kept picture is shown."""
    return reverse("photo-picture", args=[fingerprint])


def showing(fingerprint: str) -> QuerySet[Photo]:
    """Photos whose picture, large or small, has this fingerprint."""
    return Photo.objects.filter(Q(sha256=fingerprint) | Q(thumb_sha256=fingerprint))
