"""Who said what of a hand, as far as it still stands: for corrections, and to notice when two people differ."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot
from typing import Any

from handsel.bench.hands.casebook import Told, out_of_force
from handsel.inspection.case import Case, GroupAcceptance, Observation
from handsel.inspection.protocol import CANNOT_TELL, HAND, SUBSTITUTE, Characteristic, Protocol
from handsel.inspection.rules import AnswerRule, NumberRule
from handsel.inspection.seeing import covers
from handsel.inspection.standing import Timeline

APART_U = 3.0  # numbers further apart than this many standard uncertainties differ


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One answer that still stands at one place."""

    seq: int
    number: int  # of the person
    called: str
    of: str
    place: str
    good: bool | None  # None: can't tell, or nothing that is judged
    value: float | None
    method: str
    shown: str
    in_group: bool = False
    u: float | None = None  # of a number that states its own


def said_by_now(told: Iterable[Told], case: Case, protocol: Protocol) -> list[Said]:
    """Every answer that still stands, oldest first; a group taken as shown counts for each thing in it."""
    told = tuple(told)
    gone = out_of_force(told)
    timeline = Timeline(case, protocol)
    names = [f"e{t.seq}" for t in told if t.kind == "did" and t.seq not in gone]
    done, found = 0, []
    for t in told:
        if t.seq in gone:
            continue
        if t.kind == "did":
            done += 1
            continue
        after = names[done - 1] if done else ""
        before = names[done] if done < len(names) else ""
        if t.kind == "observed" and not t.is_for_causes:
            c = protocol.characteristic(t.what["of"])
            if c is not None:
                found += _one(t, c, timeline, after=after, before=before)
        elif t.kind == "as-shown":
            found += _group(t, protocol, timeline, after=after, before=before)
    return found


def _one(t: Told, c: Characteristic, timeline: Timeline, *, after: str, before: str) -> list[Said]:
    w = t.what
    place = w.get("place", "")
    seen = Observation(of=c.id, place=place, method=w.get("method", ""), after=after, before=before)
    if not timeline.stands(seen, c, place):
        return []
    return [said_of(w, c, seq=t.seq, by=t.by)]


def said_of(w: dict[str, Any], c: Characteristic, *, seq: int, by: dict[str, Any]) -> Said:
    """What an observed entry says."""
    return Said(
        seq=seq,
        number=by["number"],
        called=by["called"],
        of=c.id,
        place=w.get("place", ""),
        good=is_good(c, w.get("answer"), w.get("method", "")),
        value=_value(w),
        method=w.get("method", ""),
        shown=shown_answer(w),
        u=w.get("u"),
    )


def _group(t: Told, protocol: Protocol, timeline: Timeline, *, after: str, before: str) -> list[Said]:
    only = tuple((of, place) for of, place in t.what.get("only", ()))
    group = GroupAcceptance(group=t.what["group"], after=after, before=before, only=only)
    return [
        Said(
            seq=t.seq,
            number=t.by["number"],
            called=t.by["called"],
            of=c.id,
            place=place,
            good=True,
            value=None,
            method="",
            shown="as shown",
            in_group=True,
        )
        for c in protocol.members(group.group)
        for place in protocol.places(c.per)
        if covers(group, c, place) and timeline.stands(group, c, place)
    ]


def is_good(c: Characteristic, answer: str | None, method: str) -> bool | None:
    """Whether an answer is as it should be; None for "can't tell" and for numbers."""
    if answer is None or answer == CANNOT_TELL:
        return None
    if method == SUBSTITUTE or not isinstance(c.rule, AnswerRule):
        return answer == "yes"
    return answer in c.rule.accepted


def _value(w: dict[str, Any]) -> float | None:
    readings = w.get("readings") or ()
    if readings:
        return sum(readings) / len(readings)
    value = w.get("value")
    return None if value is None else float(value)


def shown_answer(w: dict[str, Any]) -> str:
    """An answer or number as a person reads it."""
    if w.get("answer") is not None:
        return str(w["answer"])
    unit = {"deg": "°", "percent": " %", "turn": " turns"}.get(w.get("unit", ""), f" {w.get('unit', '')}")
    numbers = w.get("readings") or ([] if w.get("value") is None else [w["value"]])
    if not numbers:
        return ""
    spread = f" ± {2 * w['u']:.1f}{unit} (k = 2)" if isinstance(w.get("u"), (int, float)) else ""
    return " · ".join(f"{x:g}".replace("-", "−") for x in numbers) + unit + spread


def differ(a: Said, b: Said, protocol: Protocol) -> bool:
    """Whether two answers for the same thing cannot both be right."""
    if a.of != b.of or not (a.place == b.place or HAND in (a.place, b.place)):
        return False
    if a.value is not None and b.value is not None:
        c = protocol.characteristic(a.of)
        if c is None or not isinstance(c.rule, NumberRule):
            return False
        u = hypot(*(c.rule.method(s.method).u if s.u is None else s.u for s in (a, b)))
        return abs(a.value - b.value) > APART_U * u
    if a.good is None or b.good is None:
        return False
    return a.good is not b.good or (a.shown != b.shown and "as shown" not in (a.shown, b.shown))


def differences(told: Iterable[Told], case: Case, protocol: Protocol) -> list[tuple[Said, Said]]:
    """Pairs of standing answers by different people that differ: for the lead to have looked at together."""
    by_thing: dict[str, list[Said]] = {}
    for s in said_by_now(told, case, protocol):
        by_thing.setdefault(s.of, []).append(s)
    return [
        (a, b)
        for said in by_thing.values()
        for k, a in enumerate(said)
        for b in said[k + 1 :]
        if a.number != b.number and differ(a, b, protocol)
    ]
