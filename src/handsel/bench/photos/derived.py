"""Pictures made from a photo: the same photo with what was seen drawn on it.

Each is a photo on record as well, under a name that follows from the photo's: so it is served, backed up, exported
and held against its fingerprint like any other, and erased together with the photo that it shows.
"""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256

from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State

KINDS = ("angle", "parts", "cuff", "bend")
PREFIX = "seen-"  # no phone may send a photo under such a name


def name_of(client_id: str, kind: str) -> str:
    """What a picture made from a photo is known by."""
    return f"{PREFIX}{sha256(f'{kind}/{client_id}'.encode()).hexdigest()[:40]}"


def drawn_as(measured: str) -> str:
    """Of which kind the picture is that belongs to a measurement: angles read together are drawn one by one."""
    kind = measured.partition("/")[0]
    return "angle" if kind == "angles" else kind


def names_of(client_id: str) -> list[str]:
    """All that may have been made from a photo."""
    return [name_of(client_id, kind) for kind in KINDS]


def keep(photo: Photo, kind: str, fingerprint: str, *, size: int, at: datetime) -> None:
    """Put the picture on record, where its file already lies."""
    width, height = _size(fingerprint)
    Photo.objects.get_or_create(
        client_id=name_of(photo.client_id, kind),
        defaults={
            "hand": photo.hand, "taken_by": photo.taken_by, "received_at": at, "raw_sha256": fingerprint,
            "raw_bytes": size, "kind": "jpeg", "state": State.READY, "decided_at": at, "sha256": fingerprint,
            "thumb_sha256": fingerprint, "width_px": width, "height_px": height, "source_width_px": width,
            "source_height_px": height,
        },
    )  # fmt: skip


def _size(fingerprint: str) -> tuple[int, int]:
    from PIL import Image

    with Image.open(places.kept(fingerprint), formats=["JPEG"]) as image:  # our own; only its head is read
        return image.size


def drop(fingerprint: str) -> None:
    """Take away a picture that no photo on record shows."""
    if not Photo.objects.filter(sha256=fingerprint).exclude(state=State.ERASED).exists():
        places.kept(fingerprint).unlink(missing_ok=True)
