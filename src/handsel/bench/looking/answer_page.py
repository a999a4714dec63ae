"""What the answer page shows: the decision as recorded, and behind it all that was worked out for it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.utils import timezone

from handsel.bench.hands.casebook import Told
from handsel.bench.hands.models import Hand, Standing
from handsel.bench.jobs.models import Job
from handsel.bench.looking.answering import Known, known
from handsel.bench.people.models import Person
from handsel.rework.result import FixKind

NOBODY_AFTER = timedelta(
    seconds=8
)  # a job that waits this long with none being worked on: no worker is there


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """The answer is being worked out, or should be."""

    sentence: str  # what is known already without the mechanics
    open_count: int
    state: str  # "working", "nobody", "failed", "moved on"
    what: str = ""
    do: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """The one button."""

    words: str
    small: str = ""
    url: str = ""  # a way
    post: str = ""  # or something to be done


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A decision, ready to be shown."""

    seq: int
    hold_point: str
    verdict: str
    word: str
    sentence: str
    by: str
    at: str
    next_step: NextStep
    open: list[dict[str, Any]] = field(default_factory=list)
    fix_steps: list[dict[str, str]] = field(default_factory=list)
    fix_words: str = ""
    cautions: list[str] = field(default_factory=list)
    recheck: list[dict[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    facts: list[tuple[str, str]] = field(default_factory=list)
    drawing: str = ""
    seen: int = 0
    kept: bool = True  # the full answer is still at hand
    added_since: int = 0  # answers that came after the decision


WORDS = {
    "release": ("conforms", "Good"),
    "rework": ("does not conform", "To put right"),
    "scrap part": ("does not conform", "A part must be made again"),
    "not decided yet": ("undecided", "Not decided yet"),
}


def last_decision(told: tuple[Told, ...]) -> Told | None:
    """The newest decision of an inspection."""
    return next((t for t in reversed(told) if t.kind == "decided"), None)


def waiting_for(k: Known) -> Waiting | None:
    """The state of an answer that was asked for and is not on record yet; None when none is awaited."""
    job = Job.objects.filter(key__startswith=f"decide-{k.hand.pk}-").order_by("-queued_at").first()
    if job is None:
        return None
    asked_at = job.payload["count"]
    decided = last_decision(k.told)
    if decided is not None and decided.seq > asked_at:
        return None
    i = k.inspection()
    blocking = [x for x in i.open_items if x.blocks]
    sentence = "Nothing seen so far stands in the way." if not blocking else i.sentence
    said: dict[str, Any] = {"sentence": sentence, "open_count": len(blocking)}
    if job.state == Job.FAILED and job.error:
        return Waiting(**said, state="failed", what=job.error["what"], do=job.error["do"])
    if job.state == Job.DONE:
        if k.hand.entry_count == asked_at:
            return Waiting(**said, state="working")
        return Waiting(
            **said,
            state="moved on",
            what="Something was added to the hand while its answer was worked out.",
            do="Ask again: the answer then counts it too.",
        )
    idle = job.state == Job.QUEUED and not Job.objects.filter(kind="answer", state=Job.WORKING).exists()
    if idle and timezone.now() - job.queued_at > NOBODY_AFTER:
        return Waiting(
            **said,
            state="nobody",
            what="Nobody works answers out at the moment: that part of the bench has stopped.",
            do="Tell the lead to start the bench again. Nothing is lost, and this page goes on by itself.",
        )
    return Waiting(**said, state="working")


def answer_for(k: Known, person: Person) -> Answer | None:
    """The newest decision with all that is known about it; None when the hand was never decided."""
    decided = last_decision(k.told)
    if decided is None:
        return None
    w = decided.what
    verdict, word = WORDS[w["whole"]]
    stage = next((h.title for h in k.protocol.hold_points if h.id == w["hold_point"]), w["hold_point"])
    found = full_answer(w["case_key"])
    common: dict[str, Any] = {
        "seq": decided.seq,
        "hold_point": stage,
        "verdict": verdict,
        "word": word,
        "sentence": w["sentence"],
        "by": decided.by["called"],
        "at": decided.at,
        "next_step": _next_step(k, decided, person),
        "added_since": sum(
            t.seq > decided.seq and t.kind in ("observed", "as-shown", "withdrawn") and not t.is_for_causes
            for t in k.told
        ),
    }
    if found is None:
        titles = {c.id: c.title for c in k.protocol.characteristics}
        rows = [
            {
                "title": o.get("title") or titles.get(o["of"], o["of"]),
                "place": o["place"],
                "status": o["status"],
                "reason": o.get("reason", ""),
            }
            for o in w["open"]
        ]
        fix = w.get("fix", {})
        return Answer(
            **common,
            open=rows,
            kept=False,
            fix_steps=[{"words": s} for s in fix.get("steps", ())] if verdict == "does not conform" else [],
            fix_words=fix.get("sentence", ""),
            cautions=fix.get("cautions", []),
        )
    a = found["assessment"]
    items = {(i["id"], i["place"]): i for i in a["items"]}
    return Answer(
        **common,
        open=_open(a, items),
        # What is not decided needs a look, and the sentence names it.
        fix_steps=[{"words": s} for s in a["fix"]["steps"]] if verdict == "does not conform" else [],
        fix_words=a["fix"]["sentence"],
        cautions=list(dict.fromkeys([*a["fix"]["cautions"], *a["cautions"]])),
        recheck=_together(_due_by_then(k, w["hold_point"], a["recheck"])),
        notes=[*a["notes"], *a["advisories"]],
        facts=_facts(a),
        drawing=for_page(found["drawing"]),
        seen=sum(i["status"] in ("conforms", "recorded") for i in a["items"]),
    )


def full_answer(case_key: str) -> dict[str, Any] | None:
    """What was worked out for the case that a decision was made on."""
    if not case_key:
        return None
    job = Job.objects.filter(key=f"answer-{case_key}", state=Job.DONE).first()
    return None if job is None else job.result


def for_page(svg: str) -> str:
    """Our own drawing, without its style element: the page brings the colours, for day and night."""
    svg = re.sub(r"<style>.*?</style>", "", svg, flags=re.DOTALL)
    return re.sub(r' style="stroke-width: ([0-9.]+)px"', r' stroke-width="\1"', svg)


def _open(a: dict[str, Any], items: dict[tuple[str, str], dict[str, Any]]) -> list[dict[str, Any]]:
    """Open items, those of one characteristic together, gravest first."""
    rows: dict[tuple[str, str, str], dict[str, Any]] = {}
    for id_, place in a["open_items"]:
        i = items[(id_, place)]
        row = rows.setdefault((id_, i["status"], i["reason"]), dict(i) | {"places": []})
        if place:
            row["places"].append(place.replace("-", " "))
    # Graver first, as it was; what is wrong before what nobody has looked at.
    order = ("does not conform", "undecided", "not seen")
    found = sorted(rows.values(), key=lambda r: order.index(r["status"]))
    return [r | {"place": ", ".join(r["places"])} for r in found]


def _due_by_then(k: Known, hold_point: str, recheck: list[dict[str, str]]) -> list[dict[str, str]]:
    """What comes at a later hold point anyway is not told twice."""
    reached = k.protocol.stage(hold_point)
    asked = {c.id for c in k.protocol.characteristics if k.protocol.stage(c.hold_point) <= reached}
    return [r for r in recheck if r["id"] in asked]


def _together(recheck: list[dict[str, str]]) -> list[dict[str, str]]:
    """What to look at again, each characteristic once with its places."""
    rows: dict[str, list[str]] = {}
    for r in recheck:
        rows.setdefault(r["title"], []).append(r["place"].replace("-", " "))
    return [{"title": t, "place": ", ".join(p for p in places if p)} for t, places in rows.items()]


def _facts(a: dict[str, Any]) -> list[tuple[str, str]]:
    """Numbers behind the sentence, each with its spread."""
    found = []
    for label, key in (("Now", "now"), ("After it", "after")):
        told = a["now"] if key == "now" else a["fix"]["after"]
        if told is not None:
            e = told["worked_rest_angle_deg"]
            found.append(
                (
                    f"{label}, worked rest angle",
                    f"{_num(e['value'])}° (95 %: {_num(e['low'])}° to {_num(e['high'])}°)",
                )
            )
    if a["fix"]["p_success"] is not None and a["fix"]["kind"] != FixKind.NOTHING:
        found.append(("That the fix is enough", f"{100 * a['fix']['p_success']:.0f} %"))
    for cord in (a["lengths"] or {"cords": ()})["cords"]:
        e = cord["excess_mm"]
        told = f"{_num(abs(e['value']))} mm too {'long' if e['value'] > 0 else 'short'}"
        if abs(e["value"]) <= 2 * e["u"]:
            told = "right, as far as the readings tell"
        found.append((cord["title"].capitalize(), f"{told} (± {_num(2 * e['u'])} mm, k = 2)"))
    found.append(("Aimed at", f"{_num(a['target_deg'])}°"))
    r = a["record"]
    found.append(("Judged by", f"{r['protocol_id']}, design {r['design_name']} {r['design_version']}"))
    return found


def _num(x: float) -> str:
    return f"{x:.1f}".replace("-", "−")


def _next_step(k: Known, decided: Told, person: Person) -> NextStep:
    """The one thing to do now."""
    hand: Hand = k.hand
    base = f"/h/{hand.code}"
    if k.hand.standing in (Standing.RELEASED, Standing.HANDED_OVER, Standing.SCRAPPED):
        return NextStep(words="See the hand's page", url=f"{base}/")
    whole = decided.what["whole"]
    if whole == "release":
        return _go_on(k, decided, person, base)
    if whole == "scrap part":
        if person.is_lead:
            return NextStep(words="Decide about it", url=f"{base}/decide/")
        return NextStep(
            words="Give it to the lead", small="The lead sees it already. On to the next hand.", url="/"
        )
    if whole == "rework":
        cards = [t for t in k.told if t.kind == "ordered" and t.seq > decided.seq]
        if cards:
            return NextStep(
                words="See the rework card" if len(cards) == 1 else f"See the {len(cards)} rework cards",
                small="Give it to a builder with the hand.",
                url=f"{base}/cards/{cards[0].seq}/" if len(cards) == 1 else f"{base}/",
            )
        return NextStep(
            words="Make the rework card", small="A builder finds the steps there.", post=f"{base}/order/"
        )
    return _undecided(k, person, base)


def _go_on(k: Known, decided: Told, person: Person, base: str) -> NextStep:
    following = decided.what["next_hold_point"]
    if not following:
        if person.may("fit"):
            return NextStep(words="Release it", url=f"{base}/release/")
        return NextStep(words="Pass it to the fitter", small="It can be released.", url="/")
    title = next((h.title for h in k.protocol.hold_points if h.id == following), following)
    if decided.what.get("next_is_fitting"):
        if person.may("fit"):
            return NextStep(words="Fit it", url=f"{base}/fit/")
        return NextStep(words="Pass it to the fitter", small="Then take the next hand.", url="/")
    return NextStep(
        words="Pass it back to its builder", small=f"It goes on to “{title}”. Then the next hand.", url="/"
    )


def _undecided(k: Known, person: Person, base: str) -> NextStep:
    from handsel.bench.looking.screens import looking_page

    page = looking_page(k, person)
    left = sum(len(c["due"]) for g in page["groups"] for c in g["checks"])
    if left:
        return NextStep(words="Look at what is left", small=f"{left} to answer", url=f"{base}/look/")
    open_ = [i for i in k.inspection().open_items if i.blocks]
    if any("another person" in i.reason for i in open_):
        return NextStep(
            words="Pass it to another inspector", small="A second pair of eyes decides it.", url="/"
        )
    if person.is_lead:
        return NextStep(words="Decide about it", url=f"{base}/decide/")
    return NextStep(words="Ask the lead", small="The lead sees it already.", url="/")


def read_answer(hand: Hand, person: Person) -> tuple[Known, Waiting | None, Answer | None]:
    """All that the answer page needs."""
    k = known(hand)
    waiting = waiting_for(k)
    return k, waiting, None if waiting is not None else answer_for(k, person)
