"""The photo worker's part: one upload becomes two clean pictures, or is refused in words; the upload is deleted.

Whatever happens in between, the same job can be done again: names come from content, and the row changes last.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from handsel.bench.on_disk import BESIDE, NoRoom, fingerprint, said_plainly, settle
from handsel.bench.photos import labels, places
from handsel.bench.photos.apart import told_apart
from handsel.bench.photos.models import Photo, State
from handsel.bench.photos.tidying import drop_unused, try_again


def begin() -> None:
    """At a worker's start: queue again what could not be developed before, and clear what a crash left."""
    try_again()


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Develop one photo, the state it ends in; or read a label, the codes on it."""
    if "label" in payload:
        return labels.read(payload)
    photo = Photo.objects.get(pk=payload["photo"])
    if photo.state != State.STORED:
        places.raw(photo).unlink(missing_ok=True)
        return {"state": photo.state}
    source = places.raw(photo)
    if not source.is_file() or fingerprint(source) != photo.raw_sha256:
        return _refuse(photo, "the upload was lost or changed on the disk", "Take the photo again.")
    folder = Path(settings.PHOTOS)
    with said_plainly("the photo"):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    parts = [folder / f".{photo.pk}.{name}{BESIDE}" for name in ("full", "thumb")]
    try:
        told = told_apart("developing", photo.kind, source, *parts)
        if "disk" in told:
            raise NoRoom(
                "there is no room left on the disk",
                where="the photo",
                do="Free some room; the photo is kept as it came and is tried again at the next start.",
            )
        if "refused" in told:
            return _refuse(photo, told["refused"], told["do"])
        with said_plainly("the photo"):
            names = [_kept(part) for part in parts]
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
    return _ready(photo, names, told)


def _kept(part: Path) -> str:
    name = fingerprint(part)
    place = places.kept(name)
    place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part.chmod(0o600)
    settle(part, place)
    return name


def _ready(photo: Photo, names: list[str], numbers: dict[str, Any]) -> dict[str, Any]:
    changed = Photo.objects.filter(pk=photo.pk, state=State.STORED).update(
        state=State.READY, decided_at=timezone.now(), sha256=names[0], thumb_sha256=names[1], **numbers
    )
    if not changed:  # erased while it was being developed
        drop_unused(*names)
    places.raw(photo).unlink(missing_ok=True)
    return {"state": State.READY if changed else State.ERASED, "sha256": names[0] if changed else ""}


def _refuse(photo: Photo, what: str, do: str) -> dict[str, Any]:
    Photo.objects.filter(pk=photo.pk, state=State.STORED).update(
        state=State.REFUSED, decided_at=timezone.now(), reason=what[:300], do=do[:300]
    )
    places.raw(photo).unlink(missing_ok=True)
    return {"state": State.REFUSED, "reason": what}
