"""How people look at a hand in the study of plans: what is not as it should be, and the last look before handing over.

Words: what does not hold is looked at by others until two more say so than say otherwise, or one more says otherwise
(two more, of what did not hold before the rework). Numbers: read until they are clearly on one side of their limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt
from statistics import NormalDist

import numpy as np
from faulty_readings import Said
from faulty_rework import Broken, seen_by_another

from handsel.design.model import Design
from handsel.diagnosis.catalogue import Catalogue
from handsel.inspection.case import Observation
from handsel.inspection.protocol import Protocol
from handsel.inspection.rules import NumberRule
from handsel.inspection.undo import reinspection_set
from handsel.rework.hand.actions import Actions
from handsel.rework.hand.result import PlanStep

MOST_EYES = 6  # that look at one thing before a hand is handed over
SURE_P = 0.85  # that a reading is on one side of its limit: then it is not read once more
SURER = ("photo", "caliper")  # than the other way to read the same thing
SIZES = {
    "part-size": "scale-as-ordered",
    "tip-size": "scale-as-ordered",
}  # limits of one part are those of the hand
NOT_AMISS = {
    "cord-pull": ("smooth", "sticky"),
    "springs-back": ("returns", "slow"),
}  # but for the plain cases
Key = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Last:
    """What comes of the last look before a hand is handed over."""

    wrong: bool
    more_minutes: float = 0.0  # beyond one look at each thing
    said: tuple[Said, ...] = ()  # by the first who looked
    again: tuple[Said, ...] = ()  # by the last, of what is wrong


@dataclass(frozen=True, kw_only=True)
class Looking:
    """What people go by when they look at a hand."""

    protocol: Protocol
    catalogue: Catalogue
    actions: Actions
    design: Design

    def does_not_hold(self, said: Sequence[Said]) -> set[Key]:
        """What is not as it should be, as it was read and answered."""
        found = set()
        for s in said:
            rule = self.rule(s.of, s.place)
            if isinstance(rule, NumberRule):
                low, high = _ends(rule)
                bad = s.value is not None and not low <= s.value <= high
            else:
                bad = rule is not None and s.answer not in rule
            if bad:
                found.add((s.of, s.place))
        return found

    def minutes_of(self, looks: set[Key]) -> float:
        """What one look at each of these takes."""
        known = [self.catalogue.observable(of) for of, _ in looks]
        return sum(o.minutes for o in known if o is not None)

    def rule(self, of: str, place: str) -> NumberRule | tuple[str, ...] | None:
        """Limits or answers as they should be: the protocol's; of looks of the diagnosis, as the catalogue has them."""
        c = self.protocol.characteristic(SIZES.get(of, of))
        if c is not None:
            return c.rule if isinstance(c.rule, NumberRule) else c.rule.accepted
        o = self.catalogue.observable(of)
        if of in NOT_AMISS or o is None or o.kind != "look":
            return NOT_AMISS.get(of)
        return o.answers_of(place)[:1]

    def shown_by(self, step: PlanStep) -> set[Key]:
        """What the causes show that a rework was to cure: looked at as what did not hold before."""
        causes = [f for f in self.catalogue.faults if f.id in step.cures]
        return {
            (x.of, x.place.format_map(self.catalogue.words(f.place))) for f in causes for x in f.kind.signs
        }

    def to_check(self, before: set[Key], step: PlanStep) -> set[Key]:
        """What is looked at after a rework: the protocol's re-checks, what did not hold, what the hand was set by."""
        known = [d for d in step.reworks if self.protocol.rework(d.rework) is not None]
        found = before | {(r.characteristic.id, r.place) for r in reinspection_set(known, self.protocol)}
        if step.sets:
            for of in (*self.actions.setting.reads, *self.actions.setting.looks):
                o = self.catalogue.observable(of)
                found |= {(of, place) for place in (o.places if o is not None else ())}
        return found

    def found_wrong(self, hand: Broken, scope: set[Key], before: set[Key], rng: np.random.Generator) -> Last:
        """The last look at a hand: at everything in scope; before: what did not hold before the rework."""
        eyes = [seen_by_another(hand, self.design, rng) for _ in range(MOST_EYES)]
        by_key = [{(s.of, s.place): s for s in seen} for seen in eyes]
        wrong, more = [], 0.0
        for key in sorted(scope & by_key[0].keys()):
            rule, o = self.rule(*key), self.catalogue.observable(key[0])
            if rule is None or o is None:
                continue
            said = [seen[key] for seen in by_key]
            if isinstance(rule, NumberRule):
                bad, looks = reads_wrong([s.value or 0.0 for s in said], rule, o.sd)
            else:
                bad, looks = looks_wrong([s.answer not in rule for s in said], key in before)
            more += (looks - 1) * o.minutes
            if bad:
                wrong.append(said[max(looks - 1, 1)])
        return Last(wrong=bool(wrong), more_minutes=more, said=tuple(eyes[0]), again=tuple(wrong))


def looks_wrong(bad: Sequence[bool], before: bool) -> tuple[bool, int]:
    """Whether something does not hold, and how many had to look."""
    lead, looks = 0, 0
    for one in bad:
        looks += 1
        lead += 1 if one else -1
        if lead in (2, -2 if before else -1):
            break
    return lead > 0, looks


def reads_wrong(values: Sequence[float], rule: NumberRule, sd: float) -> tuple[bool, int]:
    """Whether a number is outside its limits, and how many had to read it."""
    low, high = _ends(rule)
    for looks in range(1, len(values) + 1):
        mean, u = sum(values[:looks]) / looks, sd / sqrt(looks)
        inside = NormalDist(mean, u).cdf(high) - NormalDist(mean, u).cdf(low)
        if max(inside, 1.0 - inside) >= SURE_P:
            break
    return inside < 0.5, looks


def _ends(rule: NumberRule) -> tuple[float, float]:
    """Between what a number has to be."""
    low = None if rule.limits is None else rule.limits.low
    high = None if rule.limits is None else rule.limits.high
    return -inf if low is None else low, inf if high is None else high


def written(one: Said, other: Said | None, by: str) -> Observation:
    """An answer as a case has it; of two people's readings both where they have one method, else the surer one."""
    if other is not None and other.method != one.method and other.method in SURER:
        one, other = other, None
    both = other is not None and other.method == one.method
    return Observation(
        of=one.of,
        place=one.place,
        answer=one.answer or None,
        value=None if both else one.value,
        readings=(one.value, other.value) if both else (),
        unit=one.unit or None,
        method=one.method,
        by=by,
    )
