"""Plans of single hands, carried out on independent faulty hands in MuJoCo; docs/studies/plans-hand.md.

    python studies/hand_plan_study.py [--hands 200] [--seed S] [--rounds 12] [--cache FOLDER] [--minutes M]
                                      [--keep FOLDER]

A hand is drawn, worked and recorded by a volunteer as in tests/independent. Its plan is followed: what it asks to
look at is answered from the volunteer's record where that was not handed in, else by the one who is going to rework
it, with eyes, instruments and slips of their own; after each round the plan is made again. The rework is done with a
person's errors of cutting, tying, seating, turning and setting. Where the plan says so it ends with reading the hand,
with that person's errors, and setting its slides by that. Then it is looked at before it is handed over, as in
hand_plan_looks.py: if something does not hold, the hand is recorded anew and planned again; else it is handed over,
and counts as good when it fails nothing at all, read without error. With --keep what was drawn and found is kept in a
folder, and a run that was stopped goes on. About six seconds of processor time a hand.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_hand import which_faults
from faulty_readings import Said
from faulty_rework import Broken, broken_hand, rebuilt, seen_by_another
from hand_plan_looks import Key, Last, Looking
from hand_plan_others import Others
from hand_plan_page import Asked, Run, report, summary
from hand_plan_work import Working, case_of

from handsel.data.library_store import build_library, library_place
from handsel.data.load_actions import load_actions
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.diagnosis.fitting import NONE_FITS_P, fit_probability
from handsel.diagnosis.from_case import seen_in_case
from handsel.diagnosis.likelihood import items_of
from handsel.diagnosis.posterior import posterior
from handsel.inspection.case import Case, Observation
from handsel.rework.hand.eyes import looked_twice
from handsel.rework.hand.length_ways import LengthWays, length_ways
from handsel.rework.hand.plan import plan_hand
from handsel.rework.hand.result import AskedLook, HandPlan

OUT = Path(__file__).parents[1] / "docs" / "studies" / "plans-hand.md"
MOST_ROUNDS = 12  # of looks before a rework
MOST_TRIES = 3  # reworks; then the last resort
SEEDS = tomllib.loads((Path(__file__).parent / "hand_plan_seeds.toml").read_text(encoding="utf-8"))


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
        self.looking = Looking(
            protocol=self.protocol, catalogue=self.catalogue, actions=self.actions, design=self.design
        )
        self.library = build_library(at, rounds=tuple(range(rounds)))
        last = self.protocol.rework(self.actions.last_resort.rework)
        self.last_title = last.title if last is not None else ""
        self.others = Others(self.protocol, self.actions)
        self.work = Working(looking=self.looking)
        self.resort_minutes = (
            self.others.last_minutes + self.actions.setting.minutes + self.others.last_recheck_minutes
        )
        self.record_minutes = sum(o.minutes * len(o.places) for o in self.catalogue.observables)
        self._lengths_of: tuple[tuple[Observation, ...], LengthWays | None] | None = None

    def plan(self, r: Record) -> HandPlan:
        """The plan for what has been said so far."""
        case = case_of(r.said, r.again)
        items = items_of(self.catalogue, seen_in_case(case, self.protocol, self.catalogue))
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
        now, minutes, first, handed, apart, evenings = hand, 0.0, None, None, False, 0
        for reworks in range(1, MOST_TRIES + 1):
            wrong = self.looking.does_not_hold(record.said)
            plan, spent, checks = self.decide(record, now, wrong, rng)
            minutes += spent
            wrong |= self.looking.does_not_hold(record.said)  # what the looks asked for have shown besides
            recheck, scope = 0.0, wrong
            if plan is not None:
                step = plan.first_rework()
                now = self.work.done(now, step, rng)
                minutes += step.minutes
                last_resort = step.kind == "last resort"
                apart = apart or (last_resort and handed is None)
                if step.sets or last_resort:
                    now, more, evens = self.work.set_hand(now, step, rng)
                    minutes, evenings = minutes + more, evenings + evens
                    wrong |= self.work.fingers if evens else set()
                if first is None:
                    first = (plan, checks, step.title, not now.fails, now.fails)
                recheck = step.way.recheck_minutes if step.way is not None else 0.0
                shown = self.looking.shown_by(step)
                scope = self.looking.to_check(wrong, step)
                minutes += self.looking.minutes_of(shown - scope)
                wrong, scope = wrong | shown, scope | shown
            last = self.looking.found_wrong(now, scope, wrong, rng) if plan is not None else Last(wrong=False)
            minutes += last.more_minutes
            if last.wrong:
                minutes -= recheck  # no inspector was called
            else:
                handed = (not now.fails, reworks) if handed is None else handed
                if not now.fails:
                    break
                minutes += self.actions.trying.failed_minutes
            minutes += self.record_minutes - self.looking.minutes_of(scope)  # those were just looked at
            record = self.record(now, last.said or seen_by_another(now, self.design, rng), [], rng)
            if last.wrong:
                record.again += last.again
                record.refused |= {(s.of, s.place) for s in last.again}
        else:
            now, more, evens = self.work.set_hand(rebuilt(now, self.design, rng), None, rng)
            minutes, evenings = minutes + self.resort_minutes + more, evenings + evens
            minutes += self.actions.trying.failed_minutes if now.fails else 0.0
            if handed is None:
                handed, apart = (not now.fails, MOST_TRIES + 1), True
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
            fixed_minutes=self.others.in_order(hand),
            restring_minutes=self.others.restring_all(hand),
            left=first[4],
            taken_apart=apart,
            evenings=evenings,
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
                if not r.brought and not self.looking.found_wrong(now, wrong, wrong, rng).wrong:
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


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--hands", type=int, default=200)
    ask.add_argument("--seed", type=int, default=SEEDS["study"])
    ask.add_argument("--rounds", type=int, default=12)
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
            _write(runs, asked, study)
    print(summary(runs))
    if not asked.dev:
        _write(runs, asked, study)


def _write(runs: Sequence[Run], asked: argparse.Namespace, study: Study) -> None:
    """The page as far as it has come."""
    about = Asked(
        seed=asked.seed,
        hands=asked.hands,
        looked_at=tuple(SEEDS["looked_at"]),
        whole=asked.whole,
        simulated=len(study.library.stratum),
        last_title=study.last_title,
        most_tries=MOST_TRIES,
        own_look_sees=study.actions.trying.own_look_sees,
    )
    OUT.write_text(report(runs, about), encoding="utf-8")


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


if __name__ == "__main__":
    main()
