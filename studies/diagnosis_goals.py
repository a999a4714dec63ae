"""What was wanted of the diagnosis, what came out, and what the ceiling makes of the same hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from diagnosis_minutes import Search
from diagnosis_scores import (
    CALIBRATED_ANEW,
    Calibration,
    Case,
    calibration,
    called_faultless,
    first_where_so_many_are_sound,
    in_top,
    listed,
    log_score,
    macro,
    named_first,
    share,
    stated,
)
from numpy.typing import NDArray

GOAL_TOP_1, GOAL_NEAR_CEILING, GOAL_TOP_3 = 0.85, 0.05, 0.97
GOAL_PAIRS, GOAL_FAULTLESS, GOAL_SLOPE, GOAL_FEWER = 0.75, 0.95, (0.85, 1.15), 0.25
ON_THE_PAGE_P = 0.005  # causes that are less likely are left out there
ROUNDS = 2000

Row = tuple[str, object, str, bool | None]  # what, figure, wanted, whether it is met


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Everything that the report is made of, one entry a hand in each list."""

    tool: Sequence[Case]
    even: Sequence[Case]  # the tool, told the study's own frequencies of kinds
    ceilings: dict[str, Sequence[Case]]  # by name, same hands in the same order
    leaflet: Sequence[Case]
    prior: dict[str, float]
    none_fits: Sequence[bool]
    query_ms: Sequence[float]
    searches: dict[str, Sequence[Search]] = field(default_factory=dict)  # tool, fixed: same hands
    search_kinds: Sequence[str] = ()
    left_out: int = 0
    weights: Sequence[float] = ()  # that make the hands as frequent as the priors say; none: even
    unseen: Sequence[bool] = ()  # of which nobody knew the figures before; none: no hand
    learnt: str = ""  # how the ceiling came about
    draws: int = CALIBRATED_ANEW  # for the intervals of calibrations


def singles(cases: Sequence[Case]) -> list[Case]:
    return [c for c in cases if len(c.true) == 1]


def pairs(cases: Sequence[Case]) -> list[Case]:
    return [c for c in cases if len(c.true) == 2]


def sound(cases: Sequence[Case]) -> list[Case]:
    return [c for c in cases if not c.true]


def is_ceiling(judged: Judged, name: str) -> bool:
    """Whether it says more of the true cause than the diagnosis that was told the same: else it is none."""
    return log_score(singles(judged.ceilings[name])) < log_score(singles(judged.even))


def highest_ceiling(judged: Judged) -> str:
    """Of several, all from below, the one that names most; where none is one, the one that comes nearest."""
    good = [name for name in judged.ceilings if is_ceiling(judged, name)]
    if good:
        return max(good, key=lambda name: macro(singles(judged.ceilings[name]), named_first).value)
    return min(judged.ceilings, key=lambda name: log_score(singles(judged.ceilings[name])))


def goals(judged: Judged, best: str, every: Calibration, usual: Calibration) -> list[str]:
    """A table: every goal of all hands, and beside it of those that nobody had seen."""
    unseen = (
        np.array(judged.unseen, dtype=bool) if len(judged.unseen) else np.zeros(len(judged.tool), dtype=bool)
    )
    rows = _figures(judged, np.ones(len(judged.tool), dtype=bool), best, every)
    beside: list[tuple[str, str]] = []
    if unseen.any():
        mine = [c for c, yes in zip(judged.tool, unseen, strict=True) if yes]
        of_these = calibration([stated(c) for c in mine], draws=judged.draws)
        beside = [(str(row[1]), _met(row[3])) for row in _figures(judged, unseen, best, of_these)]
    rows += [
        ("calibration slope, kinds as frequent as their priors", interval(usual.slope), "0.85 to 1.15",
         GOAL_SLOPE[0] <= usual.slope[0] <= GOAL_SLOPE[1]),
        ("calibration in the large, kinds even [logits]", interval(every.in_the_large), "", None),
        ("calibration in the large, kinds as their priors [logits]", interval(usual.in_the_large), "", None),
    ]  # fmt: skip
    if judged.searches:
        fewer = fewer_minutes(judged)
        met = fewer[0] >= GOAL_FEWER
        rows.append(("fewer minutes than the fixed order", interval(fewer, percent=True), "25 %", met))
    beside += [("", "")] * (len(rows) - len(beside))
    return [
        f"| what | {len(judged.tool)} hands | of these {unseen.sum()} unseen | wanted | all | unseen |",
        "| --- | --- | --- | --- | --- | --- |",
        *(
            f"| {what} | {figure} | {new} | {wanted} | {_met(good)} | {met} |"
            for (what, figure, wanted, good), (new, met) in zip(rows, beside, strict=True)
        ),
    ]


def _met(yes: bool | None) -> str:
    return "" if yes is None else "met" if yes else "**not met**"


def _figures(judged: Judged, which: NDArray[np.bool_], best: str, every: Calibration) -> list[Row]:
    """The figures that can be told of some of the hands as well as of all."""

    def some(cases: Sequence[Case]) -> list[Case]:
        return [c for c, yes in zip(cases, which, strict=True) if yes]

    tool, told, ceiling = some(judged.tool), some(judged.even), some(judged.ceilings[best])
    beyond = is_ceiling(judged, best)
    at_best = macro(singles(ceiling), named_first).value
    return [
        *_reached(tool, "", at_best, beyond, every),
        *_at_best(ceiling, best),
        *_at_one_bar(tool, ceiling),
        *_by_other_counts(tool),
        *_reached(
            told,
            "told the study's frequencies of kinds: ",
            at_best,
            beyond,
            calibration([stated(c) for c in told], draws=judged.draws),
        ),
    ]


def _reached(tool: Sequence[Case], name: str, at_best: float, beyond: bool, slope: Calibration) -> list[Row]:
    """What was wanted, and what came out."""
    one, three = macro(singles(tool), named_first), macro(singles(tool), listed(3))
    both = share([listed(4)(c) for c in pairs(tool)])
    faultless = share([called_faultless(c) for c in sound(tool)])
    near = beyond and one.value >= at_best - GOAL_NEAR_CEILING
    return [
        (f"{name}true cause first, mean over kinds", one, "85 %, or within 5 points of the ceiling",
         one.value >= GOAL_TOP_1 or near),
        (f"{name}true cause among the first three causes, mean over kinds", three, "97 %", three.value >= GOAL_TOP_3),
        (f"{name}both of two faults among the first four causes", both, "75 %", both.value >= GOAL_PAIRS),
        (f"{name}faultless called faultless", faultless, "95 %", faultless.value >= GOAL_FAULTLESS),
        (f"{name}calibration slope, kinds even", interval(slope.slope), "0.85 to 1.15",
         GOAL_SLOPE[0] <= slope.slope[0] <= GOAL_SLOPE[1]),
    ]  # fmt: skip


def _at_best(ceiling: Sequence[Case], best: str) -> list[Row]:
    """The same of someone who knows the generator."""
    return [
        (f"ceiling, true cause first ({best})", macro(singles(ceiling), named_first), "", None),
        ("ceiling, true cause among the first three causes", macro(singles(ceiling), listed(3)), "", None),
        ("ceiling, both of two faults among the first four causes",
         share([listed(4)(c) for c in pairs(ceiling)]), "", None),
        ("ceiling, faultless called faultless", share([called_faultless(c) for c in sound(ceiling)]), "", None),
    ]  # fmt: skip


def _at_one_bar(tool: Sequence[Case], ceiling: Sequence[Case]) -> list[Row]:
    """Who calls fewer hands faultless names more causes: both with the bar that brings the same faultless share."""
    if not sound(tool):
        return []
    as_here = float(np.mean([called_faultless(c) for c in sound(tool)]))
    rows: list[Row] = []
    for wanted, words in (
        (as_here, "as many faultless hands are called faultless as by this diagnosis"),
        (GOAL_FAULTLESS, f"{GOAL_FAULTLESS:.0%} of faultless hands are called faultless"),
    ):
        rows += [
            (f"where {words}: true cause first", first_where_so_many_are_sound(tool, wanted), "", None),
            ("so, the ceiling", first_where_so_many_are_sound(ceiling, wanted), "", None),
        ]
    return rows


def _by_other_counts(tool: Sequence[Case]) -> list[Row]:
    """What other ways to count the same lists would say."""
    most_p = [all(c.said.get(f, 0.0) >= ON_THE_PAGE_P for f in c.true) and listed(4)(c) for c in pairs(tool)]
    return [
        ('with a line for "nothing wrong" counted in the list: among the first three',
         macro(singles(tool), in_top(3)), "", None),
        ('with a line for "nothing wrong" counted in the list: both among the first four',
         share([in_top(4)(c) for c in pairs(tool)]), "", None),
        (f"both of two faults on the hand's page, which leaves out causes below {ON_THE_PAGE_P:.1%}",
         share(most_p), "", None),
        ("first in the list of causes, mean over kinds, whatever the sentence says",
         macro(singles(tool), listed(1)), "", None),
    ]  # fmt: skip


def interval(x: tuple[float, float, float], *, percent: bool = False) -> str:
    if percent:
        return f"{x[0]:.0%} (95 % interval {x[1]:.0%} to {x[2]:.0%})"
    return f"{x[0]:.2f} (95 % interval {x[1]:.2f} to {x[2]:.2f})"


def fewer_minutes(judged: Judged, seed: int = 0) -> tuple[float, float, float]:
    """Share of the fixed order's minutes that the tool saves, with an interval by drawing hands."""
    rng = np.random.default_rng(seed)
    tool = np.array([s.minutes for s in judged.searches["tool"]])
    fixed = np.array([s.minutes for s in judged.searches["fixed"]])
    pick = rng.integers(0, len(tool), (ROUNDS, len(tool)))
    drawn = 1 - tool[pick].mean(1) / fixed[pick].mean(1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(1 - tool.mean() / fixed.mean()), float(low), float(high)
