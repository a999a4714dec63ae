"""Asking for a photo to be measured: with its upload, so that it is read from the pixels as they were sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.db import transaction
from django.utils import timezone

from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.models import Hand
from handsel.bench.jobs.services import enqueue
from handsel.bench.measuring.forms import LOOSE, WishForm
from handsel.bench.measuring.kinds import ANGLE, ANGLES, job_kind, kind_for
from handsel.bench.measuring.models import Measurement, State
from handsel.bench.people.models import Person
from handsel.bench.photos.models import Photo
from handsel.errors import HandselError

MOST_TOGETHER = 8


class NotAsked(HandselError, ValueError):
    """A wish for a measurement that cannot be met."""

    def __init__(self, what: str, *, do: str, status: int = 400) -> None:
        super().__init__(what, where="the photo", do=do)
        self.status = status


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A photo is to be measured for a check."""

    kind: str
    of: str
    asked: Mapping[str, Any]


def wish_in(post: Mapping[str, Any], *, person: Person, hand: Hand | None) -> Wish | None:
    """The wish that came with an upload; None when none did, or when the check it was for is no longer asked."""
    if not post.get("measure"):
        return None
    form = WishForm(post)
    if not form.is_valid():
        raise NotAsked("what it is to be measured for was not understood", do="Load the page again.")
    if hand is None:
        raise NotAsked("it does not say of which hand it is", do="Load the page again.")
    if not (person.may("inspect") or person.may("fit")):
        raise NotAsked(
            "measuring a hand is for an inspector",
            do="Give the hand to one, or ask the lead to change what you may do.",
            status=403,
        )
    given = form.cleaned_data
    c = protocol_kept(hand.protocol_id).characteristic(given["of"])
    if c is None or kind_for(c) != given["measure"]:
        return None  # the day's protocol changed while the photo waited: it is kept as a picture
    asked = {k: given[k] for k in ("cards", "rest_of", "width_mm", "bar_mm") if given.get(k)}
    if given["measure"] == ANGLE:
        asked.setdefault("cards", LOOSE)
    if c.photo_limits is not None and c.photo_limits.high is not None:
        asked |= {
            "most_mm": c.photo_limits.high,
            "accept_p": protocol_kept(hand.protocol_id).accept(c.severity),
        }
    return Wish(kind=given["measure"], of=given["of"], asked=asked)


def key_of(kind: str, client_id: str) -> str:
    """What a measurement of one photo is known by."""
    return f"{kind}/{client_id}"


def ask(photo: Photo, wish: Wish, person: Person) -> Measurement:
    """Have a photo measured. Asked twice, it is measured once."""
    if photo.hand is None:
        raise NotAsked("it does not say of which hand it is", do="Load the page again.")
    return _asked(
        key_of(wish.kind, photo.client_id),
        photo=photo, hand=photo.hand, kind=wish.kind, of=wish.of, asked=dict(wish.asked), person=person,
    )  # fmt: skip


def ask_together(hand: Hand, photos: list[str], *, of: str, afresh: bool, person: Person) -> Measurement:
    """Have several readings of one hand made one."""
    names = sorted(set(photos))
    if not 2 <= len(names) <= MOST_TOGETHER:
        raise NotAsked(f"from 2 to {MOST_TOGETHER} photos are read together", do="Choose again.")
    found = {
        m.photo.client_id: m
        for m in Measurement.objects.filter(key__in=[key_of(ANGLE, n) for n in names]).select_related("photo")
    }
    for name in names:
        m = found.get(name)
        if m is None or m.hand_id != hand.pk or m.of != of:
            raise NotAsked("one of the photos is not of this hand and check", do="Take them again here.")
        if m.state != State.MEASURED:
            raise NotAsked("one of the photos could not be read", do="Leave it out.", status=409)
    said = "+".join(names) + ("/afresh" if afresh else "/left")
    last = max(found.values(), key=lambda m: m.pk)
    return _asked(
        f"{ANGLES}/{sha256(said.encode()).hexdigest()}",
        photo=last.photo, hand=hand, kind=ANGLES, of=of, asked={"photos": names, "afresh": afresh}, person=person,
    )  # fmt: skip


def _asked(
    key: str, *, photo: Photo, hand: Hand, kind: str, of: str, asked: dict[str, Any], person: Person
) -> Measurement:
    with transaction.atomic():
        m, is_new = Measurement.objects.get_or_create(
            key=key,
            defaults={
                "kind": kind, "photo": photo, "hand": hand, "of": of, "asked": asked, "asked_by": person,
                "asked_at": timezone.now(),
            },
        )  # fmt: skip
        if is_new:
            # Before photos are developed, so that the pixels as sent are still there; somebody stands and waits.
            enqueue(job_kind(kind), f"measure-{m.pk}", {"measurement": m.pk}, urgency=1)
    return m
