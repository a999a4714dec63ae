"""Plans of single hands, carried out on independent faulty hands in MuJoCo; docs/studies/plans-hand.md.

    python studies/hand_plan_study.py [--hands 200] [--seed 2031] [--rounds 4] [--cache FOLDER] [--minutes M]

A hand is drawn, worked and recorded by a volunteer as in tests/independent. Its plan is followed: checks are
answered from the volunteer's record, after each the plan is made again, and the first rework is done with a
person's errors of cutting, tying, seating, turning and setting. Then the hand is worked again: does it conform?
If not, the plan goes on without what has been tried, until it conforms or the last resort is reached.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from math import sqrt
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_readings import Said
from faulty_rework import Broken, broken_hand, reworked

from handsel.data.library_store import build_library, library_place
from handsel.data.load_actions import load_actions
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.likelihood import items_of
from handsel.diagnosis.posterior import posterior
from handsel.inspection.case import Case, HandRecord, Observation
from handsel.inspection.protocol import HAND
from handsel.inspection.undo import ReworkDone
from handsel.rework.hand_plan import HandPlan, PlanStep, plan_hand
from handsel.rework.length_ways import length_ways
from handsel.rework.ways import way_of_reworks

OUT = Path(__file__).parents[1] / "docs" / "studies" / "plans-hand.md"
MOST_CHECKS = 12
Z = 1.645  # one-sided 95 %


@dataclass(frozen=True, kw_only=True)
class Run:
    """One hand and what its plan came to."""

    number: int
    faults: tuple[str, ...]
    promised_p: float
    promised_minutes: float
    checks: int
    first: str
    good: bool  # after the first rework
    minutes: float  # until it conformed, or the last resort
    fixed_minutes: float
    restring_minutes: float
    left: tuple[str, ...]  # what it still failed after the first rework


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
        self.hand = HandRecord(
            code="R-014", serial="H-1", design="linden", scale_ratio=1.0, side="right", hold_point="strung"
        )

    def case(self, said: Sequence[Said]) -> Case:
        """The answers as a case."""
        seen = tuple(
            Observation(
                of=s.of,
                place=s.place,
                answer=s.answer or None,
                value=s.value,
                unit=s.unit or None,
                method=s.method,
            )
            for s in said
        )
        return Case(name="study", hand=self.hand, by="inspector 2", on=date(2026, 11, 21), observations=seen)

    def plan(self, said: Sequence[Said], refused: set[tuple[str, str]], *, again: bool = False) -> HandPlan:
        """The plan for what has been said so far."""
        case = self.case(said)
        items = items_of(self.catalogue, seen_in_case(case, self.protocol, self.catalogue))
        p = posterior(self.library, self.catalogue, items)
        return plan_hand(
            p,
            self.catalogue,
            self.actions,
            self.protocol,
            hold_point="strung",
            lengths=length_ways(case, self.protocol, self.design),
            none_fits=bool(fit_probability(self.catalogue, p.rows, p.weight, items) < NONE_FITS_P),
            done={i.key for i in items} | refused,
            looked_again=again,
        )

    def run(self, hand: Broken, rng: np.random.Generator) -> Run:
        """Follow the plan of one hand."""
        said = [s for s in hand.said if s.given or self.whole]
        kept = {(s.of, s.place): s for s in hand.said}
        refused: set[tuple[str, str]] = set()
        minutes, checks, again = 0.0, 0, False
        plan = opening = self.plan(said, refused)
        while plan.first.kind == "check" or not plan.first.reworks:
            if checks >= MOST_CHECKS and plan.first.kind == "check":
                break
            minutes += plan.first.minutes
            if plan.first.kind != "check":  # looked at again: it does not conform, since it has a fault
                again = True
            else:
                checks += 1
                key = (plan.first.of, plan.first.place)
                if key in kept and kept[key] not in said:
                    said.append(kept[key])
                else:
                    refused.add(key)  # this volunteer cannot tell
            plan = self.plan(said, refused, again=again)
        step = plan.first_rework()
        first = step.title
        after = self.done(hand, step, rng)
        minutes += step.minutes
        good, left, now = not after.fails, after.fails, after
        while now.fails:
            turn = next((t.step for t in step.then if t.on == "not yet"), None)
            while turn is not None and turn.kind == "check":  # answers of a reworked hand are not on record
                ahead = [t for t in turn.then if t.step is not None]
                turn = max(ahead, key=lambda t: t.probability).step if ahead else None
            if turn is None or turn.kind == "last resort":
                minutes += LAST_MINUTES
                break
            step = turn
            minutes += step.minutes
            now = self.done(now, step, rng)
        return Run(
            number=hand.number,
            faults=tuple(str(f) for f in hand.faults),
            promised_p=plan.p_first_try,
            promised_minutes=opening.expected_minutes,
            checks=checks,
            first=first,
            good=good,
            minutes=minutes,
            fixed_minutes=self.in_order(hand),
            restring_minutes=self.restring_all(hand),
            left=left,
        )

    def done(self, hand: Broken, step: PlanStep, rng: np.random.Generator) -> Broken:
        """A rework done to a hand."""
        if step.kind == "last resort":
            return replace(hand, faults=(), fails=())
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
        return minutes + LAST_MINUTES

    def _place(self, rework: str) -> str:
        found = self.protocol.rework(rework)
        places = self.protocol.places(found.per) if found is not None else (HAND,)
        return places[0]


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--hands", type=int, default=200)
    ask.add_argument("--seed", type=int, default=2031)
    ask.add_argument("--rounds", type=int, default=4)
    ask.add_argument("--cache", type=Path)
    ask.add_argument("--minutes", type=float, default=1e9)
    ask.add_argument("--whole", action="store_true", help="start from a complete record, nothing left out")
    ask.add_argument("--dev", action="store_true", help="print only, write no page")
    asked = ask.parse_args()
    study, runs, began = Study(asked.rounds, asked.cache, whole=asked.whole), [], perf_counter()
    number = 0
    while len(runs) < asked.hands and (perf_counter() - began) / 60.0 < asked.minutes:
        number += 1
        hand = broken_hand(study.design, asked.seed, number)
        if not hand.faults:
            continue
        r = study.run(hand, np.random.default_rng([asked.seed, number, 7]))
        runs.append(r)
        print(json.dumps({**vars(r), "minutes": round(r.minutes, 1)}), flush=True)
        if not asked.dev and len(runs) % 5 == 0:
            OUT.write_text(report(runs, asked, study), encoding="utf-8")
    print(summary(runs))
    if not asked.dev:
        OUT.write_text(report(runs, asked, study), encoding="utf-8")


def lower(good: int, n: int) -> float:
    """Wilson's lower 95 % bound of a share."""
    p = good / n
    middle = p + Z * Z / (2 * n)
    return (middle - Z * sqrt(p * (1 - p) / n + Z * Z / (4 * n * n))) / (1 + Z * Z / n)


def summary(runs: Sequence[Run]) -> list[tuple[str, int, float, float, float]]:
    """For all, one fault and two: hands, share good at the first try, its lower bound, and what was promised."""
    rows = []
    for name, count in (("all", None), ("one fault", 1), ("two faults", 2)):
        some = [r for r in runs if count is None or len(r.faults) == count]
        if some:
            good = sum(r.good for r in some)
            promised = sum(r.promised_p for r in some) / len(some)
            rows.append((name, len(some), good / len(some), lower(good, len(some)), promised))
    return rows


def report(runs: Sequence[Run], asked: Any, study: Study) -> str:
    """The page."""
    n = len(runs)
    spent = sum(r.minutes for r in runs)
    fixed, restring = sum(r.fixed_minutes for r in runs), sum(r.restring_minutes for r in runs)
    lines = [
        "# Plans of single hands, carried out in MuJoCo",
        "",
        f"Made by `studies/hand_plan_study.py`: seed {asked.seed}, {n} hands with one or two faults, library of "
        f"{len(study.library.stratum)} simulated hands. Each would conform but for its faults. The plan starts from "
        + ("a volunteer's complete record." if study.whole else "what a volunteer handed in, gaps and all."),
        "",
        "| hands | n | good at the first try | lower 95 % bound | promised beforehand |",
        "| --- | ---: | ---: | ---: | ---: |",
        *(
            f"| {name} | {m} | {100 * share:.0f} % | {100 * low:.0f} % | {100 * promised:.0f} % |"
            for name, m, share, low, promised in summary(runs)
        ),
        "",
        f"Minutes to a conforming hand, mean: {spent / n:.0f} by the plan (promised "
        f"{sum(r.promised_minutes for r in runs) / n:.0f}, which counts a quarter of an hour for each try that "
        f"fails); {restring / n:.0f} when everything is restrung first (the plan takes {spent / restring:.2f} of "
        f"that); {fixed / n:.0f} when the protocol's reworks for what fails are tried in their order, each at the "
        f"right place at once (the plan takes {spent / fixed:.2f} of that). "
        f"Checks asked for: {sum(r.checks for r in runs) / n:.1f} a hand.",
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
        "| kind | n | good at the first try |",
        "| --- | ---: | ---: |",
    ]
    kinds = sorted({r.faults[0].split("@")[0] for r in runs if len(r.faults) == 1})
    for kind in kinds:
        some = [r for r in runs if len(r.faults) == 1 and r.faults[0].split("@")[0] == kind]
        lines.append(f"| {kind} | {len(some)} | {sum(r.good for r in some)} |")
    return "\n".join([*lines, ""])


LAST_MINUTES = 114.0  # as the bundled actions have it


if __name__ == "__main__":
    main()
