"""The day as the planner takes it: open hands with their ways, people, spares, minutes to closing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from typing import Any

from handsel.bench.causes.wishes import hand_plan_key
from handsel.bench.days.models import Day, Lot
from handsel.bench.hands.casebook import protocol_kept
from handsel.bench.hands.chain import canonical
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.jobs.models import Job
from handsel.bench.looking.answering import Known, known
from handsel.bench.people.models import Person
from handsel.bench.planning.models import GoneBy
from handsel.bench.work.cards import open_cards
from handsel.data.load_steps import build_stages
from handsel.errors import HandselError
from handsel.inspection.protocol import Protocol
from handsel.inspection.result import Inspection
from handsel.inspection.undo import ReworkDone
from handsel.rework.day import model as core
from handsel.rework.hand.plain import rework_place
from handsel.rework.ways import way_of_reworks

NO_CLOSING_MIN = 180.0  # where nobody said when the hall closes
ASSUMED_SPARES = 10  # of what nobody has counted
LEAST_LEFT_MIN = 2.0  # of work that goes on longer than it was thought to
LOOKED_AT_OK, BUILT_OK = 0.9, 0.8  # own guesses: that a look finds nothing, that a stage is built right
RENEWED_MIN = 10  # a plan is made anew this often even when nothing has changed: the clock has
FITTING = "fitting"  # needs the wearer: planned by nobody but the fitter and them
OPEN: tuple[Any, ...] = (
    Standing.BUILDING,
    Standing.ASKED,
    Standing.LOOKING,
    Standing.TO_PUT_RIGHT,
    Standing.FOR_LEAD,
)
# Which lots a spare is taken from, where somebody counts them.
LOTS: Mapping[str, str] = {
    "elastic for one digit": "elastic",
    "foam": "foam",
    "hinge pin": "pins",
    "M3 screw and nut": "pins",
    "cyanoacrylate": "glue",
    "cord for one loop": "cord",
    "cord for two loops and the thumb": "cord",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """A hand that there is nothing to plan for, and why."""

    code: str  # of the label
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What is planned, what is left aside beforehand, and what was assumed."""

    day: core.Day
    codes: dict[str, str]  # serial: the label's code
    aside: tuple[Aside, ...]
    assumed: tuple[str, ...]


def goes_by(day: Day) -> GoneBy:
    """What the lead said, or the defaults."""
    return GoneBy.objects.filter(day=day).first() or GoneBy(day=day)


def open_hands(day: Day) -> list[Hand]:
    """Hands of the day that are not out of the door, in the order in which they came."""
    return list(
        Hand.objects.filter(day=day, practice="", standing__in=OPEN)
        .exclude(hold_point=FITTING)
        .select_related("design", "held_by")
        .defer("design__text")
        .order_by("pk")
    )


def state_key(day: Day, now: datetime) -> str:
    """Names the state of things that a plan is made for; a few queries, however many hands there are."""
    hands = Hand.objects.filter(day=day, practice="", standing__in=OPEN).exclude(hold_point=FITTING)
    people = Person.objects.filter(is_active=True).order_by("pk")
    lots = Lot.objects.filter(day=day, used_up_at=None).order_by("pk")
    by = goes_by(day)
    said = {
        "hands": [list(row) for row in hands.order_by("pk").values_list("code", "head_sha256")],
        "people": [list(row) for row in people.values_list("number", "is_lead", "may_build", "may_inspect", "may_fit")],
        "lots": [list(row) for row in lots.values_list("kind", "spares_count")],
        "by": [by.away, by.experienced, by.waiting, by.spares],
        "closes": day.closes_at.isoformat() if day.closes_at else "",
        "clock": int(now.timestamp() // (60 * RENEWED_MIN)),
    }  # fmt: skip
    return sha256(canonical(said)).hexdigest()


def gather(day: Day, now: datetime) -> Gathered:
    """Everything that the plan is made from. Reads each open hand's record: for a worker."""
    by, assumed = goes_by(day), []
    closing = NO_CLOSING_MIN
    if day.closes_at is not None:
        closing = max(0.0, (day.closes_at - now).total_seconds() / 60)
    else:
        assumed.append(f"Nobody said when the hall closes: {NO_CLOSING_MIN:.0f} minutes from now are taken.")
    people = people_of(by)
    busy: dict[str, Hand] = {}
    for hand in open_hands(day):
        if hand.held_by is not None:
            last = busy.get(hand.held_by.called)
            if last is None or hand.since > last.since:  # who has several works on the one taken last
                busy[hand.held_by.called] = hand
    hands, aside, codes = [], [], {}
    for hand in open_hands(day):
        found = _hand(hand, by, closing, now, in_work=hand in busy.values() and _is_there(hand, people))
        if isinstance(found, Aside):
            aside.append(found)
        else:
            hands.append(found)
            codes[found.serial] = hand.code
    names = sorted({n for h in hands for w in h.ways for n in w.spares})
    spares, guessed = spares_of(day, by, names)
    if guessed:
        assumed.append(f"{ASSUMED_SPARES} each are taken of what nobody has counted: {', '.join(guessed)}.")
    return Gathered(
        day=core.Day(closing_min=closing, hands=tuple(hands), people=people, spares=spares),
        codes=codes,
        aside=tuple(aside),
        assumed=tuple(assumed),
    )


def _is_there(hand: Hand, people: Iterable[core.Person]) -> bool:
    return hand.held_by is not None and hand.held_by.called in {p.id for p in people}


def people_of(by: GoneBy) -> tuple[core.Person, ...]:
    """Who is planned with. The lead decides and is not given work."""
    found = []
    for p in Person.objects.filter(is_active=True).order_by("number"):
        if p.number in by.away:
            continue
        skills = {"lead"} if p.is_lead else set()
        if not p.is_lead:
            skills |= {"builder"} if p.may_build else set()
            skills |= {"experienced builder"} if p.may_build and p.number in by.experienced else set()
            skills |= {"inspector"} if p.may_inspect else set()
            skills |= {"fitter"} if p.may_fit else set()
        if skills:
            found.append(core.Person(id=p.called, skills=frozenset(skills)))
    return tuple(found)


def spares_of(day: Day, by: GoneBy, names: Iterable[str]) -> tuple[dict[str, int], list[str]]:
    """How many there are of each: as the lead said, as counted on the lots, else assumed (and named)."""
    counted: dict[str, int] = {}
    for kind, count in Lot.objects.filter(day=day, used_up_at=None).values_list("kind", "spares_count"):
        if count is not None:
            counted[kind] = counted.get(kind, 0) + count
    found, guessed = {}, []
    for name in names:
        if name in by.spares:
            found[name] = int(by.spares[name])
        elif LOTS.get(name) in counted:
            found[name] = counted[LOTS[name]]
        else:
            found[name] = ASSUMED_SPARES
            guessed.append(name)
    return found, guessed


# ---- one hand ----------------------------------------------------------------------------------------


def _hand(hand: Hand, by: GoneBy, closing: float, now: datetime, *, in_work: bool) -> core.OpenHand | Aside:
    if hand.standing == Standing.FOR_LEAD:
        return Aside(code=hand.code, reason="The lead decides about it first.")
    try:
        k = known(hand)
        i = k.inspection()
    except HandselError as error:
        return Aside(code=hand.code, reason=f"Its record cannot be judged: {error.what}.")
    ways = _ways(k, i)
    if not ways:
        return Aside(
            code=hand.code,
            reason="No rework card has been written, and nothing on record says what to do: it is looked at first.",
        )
    after = after_minutes(k.protocol, hand.hold_point)
    least = min(w.minutes + w.wait_minutes + w.recheck_minutes for w in ways)
    if least + after > closing and not in_work:
        return Aside(
            code=hand.code,
            reason=f"About {least + after:.0f} minutes are left to do on it up to the last check, and the hall "
            f"closes in {closing:.0f}: it is finished another day.",
        )
    return core.OpenHand(
        code=hand.recipient_code,
        serial=hand.serial,
        ways=ways,
        severity=_severity(i),
        waiting=by.waiting.get(hand.code, "no"),
        in_work=_in_work(hand, ways[0], now) if in_work else None,
    )


def _severity(i: Inspection) -> str:
    grave = [x.severity for x in i.open_items if x.status == "does not conform"]
    return next((s for s in ("critical", "major", "minor") if s in grave), "major")


def _in_work(hand: Hand, way: core.Way, now: datetime) -> core.InWork:
    looking = hand.standing in (Standing.LOOKING, Standing.ASKED)
    spent = max(timedelta(), now - hand.since).total_seconds() / 60
    whole = way.recheck_minutes if looking else way.minutes
    assert hand.held_by is not None
    return core.InWork(
        way=way.id, by=hand.held_by.called, minutes_left=max(LEAST_LEFT_MIN, whole - spent), looking=looking
    )


def _ways(k: Known, i: Inspection) -> tuple[core.Way, ...]:
    """What can be done with a hand next: its cards, or its building, or only the look that it waits for."""
    hand, protocol = k.hand, k.protocol
    title = next(h.title for h in protocol.hold_points if h.id == hand.hold_point)
    looks = look_minutes(i, protocol, hand.hold_point)
    if hand.standing in (Standing.ASKED, Standing.LOOKING):
        return (
            core.Way(
                id="look", title=f"Look at it: “{title}”", minutes=0.0, skill="",
                recheck_minutes=max(looks, 1.0), p_success=LOOKED_AT_OK,
            ),
        )  # fmt: skip
    if hand.standing == Standing.BUILDING:
        return (
            core.Way(
                id="build",
                title=f"Build it up to “{title}”",
                minutes=max(build_minutes(protocol.sha256).get(hand.hold_point, 0.0), 1.0),
                skill="builder",
                recheck_minutes=max(looks, 1.0),
                p_success=BUILT_OK,
            ),
        )
    cards = open_cards(k.told)
    done = [ReworkDone(rework=r, place=p) for c in cards for r, p in c.reworks]
    if done:
        titles = "; ".join(dict.fromkeys(c.title for c in cards))
        cards_way = way_of_reworks(done, protocol, hold_point=hand.hold_point, id="cards", title=titles)
        return (cards_way, *_as_planned(hand))
    wrong = [x for x in i.work_order if x.status == "does not conform" and x.rework]
    listed = []
    for x in wrong:
        rework = protocol.rework(x.rework[0])
        if rework is not None:
            listed.append(ReworkDone(rework=rework.id, place=rework_place(x, rework, protocol)))
    listed = list(dict.fromkeys(listed))
    usual = (way_of_reworks(listed, protocol, hold_point=hand.hold_point, id="usual"),) if listed else ()
    return (*usual, *_as_planned(hand))


def _as_planned(hand: Hand) -> tuple[core.Way, ...]:
    """The way that the hand's own plan is, from its probable causes, where that was worked out."""
    result = (
        Job.objects.filter(key=hand_plan_key(hand), state=Job.DONE).values_list("result", flat=True).first()
    )
    return (core.Way(**result["way"]),) if result and result.get("way") else ()


def look_minutes(i: Inspection, protocol: Protocol, hold_point: str) -> float:
    """Minutes of looking at what is still to be seen at a hold point."""
    total = 0.0
    for x in i.items:
        c = protocol.characteristic(x.id)
        if c is not None and x.status in ("not seen", "undecided", "does not conform") and (
            protocol.stage(c.hold_point) <= protocol.stage(hold_point)
        ):  # fmt: skip
            total += c.minutes / len(protocol.places(c.per))
    return total


@lru_cache(maxsize=8)
def build_minutes(fingerprint: str) -> dict[str, float]:
    """Minutes of building up to each hold point, as the steps beside the protocol say."""
    stages = build_stages(protocol_kept(fingerprint))
    return {s.hold_point: sum(step.minutes for step in s.steps) for s in stages}


def after_minutes(protocol: Protocol, hold_point: str) -> float:
    """Minutes of building and looking that come after a hold point, up to the last one before the fitting."""
    here, minutes = protocol.stage(hold_point), build_minutes(protocol.sha256)
    later = [h.id for n, h in enumerate(protocol.hold_points) if n > here and h.id != FITTING]
    looks = sum(c.minutes for c in protocol.characteristics if c.hold_point in later)
    return looks + sum(minutes.get(id, 0.0) for id in later)
