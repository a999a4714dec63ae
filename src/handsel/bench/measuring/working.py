"""The worker's part: one photo is measured in a process of its own, and what was seen is kept.

Looking takes a second and holds no transaction; the rows change in a short one at the end. The same job can be
done again: the picture's name comes from its content, and the row changes once.
"""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from handsel import __version__
from handsel.bench.hands.models import Hand
from handsel.bench.measuring import together
from handsel.bench.measuring.kinds import ANGLES, PARTS, SLOW, job_kind
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.on_disk import BESIDE, NoRoom, fingerprint, said_plainly, settle
from handsel.bench.photos import apart, derived, places
from handsel.bench.photos.models import Photo
from handsel.bench.photos.models import State as PhotoState
from handsel.errors import HandselError

SENT, KEPT = "as sent", "as kept"
SEEING = "handsel.bench.measuring.seeing"
WALL_S, SLOW_WALL_S = 60.0, 600.0
GONE = {
    "refused": "the photo is no longer there",
    "do": "Take it again, or read the hand yourself.",
    "cause": "erased",
}


def stand_by(kind: str) -> None:
    """In a real worker: have a process wait for the next photo of a rest angle."""
    if kind == "measure":
        apart.stand_by(SEEING)


def begin() -> None:
    """At a worker's start: ask again for what was asked and never came to an end."""
    from handsel.bench.jobs.models import Job
    from handsel.bench.jobs.services import enqueue

    for m in Measurement.objects.filter(state=State.WAITING):
        job = Job.objects.filter(key=f"measure-{m.pk}").first()
        if job is not None and job.state == Job.FAILED:
            fail(m, (job.error or {}).get("what", "it could not be worked out"))
        elif job is None or job.state == Job.DONE:
            Job.objects.filter(key=f"measure-{m.pk}").delete()
            enqueue(job_kind(m.kind), f"measure-{m.pk}", {"measurement": m.pk}, urgency=1)


def run(payload: dict[str, Any]) -> dict[str, Any]:
    """Measure what is asked for, once."""
    m = Measurement.objects.select_related("photo", "hand", "hand__design").get(pk=payload["measurement"])
    if m.state != State.WAITING:
        return {"state": m.state}
    begun = time.perf_counter()
    part = Path(settings.PHOTOS) / f".measured-{m.pk}{BESIDE}"
    try:
        told, pixels = (together.read(m), "") if m.kind == ANGLES else _seen(m, part)
        if "disk" in told:
            raise NoRoom("there is no room left on the disk", where="the photo", do="Free some room.")
        name = _kept(part) if part.is_file() else ""
    except HandselError as error:
        fail(m, error.what, error.do)
        raise
    finally:
        part.unlink(missing_ok=True)
    return _written(m, told, pixels=pixels, overlay=name, took_ms=round(1000 * (time.perf_counter() - begun)))


def _seen(m: Measurement, part: Path) -> tuple[dict[str, Any], str]:
    """From the pixels as they were sent, if they are still there; else from the picture that was kept."""
    with said_plainly("the photo"):
        part.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    task = task_of(m)
    sent = places.raw(m.photo)
    if m.photo.state == PhotoState.STORED and sent.is_file() and fingerprint(sent) == m.photo.raw_sha256:
        told = _apart(m, task, sent, part)
        if "refused" not in told or told.get("cause") or sent.is_file():
            return told, SENT
        m.photo.refresh_from_db()  # developed by another worker while it was being opened
    if m.photo.state == PhotoState.REFUSED:
        return {"refused": m.photo.reason, "do": m.photo.do, "cause": "not a usable photo"}, SENT
    source = places.kept(m.photo.sha256)
    if m.photo.state != PhotoState.READY or not source.is_file():
        return dict(GONE), KEPT
    task["f35_mm"], task["zoom_ratio"] = m.photo.focal_length_35mm_mm, m.photo.digital_zoom_ratio
    return _apart(m, task, source, part), KEPT


def _apart(m: Measurement, task: dict[str, Any], source: Path, part: Path) -> dict[str, Any]:
    """In a process of its own; a kit is held against the text of the hand's own design."""
    wall_s = SLOW_WALL_S if m.kind in SLOW else WALL_S
    design = part.with_name(f"{part.name}.design")
    try:
        if m.kind == PARTS:
            with said_plainly("the photo"):
                design.write_text(m.hand.design.text, encoding="utf-8")
            task = {**task, "design_file": str(design)}
        return apart.told_apart(SEEING, json.dumps(task), source, part, wall_s=wall_s)
    finally:
        design.unlink(missing_ok=True)


def task_of(m: Measurement) -> dict[str, Any]:
    """What the process that looks is told; nothing that it does not need."""
    hand: Hand = m.hand
    return {"what": m.kind, "side": hand.side, "scale_ratio": hand.scale_ratio, **m.asked}


def _kept(part: Path) -> str:
    name = fingerprint(part)
    place = places.kept(name)
    with said_plainly("the photo"):
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part.chmod(0o600)
        settle(part, place)
    return name


def _written(
    m: Measurement, told: dict[str, Any], *, pixels: str, overlay: str, took_ms: int
) -> dict[str, Any]:
    refused = "refused" in told
    now = timezone.now()
    with transaction.atomic():
        # Erased while it was being read: then nothing of it is kept either.
        gone = not Photo.objects.filter(pk=m.photo_id).exclude(state=PhotoState.ERASED).exists()
        if gone:
            told, refused = dict(GONE), True
        Measurement.objects.filter(pk=m.pk, state=State.WAITING).update(
            state=State.REFUSED if refused else State.MEASURED,
            result=told,
            reason=_sentence(told["refused"]) if refused else "",
            do=told["do"][:300] if refused else "",
            overlay_sha256="" if gone else overlay,
            pixels=pixels,
            took_ms=took_ms,
            program=__version__,
            decided_at=now,
        )
        if overlay and not gone:
            derived.keep(m.photo, m.kind, overlay, size=places.kept(overlay).stat().st_size, at=now)
    if overlay and gone:
        derived.drop(overlay)
    return {"state": State.REFUSED if refused else State.MEASURED, "took_ms": took_ms}


def fail(m: Measurement, what: str, do: str = "Read the hand yourself, and report it.") -> None:
    """It came to no end, and nobody waits for it any longer."""
    Measurement.objects.filter(pk=m.pk, state=State.WAITING).update(
        state=State.FAILED,
        reason=_sentence(what),
        do=do[:300],
        program=__version__,
        decided_at=timezone.now(),
    )


def _sentence(what: str) -> str:
    return (what[:1].upper() + what[1:])[:300]
