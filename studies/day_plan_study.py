"""Fifty simulated days, planned and first come first served, written to docs/studies/plans.md.

    python studies/day_plan_study.py [--days 50] [--first 0] [--seed 1] [--store FILE]

With --store the days' figures are kept in a file and a later run with --first goes on from there.

Each day has open hands with causes drawn by the catalogue's priors, ways to put them right by the bundled
actions, people of several skills, spares and a closing time. Both rules then live through the same day: work
takes longer or shorter than planned, a rework cures or does not, and a hand that fails the look comes back.
The planned day is planned again every twenty minutes and whenever nobody has anything left to do; the other
takes the next hand in the order in which they came, by its usual way, whenever a person is free.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from statistics import mean, stdev
from time import perf_counter

from handsel.data.load_actions import load_actions
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.inspection.undo import ReworkDone
from handsel.rework.day.calendar import value_of
from handsel.rework.day.model import Day, DayPlan, InWork, OpenHand, Person, Stint, Way
from handsel.rework.day.plan import first_come_first_served, plan_day
from handsel.rework.hand.actions import acts_for
from handsel.rework.ways import way_of_reworks

OUT = Path(__file__).parents[1] / "docs" / "studies" / "plans.md"
AGAIN_MIN = 20.0
DURATION_SD_LOG = 0.3
SECONDS = 1.0
SKILLS = (
    ("builder",),
    ("builder",),
    ("experienced builder",),
    ("inspector",),
    ("builder", "inspector"),
)


def some_ways(rng: Random) -> tuple[Way, ...]:
    """Ways for one cause drawn by the catalogue's priors, as the bundled actions have them."""
    fault = rng.choices(CATALOGUE.faults, [f.kind.prior / len(f.kind.places) for f in CATALOGUE.faults])[0]
    found = []
    for act in acts_for([fault], ACTIONS, CATALOGUE):
        done = [ReworkDone(rework=act.rework, place=act.place)]
        found.append(way_of_reworks(done, PROTOCOL, hold_point="strung", p_success=act.cures[fault.id]))
    found.sort(key=lambda w: w.cuts)  # usual practice: what is gentle first
    return tuple(found[:3])


def some_day(rng: Random) -> Day:
    """A day: more hands than there is time for, on most of them."""
    count, crew = rng.randint(12, 60), rng.randint(4, 12)
    hands = tuple(
        OpenHand(
            code=f"R-{k:03d}",
            serial=f"H-{k:04d}",
            ways=some_ways(rng),
            severity=rng.choices(["critical", "major", "minor"], [1, 7, 2])[0],
            waiting=rng.choices(["here", "appointed", "no"], [2, 2, 6])[0],
        )
        for k in range(count)
    )
    people = tuple(Person(id=f"person {k}", skills=frozenset(SKILLS[k % len(SKILLS)])) for k in range(crew))
    needed: dict[str, int] = {}
    for hand in hands:
        for name in {n for w in hand.ways for n in w.spares}:
            needed[name] = needed.get(name, 0) + 1
    spares = {name: rng.randint(n // 3, n) for name, n in needed.items()}
    return Day(closing_min=float(rng.randint(45, 150)), hands=hands, people=people, spares=spares)


@dataclass(slots=True)
class Live:
    """One day as it is lived."""

    day: Day
    rng_seed: int
    now: float = 0.0
    released: list[OpenHand] = field(default_factory=list)
    busy: dict[str, tuple[float, OpenHand, Way, str]] = field(
        default_factory=dict
    )  # person: end, hand, way, kind
    ready: dict[str, tuple[Way, str, float]] = field(
        default_factory=dict
    )  # serial: way, who did it, from when
    tries: dict[str, int] = field(default_factory=dict)

    def luck(self, hand: OpenHand, what: str) -> Random:
        """The same luck for the same hand, whoever plans."""
        return Random(f"{self.rng_seed} {hand.serial} {what} {self.tries.get(hand.serial, 0)}")

    def lasts(self, hand: OpenHand, minutes: float, what: str) -> float:
        return minutes * self.luck(hand, what).lognormvariate(-0.5 * DURATION_SD_LOG**2, DURATION_SD_LOG)

    def as_planned_from(self) -> Day:
        """What is left of the day, as a plan sees it now."""
        hands = []
        gone = {h.serial for h in self.released}
        doing = {hand.serial: (p, end, way, kind) for p, (end, hand, way, kind) in self.busy.items()}
        for hand in self.day.hands:
            if hand.serial in gone:
                continue
            if hand.serial in doing:
                person, end, way, kind = doing[hand.serial]
                work = InWork(
                    way=way.id, by=person, minutes_left=max(end - self.now, 0.1), looking=kind == "recheck"
                )
                hands.append(replace(hand, in_work=work))
            elif hand.serial in self.ready:
                way, _, _ = self.ready[hand.serial]
                look = replace(way, minutes=0.0, skill="", spares={}, wait_minutes=0.0)
                hands.append(replace(hand, ways=(look,)))
            else:
                hands.append(hand)
        return replace(self.day, closing_min=max(self.day.closing_min - self.now, 0.0), hands=tuple(hands))

    def begin(self, person: str, hand: OpenHand, way: Way, kind: str) -> None:
        """A person takes a hand up."""
        if kind == "rework":
            for name, n in way.spares.items():
                self.day = replace(self.day, spares={**self.day.spares, name: self.day.spares[name] - n})
            minutes = self.lasts(hand, way.minutes, "rework")
        else:
            self.ready.pop(hand.serial, None)
            minutes = self.lasts(hand, way.recheck_minutes, "recheck")
        self.busy[person] = (self.now + minutes, hand, way, kind)

    def finish(self, person: str) -> None:
        """A person is through with a hand."""
        _, hand, way, kind = self.busy.pop(person)
        whole = next(h for h in self.day.hands if h.serial == hand.serial)
        if kind == "rework":
            self.ready[hand.serial] = (way, person, self.now + way.wait_minutes)
        elif self.luck(hand, "cure").random() < way.p_success:
            self.released.append(whole)
        else:
            self.tries[hand.serial] = self.tries.get(hand.serial, 0) + 1

    def can_begin(self, stint: Stint) -> tuple[OpenHand, Way, str] | None:
        """Whether a stint of a plan can begin now; what it then is."""
        whole = next((h for h in self.day.hands if h.serial == stint.serial), None)
        if (
            whole is None
            or whole in self.released
            or any(b[1].serial == stint.serial for b in self.busy.values())
        ):
            return None
        if stint.kind == "recheck":
            made = self.ready.get(stint.serial)
            if made is None or made[2] > self.now + 1e-9 or made[1] == stint.person:
                return None
            return whole, made[0], "recheck"
        return None if stint.serial in self.ready else (whole, whole.ways[0], "rework")

    @property
    def value(self) -> float:
        return sum(self.day.weight(h) for h in self.released)


def live(day: Day, seed: int, *, planned: bool) -> tuple[Live, int, DayPlan | None]:
    """Live through a day by one of both rules; how often it was planned, and the first plan."""
    it, plan, first, plans, made_at = Live(day=day, rng_seed=seed), None, None, 0, -1e9
    while it.now < day.closing_min - 1e-9:
        begun = False
        if planned and (plan is None or it.now - made_at >= AGAIN_MIN):
            plan, made_at, plans = plan_day(it.as_planned_from(), plan, seconds=SECONDS), it.now, plans + 1
            first = first or plan
        for person in day.people:
            if person.id not in it.busy:
                begun = (_by_plan(it, plan, person) if plan else _next_in_line(it, person)) or begun
        ends = [b[0] for b in it.busy.values()]
        waits = [r[2] for r in it.ready.values() if r[2] > it.now + 1e-9]
        if not ends and not waits and not begun:
            if planned and it.now > made_at and _open(it):
                plan, made_at, plans = (
                    plan_day(it.as_planned_from(), plan, seconds=SECONDS),
                    it.now,
                    plans + 1,
                )
                if plan.chosen:
                    continue
            break
        it.now = min([*ends, *waits, *([made_at + AGAIN_MIN] if planned else [])])
        if it.now > day.closing_min + 1e-9:
            break
        for person in [p for p, b in it.busy.items() if b[0] <= it.now + 1e-9]:
            it.finish(person)
    return it, plans, first


def _open(it: Live) -> bool:
    return len(it.released) < len(it.day.hands)


def _by_plan(it: Live, plan: DayPlan, person: Person) -> bool:
    """The person's next stint that can begin."""
    ways = {c.hand.serial: c.way for c in plan.chosen}
    for stint in plan.work_of(person.id):
        found = it.can_begin(stint)
        if found is None:
            continue
        hand, way, kind = found
        if kind == "rework":
            way = next((w for w in hand.ways if w.id == ways[stint.serial].id), way)
            if any(it.day.spares.get(n, 0) < k for n, k in way.spares.items()):
                continue
        it.begin(person.id, hand, way, kind)
        return True
    return False


def _next_in_line(it: Live, person: Person) -> bool:
    """Looks first, then the next hand that came, by its usual way that its try is at and the spares allow."""
    for hand in it.day.hands:
        stint = Stint(person=person.id, serial=hand.serial, kind="recheck", start_min=0, end_min=0)
        if person.can("inspector") and (found := it.can_begin(stint)) is not None:
            it.begin(person.id, *found)
            return True
    for hand in it.day.hands:
        stint = Stint(person=person.id, serial=hand.serial, kind="rework", start_min=0, end_min=0)
        found = it.can_begin(stint)
        if found is None:
            continue
        way = hand.ways[min(it.tries.get(hand.serial, 0), len(hand.ways) - 1)]
        there = all(it.day.spares.get(n, 0) >= k for n, k in way.spares.items())
        in_time = it.now + way.minutes + way.wait_minutes + way.recheck_minutes <= it.day.closing_min
        if person.can(way.skill) and there and in_time:
            it.begin(person.id, hand, way, "rework")
            return True
    return False


PROTOCOL = load_protocol()
CATALOGUE = load_faults("wrist-hand-1", PROTOCOL)
ACTIONS = load_actions("wrist-hand-1-actions", CATALOGUE, PROTOCOL)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--days", type=int, default=50)
    ask.add_argument("--first", type=int, default=0)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--store", type=Path)
    asked = ask.parse_args()
    rows: list[tuple[float, ...]] = []
    if asked.store is not None and asked.store.exists() and asked.first:
        rows = [tuple(json.loads(line)) for line in asked.store.read_text().splitlines()][: asked.first]
    for k in range(asked.first, asked.first + asked.days):
        day = some_day(Random(f"{asked.seed} day {k}"))
        began = perf_counter()
        there, plans, first = live(day, k, planned=True)
        seconds = perf_counter() - began
        line, _, _ = live(day, k, planned=False)
        expected = first.value if first is not None else 0.0
        gap = first.gap_ratio if first is not None else 0.0
        in_line = value_of(day, first_come_first_served(day))
        rows.append(
            (
                len(day.hands), len(day.people), day.closing_min, expected, in_line, gap,
                there.value, line.value, len(there.released), len(line.released), plans, seconds,
            )
        )  # fmt: skip
        print(
            f"day {k:2d}: {len(day.hands):2d} hands, {len(day.people):2d} people, {day.closing_min:3.0f} min: "
            f"planned {expected:5.1f} against {in_line:5.1f} expected, gap {100 * gap:4.1f} %; "
            f"lived {there.value:5.1f} against {line.value:5.1f}, "
            f"{len(there.released)} against {len(line.released)} hands; "
            f"{plans} plans in {seconds:.1f} s",
            flush=True,
        )
        OUT.write_text(report(rows, asked.seed), encoding="utf-8")
        if asked.store is not None:
            asked.store.write_text("".join(json.dumps(r) + "\n" for r in rows))
    OUT.write_text(report(rows, asked.seed), encoding="utf-8")


def _where_worse(rows: list[tuple[float, ...]]) -> str:
    """What the days have in common on which planning brought less."""
    load = [r[0] / (r[1] * r[2] / 60.0) for r in rows]  # hands for an hour of one person
    worse = [x for x, r in zip(load, rows, strict=True) if r[6] < r[7] - 1e-9]
    if not worse:
        return ""
    return (
        f" Where it was worse there were {mean(worse):.1f} hands for an hour of one person, on all days "
        f"{mean(load):.1f}: with time for nearly all, what counts is how soon a hand that came back is taken up "
        f"again, and here the plan is made again every {AGAIN_MIN:.0f} minutes only."
    )


def report(rows: list[tuple[float, ...]], seed: int) -> str:
    """The page."""
    n = len(rows)

    def ratio(a: int, b: int) -> str:
        return f"{sum(r[a] for r in rows) / max(sum(r[b] for r in rows), 1e-9):.2f}"

    gains = [r[6] - r[7] for r in rows]
    half = 1.96 * stdev(gains) / n**0.5 if n > 1 else 0.0
    better = sum(g > 1e-9 for g in gains)
    worse = sum(g < -1e-9 for g in gains)
    lines = [
        "# The day's plan against first come, first served",
        "",
        f"Made by `studies/day_plan_study.py` (seed {seed}, {n} days). Both rules live through the same days with "
        "the same luck; work takes longer or shorter than planned (standard deviation of the logarithm "
        f"{DURATION_SD_LOG:g}), reworks fail as often as their chance says.",
        "",
        "| | planned | first come | ratio |",
        "| --- | ---: | ---: | ---: |",
        f"| weighed releases expected at the start, mean of a day | {mean(r[3] for r in rows):.2f} | "
        f"{mean(r[4] for r in rows):.2f} | {ratio(3, 4)} |",
        f"| weighed releases as lived | {mean(r[6] for r in rows):.2f} | {mean(r[7] for r in rows):.2f} | "
        f"{ratio(6, 7)} |",
        f"| hands released as lived | {mean(r[8] for r in rows):.2f} | {mean(r[9] for r in rows):.2f} | "
        f"{ratio(8, 9)} |",
        "",
        f"Gain as lived: {mean(gains):.2f} ± {half:.2f} weighed releases a day (95 %); better on {better} days, "
        f"worse on {worse}, the same on {n - better - worse}.{_where_worse(rows)}",
        "",
        f"Gap of the first plan to its bound: {100 * mean(r[5] for r in rows):.1f} % on average, "
        f"{100 * max(r[5] for r in rows):.1f} % at most. A day was planned {mean(r[10] for r in rows):.1f} times "
        f"on average.",
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
