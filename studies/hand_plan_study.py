"""Plans of single hands, carried out on independent faulty hands in MuJoCo; docs/studies/plans-hand.md.

    python studies/hand_plan_study.py [--hands 200] [--seed 2033] [--rounds 4] [--cache FOLDER] [--minutes M]
                                      [--keep FOLDER]

A hand is drawn, worked and recorded by a volunteer as in tests/independent. Its plan is followed: what it asks to
look at is answered from the volunteer's record where that was not handed in, else by the one who is going to rework
it, with eyes, instruments and slips of their own; after each round the plan is made again. The rework is done with a
person's errors of cutting, tying, seating, turning and setting. Where the plan says so it ends with reading the hand,
with that person's errors, and setting its slides by that. Then whoever reworked makes the protocol's re-checks: if
something does not hold as they see it, the hand is recorded anew and planned again; else it is handed over, and
counts as good when it fails nothing at all, read without error. With --keep what was drawn and found is kept in a
folder, and a run that was stopped goes on.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from math import inf, sqrt
from pathlib import Path
from statistics import NormalDist
from time import perf_counter
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_hand import which_faults
from faulty_readings import Said
from faulty_rework import Broken, broken_hand, reworked, seen_by_another, without_faults

from handsel.data.library_store import build_library, library_place
from handsel.data.load_actions import load_actions
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.posterior import posterior
from handsel.inspection.case import Case, HandRecord, Observation
from handsel.inspection.protocol import HAND
from handsel.inspection.rules import NumberRule
from handsel.inspection.undo import ReworkDone, reinspection_set
from handsel.rework.hand.eyes import items_of_people, looked_twice
from handsel.rework.hand.length_ways import LengthWays, length_ways
from handsel.rework.hand.plan import plan_hand
from handsel.rework.hand.result import AskedLook, HandPlan, PlanStep
from handsel.rework.setting import LEFT_ALONE_P
from handsel.rework.ways import way_of_reworks

OUT = Path(__file__).parents[1] / "docs" / "studies" / "plans-hand.md"
MOST_ROUNDS = 12  # of looks before a rework
MOST_TRIES = 3  # reworks; then the last resort
MOST_SETTINGS = 2  # rounds of reading and setting
MOST_EYES = 6  # that look at one thing before a hand is handed over
SURE_P = 0.85  # that a reading is on one side of its limit: then it is not read once more
SIZES = {"part-size": "scale-as-ordered", "tip-size": "scale-as-ordered"}  # limits of one part are those of the hand
NOT_AMISS = {"cord-pull": ("smooth", "sticky"), "springs-back": ("returns", "slow")}  # but for the plain cases
Key = tuple[str, str]
SURER = ("photo", "caliper")  # than the other way to read the same thing
Z = 1.645  # one-sided 95 %


@dataclass(frozen=True, kw_only=True)
class Run:
    """One hand and what its plan came to."""

    number: int
    faults: tuple[str, ...]
    promised_first: float  # probability that the first rework makes it conform, as the plan then said
    promised_handed: float  # and that it conforms when first handed over
    promised_minutes: float
    checks: int  # before the first rework
    first: str
    good_first: bool  # after the first rework
    good_handed: bool  # when first handed over
    reworks: int  # before it was first handed over
    minutes: float  # until it conformed, or the last resort
    fixed_minutes: float
    restring_minutes: float
    left: tuple[str, ...]  # what it still failed after the first rework


@dataclass(slots=True, kw_only=True)
class Record:
    """What has been said of a hand as it is now."""

    said: list[Said]
    others: dict[Key, Said]  # what somebody else would say
    not_yet: dict[Key, Said]  # what the first person was not asked or did not hand in
    again: list[Said]
    refused: set[Key]
    brought: bool = False  # the hand as it was brought, with its faults
    looked_again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Last:
    """What comes of the last look before a hand is handed over."""

    wrong: bool
    more_minutes: float = 0.0  # beyond one look at each thing
    said: tuple[Said, ...] = ()  # by the first who looked
    again: tuple[Said, ...] = ()  # by the last, of what is wrong


class Study:
    """Everything that stays the same from hand to hand."""

    def __init__(self, rounds: int, cache: Path | None, *, whole: bool) -> None:
        self.whole = whole
        self.protocol = load_protocol()
        self.catalogue = load_faults("wrist-hand-1", self.protocol)
        self.actions = load_actions("wrist-hand-1-actions", self.catalogue, self.protocol)
        self.design = load_design("linden")
        key = sha256(design_path("linden").read_bytes()).hexdigest()
        at = library_place(self.catalogue, self.design, key, 1.0, cache=cache)
        self.library = build_library(at, rounds=tuple(range(rounds)))
        last = self.protocol.rework(self.actions.last_resort.rework)
        self.last_title = last.title if last is not None else ""
        # The last resort: for what the plan is compared with, and for the plan, with setting and own re-checks besides.
        way = way_of_reworks(
            [ReworkDone(rework=self.actions.last_resort.rework)], self.protocol, hold_point="strung"
        )
        self.last_minutes = way.minutes + self.actions.last_resort.extra_minutes + way.recheck_minutes
        self.resort_minutes = self.last_minutes + self.actions.setting.minutes + way.recheck_minutes
        self.record_minutes = sum(o.minutes * len(o.places) for o in self.catalogue.observables)
        self._lengths_of: tuple[tuple[Observation, ...], LengthWays | None] | None = None
        self.hand = HandRecord(
            code="R-014", serial="H-1", design="linden", scale_ratio=1.0, side="right", hold_point="strung"
        )

    def case(self, said: Sequence[Said], again: Sequence[Said]) -> Case:
        """The answers as a case: the volunteer's, and those of whoever is going to rework it."""
        numbers = {(s.of, s.place): s for s in again if s.value is not None}
        seen = [_written(s, numbers.get((s.of, s.place)), "") for s in said]
        seen += [_written(s, None, "builder 3") for s in again if s.value is None]
        return Case(
            name="study", hand=self.hand, by="inspector 2", on=date(2026, 11, 21), observations=tuple(seen)
        )

    def plan(self, r: Record) -> HandPlan:
        """The plan for what has been said so far."""
        case = self.case(r.said, r.again)
        items = items_of_people(case, self.protocol, self.catalogue)
        p = posterior(self.library, self.catalogue, items)
        return plan_hand(
            p,
            self.catalogue,
            self.actions,
            self.protocol,
            hold_point="strung",
            lengths=self.lengths(case),
            none_fits=bool(fit_probability(self.catalogue, p.rows, p.weight, items) < NONE_FITS_P),
            seen=items,
            done=r.refused | looked_twice(case),
            looked_again=r.looked_again,
        )

    def lengths(self, case: Case) -> LengthWays | None:
        """What slides and cords would bring; worked out anew only when something that tells of lengths was said."""
        told = tuple(o for o in case.observations if self.protocol.characteristic(o.of) is not None)
        if self._lengths_of is None or self._lengths_of[0] != told:
            self._lengths_of = told, length_ways(case, self.protocol, self.design, self.actions.setting)
        return self._lengths_of[1]

    def run(self, hand: Broken, rng: np.random.Generator) -> Run:
        """Follow the plan of one hand."""
        said = list(hand.said)
        kept = [s for s in said if s.given or self.whole]
        record = self.record(hand, kept, [s for s in said if s not in kept], rng)
        record.brought = True
        opening = self.plan(record)
        now, minutes, first, handed = hand, 0.0, None, None
        for reworks in range(1, MOST_TRIES + 1):
            wrong = self.does_not_hold(record.said)
            plan, spent, checks = self.decide(record, now, wrong, rng)
            minutes += spent
            recheck, scope = 0.0, wrong
            if plan is not None:
                step = plan.first_rework()
                now = self.done(now, step, rng)
                minutes += step.minutes
                if step.sets:
                    now = self.set_slides(now, rng)
                if first is None:
                    first = (plan, checks, step.title, not now.fails, now.fails)
                recheck = step.way.recheck_minutes if step.way is not None else 0.0
                shown = self.shown_by(step)
                scope = self.to_check(wrong, step)
                minutes += self.minutes_of(shown - scope)
                wrong, scope = wrong | shown, scope | shown
            last = self.found_wrong(now, scope, wrong, rng) if plan is not None else Last(wrong=False)
            minutes += last.more_minutes
            if last.wrong:
                minutes -= recheck  # no inspector was called
            else:
                handed = (not now.fails, reworks) if handed is None else handed
                if not now.fails:
                    break
                minutes += self.actions.trying.failed_minutes
            minutes += self.record_minutes - self.minutes_of(scope)  # those were just looked at
            record = self.record(now, last.said or seen_by_another(now, self.design, rng), [], rng)
            if last.wrong:
                record.again += last.again
                record.refused |= {(s.of, s.place) for s in last.again}
        else:
            minutes += self.resort_minutes
            handed = (True, MOST_TRIES + 1) if handed is None else handed
        if first is None or handed is None:
            raise RuntimeError("no rework was asked for")
        return Run(
            number=hand.number,
            faults=tuple(str(f) for f in hand.faults),
            promised_first=first[0].p_first_try,
            promised_handed=first[0].p_handed_over,
            promised_minutes=opening.expected_minutes,
            checks=first[1],
            first=first[2],
            good_first=first[3],
            good_handed=handed[0],
            reworks=handed[1],
            minutes=minutes,
            fixed_minutes=self.in_order(hand),
            restring_minutes=self.restring_all(hand),
            left=first[4],
        )

    def record(
        self, hand: Broken, said: Sequence[Said], missing: Sequence[Said], rng: np.random.Generator
    ) -> Record:
        """A record to begin with, and what somebody else would say of the same hand."""
        return Record(
            said=list(said),
            others={(s.of, s.place): s for s in seen_by_another(hand, self.design, rng)},
            not_yet={(s.of, s.place): s for s in missing},
            again=[],
            refused=set(),
        )

    def decide(
        self, r: Record, now: Broken, wrong: set[Key], rng: np.random.Generator
    ) -> tuple[HandPlan | None, float, int]:
        """Look at what the plan asks for until it asks for a rework; minutes and looks that took.

        No plan: asked to look again at what did not hold, one found that it holds. Never of a hand as it was brought.
        """
        minutes, checks, rounds = 0.0, 0, 0
        plan = self.plan(r)
        while not plan.first.changes_something and rounds < MOST_ROUNDS:
            rounds, minutes = rounds + 1, minutes + plan.first.minutes
            if plan.first.kind != "check":
                r.looked_again = True
                if not r.brought and not self.found_wrong(now, wrong, wrong, rng).wrong:
                    return None, minutes, checks
                twice = wrong & r.others.keys() - r.refused
                r.again += [r.others[key] for key in sorted(twice)]
                r.refused |= twice
            for look in plan.first.asked:
                checks += 1
                self._answer(r, look)
            plan = self.plan(r)
        return plan, minutes, checks

    def _answer(self, r: Record, look: AskedLook) -> None:
        key = (look.of, look.place)
        if look.again:
            r.again.append(r.others[key])
            r.refused.add(key)  # two have looked, whether by one method or by two
        elif key in r.not_yet:
            r.said.append(r.not_yet[key])
        else:
            r.refused.add(key)  # nobody who made these records was asked that

    def set_slides(self, hand: Broken, rng: np.random.Generator) -> Broken:
        """Read the hand and set screws and thumb pin by that; once more where that was not enough."""
        for _ in range(MOST_SETTINGS):
            seen = [s for s in seen_by_another(hand, self.design, rng) if s.of in self.actions.setting.reads]
            ways = length_ways(self.case(seen, ()), self.protocol, self.design)
            if (
                ways is None
                or ways.slides is None
                or ways.now_p >= LEFT_ALONE_P
                or ways.slides.p_success <= ways.now_p
            ):
                break
            hand = reworked(
                hand,
                self.design,
                reworks=[ReworkDone(rework=r) for r in ways.slides.reworks],
                cures=(),
                turns=ways.slides.screw_turns,
                pin_mm=ways.slides.thumb_pin_mm,
                finished_mm={},
                rng=rng,
            )
        return hand

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
        return {(x.of, x.place.format_map(self.catalogue.words(f.place))) for f in causes for x in f.kind.signs}

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
        """What comes of the last look before a hand is handed over, and what it takes beyond one look at each thing.

        Words: what does not hold is looked at by others until two more say so than say otherwise, or one more
        says otherwise; two more, of what did not hold before the rework. Numbers: read until they are clearly on
        one side of their limit; of as many readings as there may be the mean counts.
        """
        eyes = [seen_by_another(hand, self.design, rng) for _ in range(MOST_EYES)]
        by_key = [{(s.of, s.place): s for s in seen} for seen in eyes]
        wrong, more = [], 0.0
        for key in sorted(scope & by_key[0].keys()):
            rule, o = self.rule(*key), self.catalogue.observable(key[0])
            if rule is None or o is None:
                continue
            said = [seen[key] for seen in by_key]
            if isinstance(rule, NumberRule):
                bad, looks = _reads_wrong([s.value or 0.0 for s in said], rule, o.sd)
            else:
                bad, looks = _looks_wrong([s.answer not in rule for s in said], key in before)
            more += (looks - 1) * o.minutes
            if bad:
                wrong.append(said[max(looks - 1, 1)])
        return Last(wrong=bool(wrong), more_minutes=more, said=tuple(eyes[0]), again=tuple(wrong))

    def done(self, hand: Broken, step: PlanStep, rng: np.random.Generator) -> Broken:
        """A rework done to a hand."""
        if step.kind == "last resort":  # every part looked at and built anew
            return without_faults(hand, self.design)
        w = step.lengths
        return reworked(
            hand,
            self.design,
            reworks=step.reworks,
            cures=step.cures,
            turns=w.screw_turns if w is not None else 0.0,
            pin_mm=w.thumb_pin_mm if w is not None else 0.0,
            finished_mm=w.finished_mm if w is not None else {},
            rng=rng,
        )

    def in_order(self, hand: Broken) -> float:
        """Minutes when the reworks that an unaided person would think of are tried in the protocol's order.

        The reworks that the protocol names for what the hand fails, one after the other, each at the right
        place at once, until all of its faults have had theirs; else the last resort. That is kind to it.
        """
        named: set[str] = set()
        for name in hand.fails:
            for c in self.protocol.characteristics:
                if c.id == name or c.id.startswith(name):
                    named |= set(c.rework)
        order = [r.id for r in self.protocol.reworks if r.id in named]
        return self._until_cured(hand, order)

    def restring_all(self, hand: Broken) -> float:
        """Minutes when everything is restrung first, and the last resort follows where that is not enough."""
        return self._until_cured(hand, ["restring-all"])

    def _until_cured(self, hand: Broken, order: Sequence[str]) -> float:
        left, minutes = {f.kind for f in hand.faults}, 0.0
        if not left:
            return minutes
        for id in order:
            rework = self.protocol.rework(id)
            if rework is None or rework.refer:
                continue
            way = way_of_reworks(
                [ReworkDone(rework=id, place=self._place(id))], self.protocol, hold_point="strung"
            )
            minutes += way.minutes + way.recheck_minutes
            left -= {
                c.fault for a in self.actions.actions if a.rework == id and a.by != "slides" for c in a.cures
            }
            if not left:
                return minutes
            minutes += self.actions.trying.failed_minutes  # handed over, and it came back
        return minutes + self.last_minutes

    def _place(self, rework: str) -> str:
        found = self.protocol.rework(rework)
        places = self.protocol.places(found.per) if found is not None else (HAND,)
        return places[0]


def _looks_wrong(bad: Sequence[bool], before: bool) -> tuple[bool, int]:
    """Whether something does not hold, and how many had to look."""
    lead, looks = 0, 0
    for one in bad:
        looks += 1
        lead += 1 if one else -1
        if lead in (2, -2 if before else -1):
            break
    return lead > 0, looks


def _reads_wrong(values: Sequence[float], rule: NumberRule, sd: float) -> tuple[bool, int]:
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


def _written(one: Said, other: Said | None, by: str) -> Observation:
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


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--hands", type=int, default=200)
    ask.add_argument("--seed", type=int, default=2033)
    ask.add_argument("--rounds", type=int, default=4)
    ask.add_argument("--cache", type=Path)
    ask.add_argument("--minutes", type=float, default=1e9)
    ask.add_argument("--whole", action="store_true", help="start from a complete record, nothing left out")
    ask.add_argument("--keep", type=Path, help="folder for what was drawn and found; a stopped run goes on")
    ask.add_argument("--dev", action="store_true", help="print only, write no page")
    asked = ask.parse_args()
    study, began, number = Study(asked.rounds, asked.cache, whole=asked.whole), perf_counter(), 0
    drawn, found = Kept(asked.keep, f"hands-{asked.seed}"), Kept(asked.keep, f"runs-{asked.seed}")
    runs: list[Run] = []
    while len(runs) < asked.hands and (perf_counter() - began) / 60.0 < asked.minutes:
        number += 1
        if not which_faults(study.design, np.random.default_rng([asked.seed, number]), number):
            continue
        run = found.get(number)
        if run is None:
            hand = drawn.get(number)
            if hand is None:
                hand = broken_hand(study.design, asked.seed, number)
                drawn.put(number, hand)
            run = study.run(hand, np.random.default_rng([asked.seed, number, 7]))
            found.put(number, run)
            print(json.dumps({**vars(run), "minutes": round(run.minutes, 1)}), flush=True)
        runs.append(run)
        if not asked.dev and len(runs) % 10 == 0:
            OUT.write_text(report(runs, asked, study), encoding="utf-8")
    print(summary(runs))
    if not asked.dev:
        OUT.write_text(report(runs, asked, study), encoding="utf-8")


class Kept:
    """What this study has made before, in a file of its own that nobody else writes; nothing without a folder."""

    def __init__(self, folder: Path | None, name: str) -> None:
        self.path = None if folder is None else folder / f"{name}.pkl"
        there = self.path is not None and self.path.exists()
        self.all: dict[int, Any] = pickle.loads(self.path.read_bytes()) if self.path and there else {}

    def get(self, number: int) -> Any:
        return self.all.get(number)

    def put(self, number: int, made: Any) -> None:
        self.all[number] = made
        if self.path is not None:
            beside = self.path.with_suffix(".new")
            beside.write_bytes(pickle.dumps(self.all))
            beside.replace(self.path)


def lower(good: int, n: int) -> float:
    """Wilson's lower 95 % bound of a share."""
    p = good / n
    middle = p + Z * Z / (2 * n)
    return (middle - Z * sqrt(p * (1 - p) / n + Z * Z / (4 * n * n))) / (1 + Z * Z / n)


@dataclass(frozen=True, kw_only=True)
class Share:
    """How often something came true in some hands, and what was promised."""

    name: str
    hands: int
    first: int  # good after the first rework
    handed: int  # good when first handed over
    promised_first: float
    promised_handed: float


def summary(runs: Sequence[Run]) -> list[Share]:
    """For all, one fault and two."""
    rows = []
    for name, count in (("all", None), ("one fault", 1), ("two faults", 2)):
        some = [r for r in runs if count is None or len(r.faults) == count]
        if some:
            rows.append(
                Share(
                    name=name,
                    hands=len(some),
                    first=sum(r.good_first for r in some),
                    handed=sum(r.good_handed for r in some),
                    promised_first=sum(r.promised_first for r in some) / len(some),
                    promised_handed=sum(r.promised_handed for r in some) / len(some),
                )
            )
    return rows


def report(runs: Sequence[Run], asked: Any, study: Study) -> str:
    """The page."""
    n = len(runs)
    spent, promised = sum(r.minutes for r in runs), sum(r.promised_minutes for r in runs)
    fixed, restring = sum(r.fixed_minutes for r in runs), sum(r.restring_minutes for r in runs)
    lines = [
        "# Plans of single hands, carried out in MuJoCo",
        "",
        f"Made by `studies/hand_plan_study.py`: seed {asked.seed}, {n} hands with one or two faults, library of "
        f"{len(study.library.stratum)} simulated hands. Each would conform but for its faults. The plan starts from "
        + ("a volunteer's complete record." if study.whole else "what a volunteer handed in, gaps and all."),
        "",
        "After the first rework: with the setting of the slides by the hand's own readings, where the rework is one "
        "of cords or slides. When first handed over: whoever reworked made the protocol's re-checks first, and took it "
        "up again where something did not hold as they saw it. A hand is good when nothing fails, read without error.",
        "",
        "| hands | n | good after the first rework | lower 95 % bound | promised | good when first handed over "
        "| lower 95 % bound | promised |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
        *(
            f"| {s.name} | {s.hands} | {100 * s.first / s.hands:.0f} % | {100 * lower(s.first, s.hands):.0f} % "
            f"| {100 * s.promised_first:.0f} % | {100 * s.handed / s.hands:.0f} % "
            f"| {100 * lower(s.handed, s.hands):.0f} % | {100 * s.promised_handed:.0f} % |"
            for s in summary(runs)
        ),
        "",
        f"Reworks before a hand was first handed over: {sum(r.reworks for r in runs) / n:.2f}. "
        f"Looks asked for before the first rework: {sum(r.checks for r in runs) / n:.1f} a hand; "
        f"{sum(r.checks > 0 for r in runs)} of {n} plans began with some. "
        f"In {sum(r.first.startswith(study.last_title) for r in runs)} the first rework was the last resort, "
        "everything apart and built again, which is taken to succeed.",
        "",
        f"Minutes to a conforming hand, mean: {spent / n:.0f} by the plan, with looks, settings and a quarter of an "
        f"hour for each hand that came back (expected beforehand: {promised / n:.0f}); {restring / n:.0f} when "
        f"everything is restrung first (the plan takes {spent / restring:.2f} of that); {fixed / n:.0f} when the "
        f"protocol's reworks for what fails are tried in their order, each at the right place at once, none with a "
        f"slip, and a quarter of an hour for each that was not enough (the plan takes {spent / fixed:.2f} of that).",
        "",
        "What was still failed after the first rework, most often first:",
        "",
    ]
    counts: dict[str, int] = {}
    for r in runs:
        for name in r.left:
            counts[name] = counts.get(name, 0) + 1
    lines += [f"- {name}: {count}" for name, count in sorted(counts.items(), key=lambda c: -c[1])[:8]] or [
        "- nothing"
    ]
    lines += [
        "",
        "By kind of fault (hands with one fault):",
        "",
        "| kind | n | good after the first rework | good when first handed over |",
        "| --- | ---: | ---: | ---: |",
    ]
    kinds = sorted({r.faults[0].split("@")[0] for r in runs if len(r.faults) == 1})
    for kind in kinds:
        some = [r for r in runs if len(r.faults) == 1 and r.faults[0].split("@")[0] == kind]
        good = sum(r.good_first for r in some), sum(r.good_handed for r in some)
        lines.append(f"| {kind} | {len(some)} | {good[0]} | {good[1]} |")
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    main()
