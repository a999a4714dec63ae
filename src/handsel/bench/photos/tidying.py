"""What is left over: pictures that nothing shows, halves of a crash, uploads that were never developed."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

from django.conf import settings

from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.on_disk import BESIDE
from handsel.bench.photos import places
from handsel.bench.photos.models import Photo, State

STALE_S = 24 * 3600.0  # what nobody claimed in a day was left behind by a crash


def try_again() -> int:
    """At a start: queue once more what was received but could not be developed, for want of room say."""
    sweep()
    count = 0
    for photo in Photo.objects.filter(state=State.STORED):
        key = f"photo-{photo.pk}"
        if not Job.objects.filter(key=key, state__in=(Job.QUEUED, Job.WORKING)).exists():
            Job.objects.filter(key=key, state=Job.DONE).delete()
            enqueue("photo", key, {"photo": photo.pk})
            count += 1
    return count


def drop_unused(*fingerprints: str) -> None:
    """Delete kept pictures that no photo on record shows any more."""
    for name in fingerprints:
        if name and not Photo.objects.filter(sha256=name).exclude(state=State.ERASED).exists():
            if Photo.objects.filter(thumb_sha256=name).exclude(state=State.ERASED).exists():
                continue
            places.kept(name).unlink(missing_ok=True)


def sweep(now_s: float | None = None) -> int:
    """Delete what a crash left half-written or unclaimed a day ago; how many files that were."""
    now_s = time.time() if now_s is None else now_s
    claimed = {places.raw(p).name for p in Photo.objects.filter(state=State.STORED)}
    left = [p for p in places.incoming().glob("*") if p.name not in claimed]
    left += list(Path(settings.PHOTOS).glob(f".*{BESIDE}")) + list(
        Path(settings.PHOTOS).glob(f"*/.*{BESIDE}")
    )
    count = 0
    for path in left:
        with suppress(FileNotFoundError):
            if now_s - path.stat().st_mtime > STALE_S:
                path.unlink()
                count += 1
    return count
