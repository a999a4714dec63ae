"""Whether a hand may be released now, and if not, what stands in the way and how to go on.

Everything is read from the record itself and from a full answer worked out for this very record; where the
hand is shown to stand, or what a page said a minute ago, counts for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from handsel.bench.hands.casebook import Told
from handsel.bench.hands.models import Entry, Hand, Standing
from handsel.bench.hands.words import hold_point_title
from handsel.bench.jobs.models import Job
from handsel.bench.jobs.services import enqueue
from handsel.bench.looking.answering import Known, answer_job_key, known, worked_out
from handsel.bench.work.cards import open_cards
from handsel.bench.work.planning import spoken
from handsel.inspection.result import Item

BLOCKING = ("critical", "major")
SETTLED = ("conforms", "recorded")


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """One thing that stands in the way, and the way on."""

    what: str
    do: str
    words: str = ""  # on the link
    url: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """What was found about one hand at one length of its record."""

    obstacles: tuple[Obstacle, ...]
    is_waiting: bool  # the full answer is being worked out
    count: int  # entries that it rests on
    head_sha256: str  # of the last of them
    rests_on: dict[str, Any]  # what the release will say

    @property
    def is_ready(self) -> bool:
        """True when nothing stands in the way."""
        return not self.obstacles and not self.is_waiting


def readiness(hand: Hand) -> Readiness:
    """Look at a hand's record as it is now."""
    k = _read_at_once(hand)
    count = k.told[-1].seq
    head = Entry.objects.get(hand=hand, seq=count).sha256
    early = _before_looking(k)
    if early:
        return Readiness(obstacles=early, is_waiting=False, count=count, head_sha256=head, rests_on={})
    quick = tuple(_from_items(k, [_as_data(x) for x in k.inspection().items]))
    if quick:  # then the mechanics need not be asked
        return Readiness(obstacles=quick, is_waiting=False, count=count, head_sha256=head, rests_on={})
    found = worked_out(k)
    if found is None:
        failed = _asked_for(k)
        return Readiness(obstacles=failed, is_waiting=not failed, count=count, head_sha256=head, rests_on={})
    items = found["assessment"]["items"]
    obstacles = (*_from_items(k, items), *_from_the_whole(k, found), *_from_decisions(k))
    return Readiness(
        obstacles=tuple(dict.fromkeys(obstacles)),
        is_waiting=False,
        count=count,
        head_sha256=head,
        rests_on=_rests_on(k, found, head),
    )


def _read_at_once(hand: Hand) -> Known:
    """Row and record of the same moment: an entry that came in between is read again."""
    while True:
        fresh = Hand.objects.select_related("design").get(pk=hand.pk)
        k = known(fresh)
        if k.told and fresh.entry_count == k.told[-1].seq:
            return k


def _before_looking(k: Known) -> tuple[Obstacle, ...]:
    """What needs no mechanics to be seen."""
    hand, base = k.hand, f"/h/{k.hand.code}/"
    found: list[Obstacle] = []
    if hand.practice:
        return (
            Obstacle(
                what="This is a practice hand",
                do="It is never released. Take it apart for the next newcomer.",
                words="Back to practising",
                url="/practice/",
            ),
        )
    standing = Standing(hand.standing)
    called = standing.label
    if standing in (Standing.RELEASED, Standing.HANDED_OVER):
        return (
            Obstacle(
                what=f"This hand is {called} already",
                do="See its record.",
                words="See the hand",
                url=base,
            ),
        )
    if standing == Standing.SCRAPPED:
        return (
            Obstacle(
                what="This hand is scrapped", do="It is not used any more.", words="See the hand", url=base
            ),
        )
    last = k.protocol.hold_points[-1]
    if hand.hold_point != last.id:
        here = hold_point_title(hand.hold_point, k.protocol)
        found.append(
            Obstacle(
                what=f"It is at “{here}” and has not come to “{last.title}”",
                do="Every hold point is passed first.",
                words="See what comes next",
                url=base,
            )
        )
    for card in open_cards(k.told):
        found.append(
            Obstacle(
                what=f"Rework card {card.number} is open: {card.title}",
                do="Do it, or say on the card why not.",
                words=f"Open card {card.number}",
                url=f"{base}cards/{card.seq}/",
            )
        )
    return tuple(found)


def _asked_for(k: Known) -> tuple[Obstacle, ...]:
    """Have the full answer worked out; an Obstacle when that has failed before."""
    key = answer_job_key(k)
    job = Job.objects.filter(key=key).first()
    if job is not None and job.state == Job.FAILED:
        error = job.error or {}
        return (
            Obstacle(
                what=f"The answer could not be worked out: {error.get('what', 'no reason was given')}",
                do="Look at its numbers once more, or ask the lead.",
                words="Look at it again",
                url=f"/h/{k.hand.code}/look/",
            ),
        )
    if job is None or job.state not in (Job.QUEUED, Job.WORKING):
        enqueue("answer", key, {"hand": k.hand.pk, "hold_point": k.case.hand.hold_point}, urgency=1)
    return ()


def _as_data(x: Item) -> dict[str, Any]:
    """An item as the answer writes it down."""
    settling = x.settling.sentence if x.settling is not None else ""
    names = ("id", "title", "place", "status", "severity", "conceded_by", "to_check")
    return {name: getattr(x, name) for name in names} | {"settling": settling}


def _from_items(k: Known, items: list[dict[str, Any]]) -> list[Obstacle]:
    """Critical and major things that are not as they should be, or not looked at since they were undone."""
    base, found = f"/h/{k.hand.code}/", []
    for x in items:
        called = f"“{x['title']}”" + (f" ({spoken(x['place'])})" if x["place"] else "")
        if x["status"] in SETTLED or x["severity"] not in BLOCKING:
            continue
        if x["conceded_by"] and x["severity"] != "critical":
            continue
        if x["conceded_by"]:
            what, do = (
                f"{called} was let pass, though it could hurt somebody",
                "What is critical is put right, never let pass.",
            )
        elif x["status"] == "not seen":
            what, do = f"{called} has to be looked at", x["to_check"] or "Look at it."
        elif x["status"] == "undecided":
            what, do = f"{called} is not decided", x["settling"] or x["to_check"] or "Look at it again."
        else:
            what, do = f"{called} is not so", "Put it right, then look at it again."
        found.append(Obstacle(what=what, do=do, words="Look at it", url=f"{base}look/"))
    return found


def _from_the_whole(k: Known, found: dict[str, Any]) -> list[Obstacle]:
    if (
        found["conforms"]
        and found["assessment"]["whole"] == "release"
        and found["decided"]["whole"] == "release"
    ):
        return []
    sentence = found["assessment"]["sentence"]
    return [
        Obstacle(
            what="The whole hand is not as it should be yet",
            do=sentence,
            words="See the answer",
            url=f"/h/{k.hand.code}/answer/",
        )
    ]


def _from_decisions(k: Known) -> list[Obstacle]:
    """The last decision has to be about this very record, at the last hold point, and has to let it pass."""
    decided = last_decided(k)
    url = f"/h/{k.hand.code}/look/"
    if decided is None or decided.what.get("case_key") != k.key:
        return [
            Obstacle(
                what="Something was recorded since it was decided",
                do="Let it be decided again: look through it once more.",
                words="Look at it",
                url=url,
            )
        ]
    w = decided.what
    if w["whole"] != "release" or w["hold_point"] != k.protocol.hold_points[-1].id:
        return [
            Obstacle(
                what="It was decided that it may not go on yet", do=w["sentence"], words="Look at it", url=url
            )
        ]
    if k.hand.standing != Standing.TO_RELEASE:
        return [
            Obstacle(
                what=f"This hand is {Standing(k.hand.standing).label}",
                do="Let it be decided again.",
                words="Look at it",
                url=url,
            )
        ]
    return []


def last_decided(k: Known) -> Told | None:
    """The newest decision on record."""
    return next((t for t in reversed(k.told) if t.kind == "decided"), None)


def _rests_on(k: Known, found: dict[str, Any], head: str) -> dict[str, Any]:
    decided = last_decided(k)
    items = found["assessment"]["items"]
    return {
        "decided": decided.seq if decided is not None else None,
        "open": [
            {key: x[key] for key in ("place", "status", "severity")} | {"of": x["id"]}
            for x in items
            if x["open"]
        ],
        "conceded": [
            {"of": x["id"], "place": x["place"], "by": x["conceded_by"], "reason": x["concession_reason"]}
            for x in items
            if x["conceded_by"]
        ],
        "design": k.hand.design_id,
        "protocol": k.hand.protocol_id,
        "case_key": k.key,
        "head_before": head,
    }
