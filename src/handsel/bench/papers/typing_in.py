"""Typing in a traveller that was filled in by pen: the same order, one key for an answer, numbers as written.

A group that was passed by its one box needs its exceptions only; what could hurt someone and numbers are
always typed one by one. What is typed is held against the same rules as an answer from a phone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from handsel.bench.hands.casebook import Told, case_of, protocol_kept, told_of
from handsel.bench.hands.chain import ClientIdTaken, New, append
from handsel.bench.hands.models import Entry, Hand
from handsel.bench.hands.traveller import codes_kept
from handsel.bench.looking.checking import Ground
from handsel.bench.looking.sent import AsShown, Observed, read_one, what_of
from handsel.bench.looking.standing_answers import said_by_now
from handsel.bench.looking.unit_words import unit_sign, unit_words
from handsel.bench.people.models import Person
from handsel.bench.work.planning import spoken
from handsel.inspection.case import Case, GroupAcceptance
from handsel.inspection.deciding import due
from handsel.inspection.protocol import CANNOT_TELL, HAND, Characteristic, Protocol
from handsel.inspection.rules import NumberRule
from handsel.inspection.seeing import covers
from handsel.inspection.standing import Timeline

KEYS = {"yes": "y", "no": "n", CANNOT_TELL: "?"}
MOST_READINGS = 10
LONGEST = 120  # characters in one box
BESIDE = ("corrects", "seen_by")  # added here, not part of what was typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One box of the form: a characteristic at a place, or a group's one box."""

    name: str
    place: str  # in words; "" for the whole hand
    label: str  # for a screen reader
    keys: str  # keys that answer; "" for a number
    is_covered: bool = False  # the group's box stands for it
    value: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One characteristic."""

    code: str
    title: str
    is_critical: bool
    legend: str  # which key stands for what, where they are not y and n
    unit: str
    unit_words: str
    methods: tuple[str, ...]
    method_name: str
    method: str
    boxes: tuple[Box, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One group with its rows."""

    title: str
    how: str
    box: Box | None
    rows: tuple[Row, ...]


@dataclass(kw_only=True)
class Sheet:
    """The form for one hold point of a hand, blank or as it was typed."""

    hand: Hand
    at: str
    typed: Mapping[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.told: tuple[Told, ...] = told_of(self.hand)
        self.protocol: Protocol = protocol_kept(self.hand.protocol_id)
        self.case: Case = case_of(self.hand, self.told)
        here = self.protocol.stage(self.hand.hold_point)
        reached = [h.id for h in self.protocol.hold_points[: here + 1]]
        self.at = self.at if self.at in reached else self.hand.hold_point
        self.stages = [(h.id, h.title) for h in self.protocol.hold_points[: here + 1]]
        self.stage = self.protocol.hold_points[self.protocol.stage(self.at)]
        asked = {c.id for c in due(self.case, self.protocol)}
        self.groups = [
            (g, [c for c in self.protocol.characteristics if c.held == g.id and c.id in asked])
            for g in self.stage.groups
        ]

    # ---- showing --------------------------------------------------------------------------------

    def parts(self) -> list[Part]:
        """The form, group by group."""
        codes = codes_kept(self.hand.protocol_id)
        return [
            Part(
                title=g.title,
                how=g.how,
                box=self._box(f"g:{g.id}", label=f"{g.title}: all as shown", keys="yn")
                if any(self._covered(g.id, c) for c in members)
                else None,
                rows=tuple(self._row(g.id, c, codes[c.id]) for c in members),
            )
            for g, members in self.groups
            if members
        ]

    def _row(self, group: str, c: Characteristic, code: str) -> Row:
        is_number = isinstance(c.rule, NumberRule)
        keys = keys_of(c)
        odd = [f"{k}: {a}" for a, k in keys.items() if k not in "yn?"]
        methods = tuple(m.name for m in c.rule.methods) if isinstance(c.rule, NumberRule) else ()
        return Row(
            code=code,
            title=c.title,
            is_critical=c.severity == "critical",
            legend=", ".join(odd),
            unit=unit_sign(c.rule.unit) if isinstance(c.rule, NumberRule) else "",
            unit_words=unit_words(c.rule.unit) if isinstance(c.rule, NumberRule) else "",
            methods=methods if len(methods) > 1 else (),
            method_name=f"m:{c.id}",
            method=self.typed.get(f"m:{c.id}", ""),
            boxes=tuple(
                self._box(
                    f"a:{c.id}:{place}",
                    place=spoken(place) if place else "",
                    label=f"{code} {c.title}" + (f", {spoken(place)}" if place else ""),
                    keys="" if is_number else "".join(keys.values()),
                    is_covered=self._covered(group, c),
                )
                for place in self.protocol.places(c.per)
            ),
        )

    def _covered(self, group: str, c: Characteristic) -> bool:
        return covers(GroupAcceptance(group=group), c, self.protocol.places(c.per)[0])

    def _box(self, name: str, *, label: str, keys: str, place: str = "", is_covered: bool = False) -> Box:
        return Box(
            name=name,
            place=place,
            label=label,
            keys=keys,
            is_covered=is_covered,
            value=self.typed.get(name, ""),
            error=self.errors.get(name, ""),
        )

    # ---- storing --------------------------------------------------------------------------------

    def news(self, *, person: Person, client_id: str, seen_by: str) -> list[New]:
        """The entries that what was typed makes; mistakes go to `errors`, and then nothing is stored."""
        done = self.case.done
        ground = Ground(
            hand=self.hand,
            protocol=self.protocol,
            case=self.case,
            timeline=Timeline(self.case, self.protocol),
            last_done=done[-1].called if done else "",
        )
        news = []
        for n, (name, data) in enumerate(self._entries(), start=1):
            if not data:
                continue
            common = {"client_id": f"{client_id}-{n}", "by": person.number, "protocol": self.hand.protocol_id}
            sent = read_one(data | common)
            if not isinstance(sent, Observed | AsShown):
                self.errors[name] = "This cannot be read."
                continue
            refusal = ground.refusal(sent)
            if refusal is not None:
                self.errors[name] = f"{refusal.what[:1].upper()}{refusal.what[1:]}."
                continue
            what = {k: v for k, v in what_of(sent).items() if k not in ("tap_ms", "step_ms", "seen_count")}
            what["from"] = "paper"
            if seen_by:
                what["seen_by"] = seen_by
            news.append(New(kind=sent.kind, what=what, client_id=sent.client_id))
        if not news and not self.errors:
            self.errors[""] = "Nothing was typed."
        return news

    def _entries(self) -> list[tuple[str, dict[str, Any]]]:
        """Every box in order with what it says; an empty box keeps its number, so that a resend is the same."""
        found: list[tuple[str, dict[str, Any]]] = []
        for g, members in self.groups:
            name = f"g:{g.id}"
            said = self.typed.get(name, "").strip().lower()
            if said not in ("", "y", "n"):
                self.errors[name] = "Type y, or leave it empty."
            found.append((name, {"kind": "as-shown", "group": g.id} if said == "y" else {}))
            for c in members:
                for place in self.protocol.places(c.per):
                    name = f"a:{c.id}:{place}"
                    found.append((name, self._entry(name, c, place)))
        return found

    def _entry(self, name: str, c: Characteristic, place: str) -> dict[str, Any]:
        said = self.typed.get(name, "").strip()[:LONGEST]
        if not said:
            return {}
        entry: dict[str, Any] = {"kind": "observed", "of": c.id, "place": place}
        keys = {k: a for a, k in keys_of(c).items()}
        if isinstance(c.rule, NumberRule) and said != "?":
            numbers = read_numbers(said)
            if not numbers or len(numbers) > MOST_READINGS:
                self.errors[name] = f"{said[:20]} is no number in {unit_words(c.rule.unit)}."
                return {}
            method = self.typed.get(f"m:{c.id}", "")
            entry |= {"unit": c.rule.unit, "method": method}
            return entry | ({"value": numbers[0]} if len(numbers) == 1 else {"readings": numbers})
        answer = CANNOT_TELL if said == "?" else keys.get(said.lower())
        if answer is None:
            self.errors[name] = f"Type {', '.join(keys)}."
            return {}
        return entry | {"answer": answer}


def keys_of(c: Characteristic) -> dict[str, str]:
    """The key for each answer: y, n and ?, else numbers in the order in which the paper prints them."""
    if isinstance(c.rule, NumberRule):
        return {CANNOT_TELL: "?"}
    plain = [a for a in c.rule.answers if a != CANNOT_TELL]
    keys = {a: KEYS[a] if set(plain) == {"yes", "no"} else str(n) for n, a in enumerate(plain, start=1)}
    return keys | {CANNOT_TELL: "?"}


def read_numbers(said: str) -> list[float]:
    """Numbers as people write them, with point or comma, several with blanks between; empty when one is none."""
    words = [w for w in re.split(r"[\s;]+", said.replace("\u2212", "-")) if w]
    found = []
    for word in words:
        if not re.fullmatch(r"[+-]?[0-9]{1,5}([.,][0-9]{1,4})?", word):
            return []
        found.append(float(word.replace(",", ".")))
    return found


def store(sheet: Sheet, news: list[New], *, person: Person) -> None:
    """Store what was typed; sent twice it is stored once, and other content under the same ids is refused."""
    with transaction.atomic():
        Hand.objects.select_for_update().get(pk=sheet.hand.pk)
        ids = [n.client_id for n in news]
        stored = {e.client_id: e for e in Entry.objects.filter(client_id__in=ids).select_related("hand")}
        fresh = []
        said = said_by_now(told_of(sheet.hand), sheet.case, sheet.protocol) if len(stored) < len(news) else []
        for new in news:
            entry = stored.get(new.client_id)
            if entry is None:
                fresh.append(_correcting(new, said, person))
                continue
            kept = {k: v for k, v in entry.what.items() if k not in BESIDE}
            given = {k: v for k, v in new.what.items() if k not in BESIDE}
            if entry.hand_id != sheet.hand.pk or entry.kind != new.kind or kept != given:
                raise ClientIdTaken(entry, {"kind": new.kind, "what": new.what})
        if fresh:
            append(sheet.hand, fresh, person=person)


def _correcting(new: New, said: list[Any], person: Person) -> New:
    """What the same person said of it before is corrected, not contradicted."""
    what = new.what
    mine = [
        s.seq
        for s in said
        if new.kind == "observed"
        and (s.number, s.of, s.place, s.in_group)
        == (person.number, what["of"], what.get("place", HAND), False)
    ]
    if mine:
        what = what | {"corrects": mine[-1]}
    return New(kind=new.kind, what=what, client_id=new.client_id)
