"""Taking a photo in, and erasing one."""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any, BinaryIO

from django.conf import settings
from django.db import transaction
from django.db.models import Count, Q, Sum
from django.utils import timezone

from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.on_disk import CHUNK_BYTES, NoRoom, write_whole
from handsel.bench.people.models import Person
from handsel.bench.photos import derived, labels, places
from handsel.bench.photos.models import Photo, State
from handsel.bench.photos.sniffing import SNIFF_BYTES, called, kind_of
from handsel.bench.photos.tidying import drop_unused
from handsel.errors import HandselError

MOST_BYTES = 40_000_000
MOST_AN_HOUR = 600  # of one person: a photo every six seconds, all hour
MOST_BYTES_A_DAY = 8_000_000_000
ROOM_BYTES = 200_000_000  # stays free for the records themselves
NO_PHOTO = "Take a photo with the camera: JPEG, PNG, WebP or HEIC."
CLIENT_ID = re.compile(r"[0-9A-Za-z_-]{8,64}")


class NotTaken(HandselError, ValueError):
    """A photo that is not taken in, with the status that says why."""

    def __init__(self, what: str, *, do: str, status: int) -> None:
        super().__init__(what, where="the photo", do=do)
        self.status = status


def take_in(
    file: BinaryIO,
    *,
    client_id: str,
    person: Person,
    hand: Hand | None = None,
    then: Callable[[Photo], object] | None = None,
) -> tuple[Photo, bool]:
    """Store an upload as it is and queue it; whether it is new. Sent twice, it is stored once.

    When this returns, file and row are on the disk. `then` is called in the same transaction with a photo that is
    new, so that what is asked of its pixels is queued before they are developed.
    """
    if not CLIENT_ID.fullmatch(client_id) or client_id.startswith(derived.PREFIX):
        raise NotTaken("it came without a proper id", do="Load the page again and repeat it.", status=400)
    digest, size, start = _measured(file)
    stored = Photo.objects.filter(client_id=client_id).first()
    if stored is None:
        _hold_to_quota(person, size)
        stored, is_new = _store(file, client_id, person, hand, (digest, size, start), then)
        if is_new:
            if stored.state == State.REFUSED:
                raise _no_photo(stored)
            return stored, True
    if stored.raw_sha256 != digest:
        do = "Both are on the phone's list: keep the first, or take the photo again."
        raise NotTaken("another photo was sent before under the same id", do=do, status=409)
    if stored.state == State.REFUSED and not stored.kind:
        raise _no_photo(stored)
    return stored, False


def _measured(file: BinaryIO) -> tuple[str, int, bytes]:
    file.seek(0)
    start = file.read(SNIFF_BYTES)
    digest, size = hashlib.sha256(start), len(start)
    while chunk := file.read(CHUNK_BYTES):
        digest.update(chunk)
        size += len(chunk)
        if size > MOST_BYTES:
            raise NotTaken(
                f"it is larger than {MOST_BYTES // 1_000_000} MB",
                do="Set the camera to a smaller size and take it again.",
                status=413,
            )
    return digest.hexdigest(), size, start


def _hold_to_quota(person: Person, size: int) -> None:
    now = timezone.now()
    taken = Photo.objects.exclude(client_id__startswith=derived.PREFIX)
    sent = taken.filter(taken_by=person, received_at__gt=now - timedelta(days=1)).aggregate(
        hour=Count("pk", filter=Q(received_at__gt=now - timedelta(hours=1))), day=Sum("raw_bytes")
    )
    # Of pictures of labels only the number counts: nothing of them is kept.
    labels_count = Job.objects.filter(
        kind="photo", payload__by=person.pk, queued_at__gt=now - timedelta(hours=1)
    ).count()
    if sent["hour"] + labels_count >= MOST_AN_HOUR or (sent["day"] or 0) + size > MOST_BYTES_A_DAY:
        do = "The photo stays on the phone; send it in a while, or tell the lead."
        raise NotTaken("more photos came from one person than a build day makes", do=do, status=429)


def _store(
    file: BinaryIO,
    client_id: str,
    person: Person,
    hand: Hand | None,
    measured: tuple[str, int, bytes],
    then: Callable[[Photo], object] | None,
) -> tuple[Photo, bool]:
    digest, size, start = measured
    photo = Photo(
        client_id=client_id,
        hand=hand,
        taken_by=person,
        received_at=timezone.now(),
        raw_sha256=digest,
        raw_bytes=size,
        kind=kind_of(start),
    )
    if photo.kind:
        _hold_room(size)
        write_whole(places.raw(photo), _chunks(file))
    else:
        photo.state, photo.decided_at = State.REFUSED, photo.received_at
        photo.reason, photo.do = called(start), NO_PHOTO
    with transaction.atomic():
        known = Photo.objects.filter(client_id=client_id).first()
        if known is None:
            photo.save()
            if photo.state == State.STORED:
                enqueue("photo", f"photo-{photo.pk}", {"photo": photo.pk})
                if then is not None:
                    then(photo)
            return photo, True
    # Another request was quicker. What it did not need of this one goes again.
    if known.raw_sha256 != digest or known.state != State.STORED:
        places.raw(photo).unlink(missing_ok=True)
    return known, False


def take_label(file: BinaryIO, *, client_id: str, person: Person) -> Job:
    """Store the picture of a label and queue it, before photos: somebody stands there and waits.

    When this returns, picture and job are on the disk. Sent twice, it is read once.
    """
    if not CLIENT_ID.fullmatch(client_id):
        raise NotTaken("it came without a proper id", do="Load the page again and repeat it.", status=400)
    digest, size, start = _measured(file)
    kind, key = kind_of(start), labels.key_of(client_id)
    if not kind:
        raise NotTaken(f"this is no photo: {called(start)}", do=NO_PHOTO, status=415)
    payload = {"label": key, "sha256": digest, "kind": kind, "by": person.pk}
    job = Job.objects.filter(key=key).first()
    if job is None:
        _hold_to_quota(person, size)
        _hold_room(size)
        write_whole(places.upload(digest, key), _chunks(file))
        job = enqueue("photo", key, payload, urgency=1)
        if job.payload != payload or job.state not in (
            Job.QUEUED,
            Job.WORKING,
        ):  # another request was quicker
            places.upload(digest, key).unlink(missing_ok=True)
    if job.payload != payload:
        do = "Take the photo again."
        raise NotTaken("another photo was sent before under the same id", do=do, status=409)
    return job


def _chunks(file: BinaryIO) -> Iterator[bytes]:
    file.seek(0)
    while chunk := file.read(CHUNK_BYTES):
        yield chunk


def _hold_room(size: int) -> None:
    free = shutil.disk_usage(settings.DATA).free
    if free < size + ROOM_BYTES:
        do = "Tell the lead: free some room. The photo stays on the phone, and answers can still be sent."
        raise NoRoom("the disk of the lead's laptop is nearly full", where="the photo", do=do)


def _no_photo(photo: Photo) -> NotTaken:
    return NotTaken(f"this is no photo: {photo.reason}", do=photo.do, status=415)


def erase(photo: Photo, *, person: Person, because: str) -> int:
    """Delete a picture for good, under every id it was sent with. What the record says about it stays."""
    with transaction.atomic():
        same = Q(pk=photo.pk)
        if photo.sha256:
            same |= Q(sha256=photo.sha256)
        # What was drawn on it shows it too.
        made = [name for one in Photo.objects.filter(same) for name in derived.names_of(one.client_id)]
        same |= Q(client_id__in=made)
        told: dict[str, Any] = {
            "state": State.ERASED,
            "erased_at": timezone.now(),
            "erased_by": person,
            "erased_because": because.strip()[:200],
        }
        found = list(Photo.objects.filter(same))
        Photo.objects.filter(same).exclude(state=State.ERASED).update(**told)
    # Only now: a row that says "erased" while the file is still there is noticed and repeated; not the reverse.
    for one in found:
        places.raw(one).unlink(missing_ok=True)
        drop_unused(one.sha256, one.thumb_sha256)
    return len(found)
