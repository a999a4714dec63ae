"""Asking for the simulated hands that a diagnosis needs: one job for each round that is not there yet."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.causes.diagnosing import can_be_diagnosed
from handsel.bench.causes.known import place_for
from handsel.bench.hands.casebook import Told, protocol_kept
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.data.library_store import LibraryPlace
from handsel.diagnosis.library import ROUNDS

KIND, LEARN = "library", "learn"


def job_key(at: LibraryPlace, number: int) -> str:
    """The job that makes one round."""
    return f"library-{at.key[:40]}-{number:02d}"


def want_library(hand: Hand) -> int:
    """Ask for every round that is missing; how many that are. The first comes first: with it one can begin.

    One job for a round, so that a worker does other things in between, a stop loses little, and what was
    cleared away is made again.
    """
    at = place_for(hand)
    if at is None:
        return 0
    missing = [n for n in range(ROUNDS) if not at.file(n).is_file()]
    if missing:
        _queue(at, hand, missing)
    return len(missing)


def hand_plan_key(hand: Hand) -> str:
    """The job that plans this hand as its record stands."""
    return f"hand-plan-{hand.pk}-{hand.entry_count}"


def want_hand_plan(hand: Hand) -> None:
    """Have it worked out what is best done with this hand first; nothing where no hands are simulated yet."""
    at = place_for(hand)
    if at is not None and at.file(0).is_file():
        enqueue("plan", hand_plan_key(hand), {"hand": hand.pk}, urgency=3)


def is_coming(hand: Hand) -> bool:
    """Whether simulated hands of this size are being made."""
    at = place_for(hand)
    return (
        at is not None
        and Job.objects.filter(
            kind=KIND, key__startswith=job_key(at, 0)[:-2], state__in=(Job.QUEUED, Job.WORKING)
        ).exists()
    )


def _queue(at: LibraryPlace, hand: Hand, missing: list[int]) -> None:
    now = timezone.now()
    payload = {"hand": hand.pk}
    with transaction.atomic():
        known = {j.key: j for j in Job.objects.filter(key__in=[job_key(at, n) for n in missing])}
        Job.objects.bulk_create(
            Job(
                kind=KIND,
                key=job_key(at, n),
                payload=payload | {"round": n},
                urgency=-n,
                queued_at=now,
            )
            for n in missing
            if job_key(at, n) not in known
        )
        # Made before and cleared away since, or not made for want of room: once more.
        ended = [j.pk for j in known.values() if j.state in (Job.DONE, Job.FAILED)]
        if ended:
            Job.objects.filter(pk__in=ended).update(
                state=Job.QUEUED, tries=0, error=None, result=None, queued_at=now, finished_at=None
            )


def after_decision(hand: Hand, told: tuple[Told, ...], decided: dict[str, Any], seq: int) -> None:
    """What a decision makes worth doing: simulated hands for one that is not right, learning after a rework."""
    if hand.practice or not can_be_diagnosed(protocol_kept(hand.protocol_id), decided["hold_point"]):
        return
    if decided["whole"] != "release":
        want_library(hand)
        want_hand_plan(hand)
    before = max((t.seq for t in told if t.kind == "decided" and t.seq < seq), default=None)
    if before is not None and any(
        t.kind == "did" and t.what.get("is_rework") and t.seq > before for t in told
    ):
        enqueue(LEARN, f"learn-{hand.pk}-{seq}", {"hand": hand.pk, "decided": seq})
