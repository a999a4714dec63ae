"""Where photographs lie: kept ones under their fingerprint, fresh uploads where nothing is served from."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings

if TYPE_CHECKING:
    from handsel.bench.photos.models import Photo


def kept(fingerprint: str) -> Path:
    """The file of a kept picture or its small copy."""
    return Path(settings.PHOTOS) / fingerprint[:2] / f"{fingerprint}.jpg"


def incoming() -> Path:
    """The folder of uploads that nobody has looked into yet."""
    return Path(settings.DATA) / "incoming"


def raw(photo: Photo) -> Path:
    """The upload as it came."""
    return upload(photo.raw_sha256, photo.client_id)


def upload(fingerprint: str, sent_as: str) -> Path:
    """Where an upload waits. What it was sent as is part of the name, so that no two share a file."""
    return incoming() / f"{fingerprint}.{sha256(sent_as.encode()).hexdigest()[:12]}.raw"
