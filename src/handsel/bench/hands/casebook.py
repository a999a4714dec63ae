"""From a hand's record to the case that the core judges.

The record is a list in time; the case wants to know of each observation between which things done it was
made. So the entries are walked once: an observation stands after the last thing done before it and
before the next one. What was withdrawn or corrected by the same person is left out; what another person
saw stays beside it, and the core weighs both.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from hashlib import sha256
from threading import Lock
from typing import Any

from django.db.models import Q

from handsel.bench.hands.chain import canonical
from handsel.bench.hands.models import Entry, Hand, KeptText
from handsel.data.design_text import design_from_text
from handsel.data.load_protocol import protocol_from_text
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.inspection.case import Case, Concession, Done, GroupAcceptance, HandRecord, Observation
from handsel.inspection.protocol import CANNOT_TELL, SUBSTITUTE, Protocol
from handsel.inspection.rules import NumberRule
from handsel.inspection.standing import Timeline

FOR_CAUSES = "causes"  # "from" of an answer that was given to find a cause: it decides nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One entry, read."""

    seq: int
    kind: str
    at: str
    by: dict[str, Any]
    what: dict[str, Any]

    @property
    def looker(self) -> str:
        """The person as one pair of eyes, whatever role they had: one who looks twice counts once."""
        return f"inspector {self.by['number']}"

    @property
    def is_for_causes(self) -> bool:
        """Whether it was said while looking for the cause of what is wrong: never an inspection's answer."""
        return self.what.get("from") == FOR_CAUSES


def told_of(hand: Hand) -> tuple[Told, ...]:
    """All entries of a hand in order, in one query; two when the record is not the one that was read before.

    A record only grows, so what was read stays read: the newest entry known is fetched with those after it, and
    its fingerprint vouches for all before. Taken by itself this shows no later change; `handsel verify` does.
    """
    return told_of_all([hand.pk])[hand.pk]


def told_of_all(hands: Sequence[int]) -> dict[int, tuple[Told, ...]]:
    """The records of several hands, by primary key, in as many queries as that of one."""
    if not hands:
        return {}
    with _read_guard:
        before = {pk: _read_before[pk] for pk in hands if pk in _read_before}
    new = [pk for pk in hands if pk not in before]
    grown = Q(hand__in=new) if new else Q()
    for pk, (_, told) in before.items():
        grown |= Q(hand=pk, seq__gte=len(told))
    found = _entries(grown, hands)
    other = [pk for pk, (last, _) in before.items() if not found[pk] or found[pk][0][1] != last]
    if other:
        found |= _entries(Q(hand__in=other), other)
    all_told = {}
    for pk in hands:
        entries = found[pk]
        known = before[pk][1] if pk in before and pk not in other else ()
        told = known + tuple(_read_one(record) for record, _ in (entries[1:] if known else entries))
        all_told[pk] = told
        if entries and told[-1].seq == len(told):
            with _read_guard:
                _read_before[pk] = (entries[-1][1], told)
                _read_before.move_to_end(pk)
    with _read_guard:
        while len(_read_before) > MOST_READ:
            _read_before.popitem(last=False)
    return all_told


def _entries(which: Q, hands: Iterable[int]) -> dict[int, list[tuple[bytes, str]]]:
    """Bytes and fingerprint of each entry; no more, since a page of the lead's list reads thousands."""
    found: dict[int, list[tuple[bytes, str]]] = {pk: [] for pk in hands}
    rows = Entry.objects.filter(which).order_by("hand_id", "seq").values_list("hand_id", "record", "sha256")
    for pk, record, digest in rows.iterator(chunk_size=2_000):
        found[pk].append((bytes(record), digest))
    return found


MOST_READ = 150  # records kept read: more than a hall has in hand at once
_read_before: OrderedDict[int, tuple[str, tuple[Told, ...]]] = (
    OrderedDict()
)  # fingerprint of the last, and all
_read_guard = Lock()


def read(entries: Iterable[Entry]) -> tuple[Told, ...]:
    """Entries as data."""
    return tuple(_read_one(bytes(entry.record)) for entry in entries)


def _read_one(record: bytes) -> Told:
    r = json.loads(record)
    return Told(seq=r["seq"], kind=r["kind"], at=r["at"], by=r["by"], what=r["what"])


@lru_cache(maxsize=16)
def protocol_kept(fingerprint: str) -> Protocol:
    """The protocol that a hand is judged by; texts never change under their fingerprint."""
    kept = KeptText.objects.get(pk=fingerprint)
    return protocol_from_text(kept.text, where=f"kept protocol {fingerprint[:12]}")


@lru_cache(maxsize=16)
def design_kept(fingerprint: str) -> Design:
    """The design of a hand, at scale 1 and right."""
    kept = KeptText.objects.get(pk=fingerprint)
    return design_from_text(kept.text, where=f"kept design {fingerprint[:12]}")


@lru_cache(maxsize=32)
def design_placed(fingerprint: str, scale_ratio: float, side: str) -> Design:
    """The design at a hand's scale and side."""
    return placed(design_kept(fingerprint), scale_ratio=scale_ratio, side=side)


def case_of(
    hand: Hand,
    told: Iterable[Told],
    *,
    hold_point: str = "",
    by: str = "inspector",
    with_causes: bool = False,
) -> Case:
    """The case that the record makes, for the hold point the hand is at (or another one asked for).

    What was answered to find a cause is in it only where it is asked for: `with_causes` makes the case that a
    diagnosis takes, which no inspection may judge.
    """
    told = tuple(told)
    gone = out_of_force(told)
    done: list[Done] = []
    observations: list[tuple[int, Told]] = []
    accepted: list[tuple[int, GroupAcceptance]] = []
    concessions: list[Concession] = []
    for t in told:
        w = t.what
        if t.seq in gone:
            continue
        if t.kind == "did":
            done.append(Done(what=w["what"], name=f"e{t.seq}", place=w.get("place", ""), at=w.get("at", "")))
        elif t.kind == "observed" and t.is_for_causes and not with_causes:
            continue
        elif t.kind == "observed":
            observations.append((len(done), t))
        elif t.kind == "as-shown":
            only = tuple((of, place) for of, place in w.get("only", ()))
            accepted.append((len(done), GroupAcceptance(group=w["group"], by=t.looker, only=only)))
        elif t.kind == "conceded":
            concessions.append(
                Concession(of=w["of"], place=w.get("place", ""), by=t.by["called"], reason=w["reason"])
            )
    case = Case(
        name=hand.serial,
        hand=HandRecord(
            code=hand.recipient_code,
            serial=hand.serial,
            design=design_kept(hand.design_id).name,
            scale_ratio=hand.scale_ratio,
            side=hand.side,
            hold_point=hold_point or hand.hold_point,
            target_rest_angle_deg=hand.target_rest_angle_deg,
            latex_sensitive=hand.latex_sensitive,
        ),
        by=by,
        on=date.fromisoformat(told[-1].at[:10]) if told else hand.begun_at.date(),
        observations=tuple(
            _observation(t, after=_called(done, k - 1), before=_called(done, k)) for k, t in observations
        ),
        accepted=tuple(replace(a, after=_called(done, k - 1), before=_called(done, k)) for k, a in accepted),
        concessions=tuple(concessions),
        done=tuple(done),
    )
    return one_number_each(case, protocol_kept(hand.protocol_id))


def one_number_each(case: Case, protocol: Protocol) -> Case:
    """The case with one standing number for each thing: what several people read becomes repeated readings.

    Readings by one method are put together; of different methods the surest is kept, and so is the surest of
    readings that state how sure they are, each by itself: two photos may share the turn of their cards. A refusal by
    the substitute check outweighs a number, and a number every other substitute check. All of it stays on record.
    """
    timeline = Timeline(case, protocol)
    standing: dict[tuple[str, str], list[int]] = {}
    for k, o in enumerate(case.observations):
        c = protocol.characteristic(o.of)
        if c is None or not isinstance(c.rule, NumberRule) or o.answer == CANNOT_TELL:
            continue
        if timeline.stands(o, c, o.place):
            standing.setdefault((o.of, o.place), []).append(k)
    observations: list[Observation | None] = list(case.observations)
    for (of, _), found in standing.items():
        c = protocol.characteristic(of)
        if len(found) < 2 or c is None or not isinstance(c.rule, NumberRule):
            continue
        kept = [k for k in found if case.observations[k].method != SUBSTITUTE]
        refusals = [
            k
            for k in found
            if case.observations[k].method == SUBSTITUTE and case.observations[k].answer == "no"
        ]
        if refusals or not kept:
            for k in set(found) - set(refusals or found):
                observations[k] = None
            continue
        methods = {k: c.rule.method(case.observations[k].method) for k in kept}
        own = {k: case.observations[k].u for k in kept}
        us = {k: methods[k].u if (u := own[k]) is None else u for k in kept}
        first = min(kept, key=lambda k: us[k])
        alike = (
            [first]
            if own[first] is not None
            else [k for k in kept if own[k] is None and methods[k].name == methods[first].name]
        )
        readings = tuple(r for k in alike for r in _readings_of(case.observations[k]))
        for k in found:
            observations[k] = None
        last = case.observations[alike[-1]]
        observations[alike[-1]] = replace(last, value=None, readings=readings) if len(readings) > 1 else last
    return replace(case, observations=tuple(o for o in observations if o is not None))


def _readings_of(o: Observation) -> tuple[float, ...]:
    return o.readings or (() if o.value is None else (o.value,))


def out_of_force(told: Iterable[Told]) -> frozenset[int]:
    """Numbers of the entries that a later one withdraws or corrects."""
    gone: set[int] = set()
    for t in told:
        if t.kind == "withdrawn":
            gone.add(t.what["seq"])
        elif isinstance(t.what.get("corrects"), int):
            gone.add(t.what["corrects"])
    return frozenset(gone)


def _observation(t: Told, *, after: str, before: str) -> Observation:
    w = t.what
    return Observation(
        of=w["of"],
        place=w.get("place", ""),
        answer=w.get("answer"),
        value=w.get("value"),
        readings=tuple(w.get("readings", ())),
        unit=w.get("unit"),
        u=w.get("u"),
        method=w.get("method", ""),
        by=t.looker,
        note=w.get("note", ""),
        after=after,
        before=before,
    )


def _called(done: list[Done], position: int) -> str:
    return done[position].called if 0 <= position < len(done) else ""


def case_key(case: Case, hand: Hand, program_version: str) -> str:
    """Names an answer by everything it depends on: the same case need not be worked out twice."""
    said = {
        "case": repr(replace(case, on=date.min)),
        "design": hand.design_id,
        "protocol": hand.protocol_id,
        "program": program_version,
    }
    return sha256(canonical(said)).hexdigest()
