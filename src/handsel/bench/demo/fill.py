"""Laying the demo day out in an empty folder, by the same services that a real day uses."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from random import Random
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from handsel.bench.causes.wishes import after_decision
from handsel.bench.days.lots import add_lot
from handsel.bench.days.models import Day, Lot
from handsel.bench.days.services import DESIGN, PROTOCOL
from handsel.bench.demo.story import (
    CLOSES_MIN,
    GOOD,
    LOTS,
    OPENED_MIN,
    PLACE,
    STORIES,
    TITLE,
    Story,
)
from handsel.bench.hands.casebook import design_kept, protocol_kept
from handsel.bench.hands.chain import New, append
from handsel.bench.hands.models import Hand
from handsel.bench.hands.services import begin_hand, keep_design, keep_protocol
from handsel.bench.jobs.services import enqueue
from handsel.bench.looking.answering import Known, answer_job_key, decision, known, work_out
from handsel.bench.people.models import Person
from handsel.bench.people.services import add_person, renew_secret
from handsel.bench.planning.services import want_plan
from handsel.bench.work.planning import body, plan
from handsel.data.load_steps import build_stages
from handsel.errors import HandselError
from handsel.inspection.deciding import due
from handsel.inspection.protocol import Characteristic
from handsel.inspection.rules import NumberRule

BATCH = 8  # answers that a phone sends together
MOST_ROUNDS = 4  # looking again at what a step undid; one round is usual


class NotEmpty(HandselError):
    """The demo day is never mixed with anything else."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hall:
    """The people of the demo day."""

    lead: Person
    inspectors: tuple[Person, ...]
    builders: tuple[Person, ...]
    fitter: Person


def fill(say: Callable[[str], None], *, now: datetime | None = None) -> None:
    """Fill an empty folder. One that holds the demo day already is left as it is; any other is refused."""
    if Day.objects.filter(is_demo=True).exists():
        return
    if Day.objects.exists() or Person.objects.exists() or Hand.objects.exists():
        raise NotEmpty(
            "this folder holds records of its own, and the demo day is never mixed with them",
            where=str(settings.DATA),
            do="Start without --demo, or choose an empty folder with --data.",
        )
    now = now or timezone.now()
    say("Laying out the demo day; this happens once and takes up to half a minute.")
    with transaction.atomic():
        hall = _people(now)
        day = _day(hall, now)
        for n, story in enumerate(STORIES, start=1):
            say(f"  {n} of {len(STORIES)} hands")
            _Telling(story=story, day=day, hall=hall, now=now).tell()
        want_plan(day)
    settings.DEMO_MARK.touch()
    settings.DEMO = True


def _people(now: datetime) -> Hall:
    at = now - timedelta(minutes=OPENED_MIN)

    def joined(minutes: int, **rights: Any) -> Person:
        return add_person(at=at + timedelta(minutes=minutes), **rights)

    lead = joined(0, is_lead=True, may_build=True, may_inspect=True, may_fit=True)
    hall = Hall(
        lead=lead,
        inspectors=(joined(3, may_inspect=True), joined(4, may_inspect=True)),
        builders=tuple(joined(5 + k, may_build=True) for k in range(3)),
        fitter=joined(12, may_fit=True),
    )
    renew_secret(hall.fitter)
    return hall


def _day(hall: Hall, now: datetime) -> Day:
    opened = now - timedelta(minutes=OPENED_MIN)
    day = Day.objects.create(
        title=TITLE,
        place=PLACE,
        opened_at=opened,
        closes_at=now + timedelta(minutes=CLOSES_MIN),
        protocol=keep_protocol(PROTOCOL),
        design=keep_design(DESIGN),
        is_demo=True,
    )
    for n, (kind, name, spares) in enumerate(LOTS):
        add_lot(
            day, kind=kind, name=name, spares_count=spares, person=hall.lead, client_id=_id("lot", n), at=opened
        )  # fmt: skip
    return day


def _id(*parts: object) -> str:
    return sha256("/".join(["demo", *map(str, parts)]).encode()).hexdigest()[:32]


class _Telling:
    """One hand's day, entry by entry, each a little later than the one before."""

    def __init__(self, *, story: Story, day: Day, hall: Hall, now: datetime) -> None:
        self.story, self.day, self.hall = story, day, hall
        self.random = Random(story.recipient)  # the same little differences every time
        self.builder = hall.builders[int(story.recipient[2:]) % len(hall.builders)]
        self.inspector = hall.inspectors[int(story.recipient[2:]) % len(hall.inspectors)]
        self.begun, self.since = (now - timedelta(minutes=m) for m in (story.begun_min, story.since_min))
        self.hand = begin_hand(
            day=day,
            recipient_code=story.recipient,
            side=story.side,
            scale_ratio=story.scale_ratio,
            person=hall.lead,
            target_rest_angle_deg=story.target_deg,
            latex_sensitive=story.latex_sensitive,
            client_id=_id(story.recipient, "begun"),
            at=self.begun,
        )
        self.protocol = protocol_kept(self.hand.protocol_id)
        self.count = 0
        self.last_answer: tuple[str, dict[str, Any]] | None = None

    def tell(self) -> None:
        stages = [h.id for h in self.protocol.hold_points]
        lots = list(Lot.objects.filter(day=self.day, kind__in=("filament", "cord", "elastic")))
        for lot in lots if self.story.recipient != "R-024" else lots[:1]:
            self._add(
                "lot-used", {"lot": lot.pk, "kind": lot.kind, "name": lot.name}, self.builder, self.begun
            )
        times = self._times(self.story.passed)
        for stage, (built, looked, decided) in zip(stages, times, strict=False):
            self._build(stage, built)
            self._look(stage, looked)
            self._decide(decided)
        if self.story.passed < len(stages):
            self._ending(stages[self.story.passed])
        elif self.story.ends in ("released", "handed over"):
            self._go_home()
        if self.last_answer is not None:
            enqueue("answer", *self.last_answer)

    def _times(self, count: int) -> Iterator[tuple[datetime, datetime, datetime]]:
        """When each of the passed hold points was built up to, looked at and decided."""
        last = self.since - timedelta(minutes=20 if self.story.ends != "decided" else 0)
        step = (last - self.begun) / max(count, 1)
        for k in range(count):
            start = self.begun + k * step
            yield start + 0.6 * step, start + 0.85 * step, start + step

    def _ending(self, stage: str) -> None:
        story, since = self.story, self.since
        a_while = timedelta(minutes=5)
        if story.ends == "building" or (story.ends == "decided" and story.passed and not story.differs):
            return
        if story.ends == "taken":
            self._add("taken", {"to": "build"}, self.builder, since)
            return
        looked = since if story.ends in ("asked", "looking") else since - 2 * a_while
        self._build(stage, looked - (a_while if story.ends != "asked" else timedelta()))
        if story.ends == "asked":
            return
        self._look(stage, looked, only_first=12 if story.ends == "looking" else None)
        if story.ends == "looking":
            return
        k = self._decide(since - a_while if story.ends == "cards" else since)
        if story.ends == "cards":
            self._order(k, since)
        if story.ends == "scrapped":
            self._add("scrapped", {"reason": story.note}, self.hall.lead, since)

    # ---- what people do ---------------------------------------------------------------------------

    def _add(self, kind: str, what: dict[str, Any], person: Person, at: datetime) -> None:
        self._add_all([(kind, what)], person, at)

    def _add_all(self, news: list[tuple[str, dict[str, Any]]], person: Person, at: datetime) -> None:
        first, self.count = self.count, self.count + len(news)
        made = [
            New(kind=kind, what=what, client_id=_id(self.story.recipient, first + n, kind))
            for n, (kind, what) in enumerate(news)
        ]
        append(self.hand, made, person=person, at=at)

    def _build(self, stage: str, at: datetime) -> None:
        steps = next((s.steps for s in build_stages(self.protocol) if s.hold_point == stage), ())
        for step in steps:
            if step.reports:
                self._look_under(step.reports, stage, at)
                self._add("did", {"what": step.reports, "place": "", "at": stage, "is_rework": False,
                                  "closes_card": None, "cards_left": 0}, self.builder, at)  # fmt: skip
        self._add("asked", {"hold_point": stage}, self.builder, at)

    def _look_under(self, step: str, stage: str, at: datetime) -> None:
        """Somebody looks at what this step is going to hide, before it does."""
        found = self.protocol.step(step)
        hidden = found.hides if found is not None else ()
        checks = [c for c in self.protocol.characteristics if c.id in hidden and c.hold_point == stage]
        self._observe(
            [(c, place) for c in checks for place in self.protocol.places(c.per)], self.inspector, at
        )

    def _look(self, stage: str, at: datetime, only_first: int | None = None) -> None:
        """Every check of this hold point, and what steps before it have undone."""
        person = self.hall.fitter if stage == self.protocol.hold_points[-1].id else self.inspector
        k = known(self.hand, hold_point=stage)
        checks = [c for c in due(k.case, self.protocol) if c.hold_point == stage]
        answers = [(c, place) for c in checks for place in self.protocol.places(c.per)][:only_first]
        for _ in range(MOST_ROUNDS):
            for start in range(0, len(answers), BATCH):
                at += timedelta(seconds=6 * BATCH if only_first is not None else 3)
                self._observe(answers[start : start + BATCH], person, at)
            if only_first is not None:
                return
            by_id = {c.id: c for c in self.protocol.characteristics}
            unseen = [
                i for i in known(self.hand, hold_point=stage).inspection().items if i.status == "not seen"
            ]
            answers = [(by_id[i.id], i.place) for i in unseen if i.id in by_id]
            if not answers:
                return

    def _observe(self, answers: list[tuple[Characteristic, str]], person: Person, at: datetime) -> None:
        self._add_all([("observed", self._answer(c, place)) for c, place in answers], person, at)

    def _answer(self, c: Characteristic, place: str) -> dict[str, Any]:
        said: float | str | None = GOOD.get(c.id)
        if self._differs_here(c):
            differs = self.story.differs
            said = differs.get(f"{c.id}@{place}", differs.get(c.id, said))
        what: dict[str, Any] = {
            "of": c.id,
            "place": place,
            "protocol": self.hand.protocol_id,
            "tap_ms": self.random.randrange(1_800, 6_500),
            "seen_count": self.hand.entry_count,
            "from": "screen",
        }
        if isinstance(c.rule, NumberRule):
            value = float(said) if said is not None else _middle(c.rule)
            if c.id == "worked-rest-angle":
                what["readings"] = [round(value + d, 1) for d in (0.1, -0.2, 0.1)]
            else:
                what["value"] = value
            what["unit"] = c.rule.unit
        else:
            what["answer"] = str(said) if said is not None else c.rule.accepted[0]
        if c.id in self.story.differs and self._differs_here(c) and self.story.note and "answer" in what:
            what["note"] = self.story.note
        return what

    def _differs_here(self, c: Characteristic) -> bool:
        """What differs was found at the hold point where the story stops."""
        return c.hold_point == self.protocol.hold_points[min(self.story.passed, 4)].id

    def _decide(self, at: datetime) -> Known:
        """Decided by the core; the full answer with its drawing is left for a worker, until somebody looks."""
        k = known(self.hand)
        payload = {"hand": self.hand.pk, "hold_point": k.case.hand.hold_point}
        decided = decision(k)
        self._add("decided", decided, self.inspector, at)
        after_decision(self.hand, k.told, decided, self.hand.entry_count)
        if k.needs_mechanics:
            self.last_answer = (answer_job_key(k), payload)
        return k

    def _order(self, k: Known, at: datetime) -> None:
        found, i = work_out(k), k.inspection()
        for p in plan(i, found["assessment"]["fix"], design_kept(self.hand.design_id)):
            self._add("ordered", body(p, i), self.hall.lead, at)

    def _go_home(self) -> None:
        decided = self.hand.entries.filter(kind="decided").last()
        released = self.since if self.story.ends == "released" else self.since - timedelta(minutes=8)
        self._add(
            "released",
            {
                "decided": decided.seq if decided is not None else None,
                "open": [],
                "conceded": [],
                "design": self.hand.design_id,
                "protocol": self.hand.protocol_id,
                "head_before": self.hand.head_sha256,
                "cautions_version": "1",
            },
            self.hall.fitter,
            released,
        )
        if self.story.ends == "handed over":
            told = {
                "language": "en",
                "to": "carer",
                "cautions_gone_through": True,
                "call": "the organisation's number",
            }
            self._add("handed-over", told, self.hall.fitter, self.since)


def _middle(rule: NumberRule) -> float:
    low, high = (rule.limits.low, rule.limits.high) if rule.limits is not None else (None, None)
    low = rule.plausible_min if low is None else low
    high = rule.plausible_max if high is None else high
    return (low + high) / 2
