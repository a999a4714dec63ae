"""Putting work into the queue and taking it out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.jobs.models import Job

MOST_TRIES = 3  # a piece of work that takes the worker down is not taken again for ever


def enqueue(kind: str, key: str, payload: dict[str, Any], *, urgency: int = 0) -> Job:
    """The job of this key, queued if it is new. One that failed is tried afresh when asked for again."""
    now = timezone.now()
    with transaction.atomic():
        job, is_new = Job.objects.get_or_create(
            key=key, defaults={"kind": kind, "payload": payload, "urgency": urgency, "queued_at": now}
        )
        if not is_new and job.state == Job.FAILED:
            job.state, job.tries, job.error, job.queued_at = Job.QUEUED, 0, None, now
            job.save()
        elif not is_new and job.state == Job.QUEUED and urgency > job.urgency:
            job.urgency = urgency
            job.save(update_fields=["urgency"])
    return job


def take(kinds: tuple[str, ...]) -> Job | None:
    """The next job for a worker, marked as being worked on; None when there is none."""
    # A cheap look first: the write lock is not taken twice a second all day.
    if not Job.objects.filter(kind__in=kinds, state=Job.QUEUED).exists():
        return None
    with transaction.atomic():
        job = (
            Job.objects.select_for_update()
            .filter(kind__in=kinds, state=Job.QUEUED)
            .order_by("-urgency", "queued_at", "pk")
            .first()
        )
        if job is None:
            return None
        job.state, job.tries, job.started_at = Job.WORKING, job.tries + 1, timezone.now()
        job.save(update_fields=["state", "tries", "started_at"])
    return job


def finish(job: Job, *, result: dict[str, Any] | None = None, error: dict[str, str] | None = None) -> None:
    """Write down what came of it."""
    job.state = Job.FAILED if error is not None else Job.DONE
    job.result, job.error, job.finished_at = result, error, timezone.now()
    job.save(update_fields=["state", "result", "error", "finished_at"])


def requeue_abandoned(kinds: tuple[str, ...]) -> int:
    """At a worker's start: what its predecessor left half done goes back, or is given up after some tries."""
    with transaction.atomic():
        left = Job.objects.filter(kind__in=kinds, state=Job.WORKING)
        given_up = left.filter(tries__gte=MOST_TRIES).update(
            state=Job.FAILED,
            error={
                "what": "this could not be worked out: the program stopped each time it tried",
                "where": "the worker",
                "do": "Go on without it, and report it with the hand's case.",
            },
            finished_at=timezone.now(),
        )
        return given_up + left.update(state=Job.QUEUED)


def forget_old(days: int = 30) -> None:
    """Results are a cache: old ones are dropped."""
    before = timezone.now() - timedelta(days=days)
    Job.objects.filter(state__in=(Job.DONE, Job.FAILED), finished_at__lt=before).delete()
