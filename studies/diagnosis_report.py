"""The report of the diagnosis study, from cases that are already judged. No diagnosis is made here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from diagnosis_minutes import Search
from diagnosis_scores import (
    CALIBRATED_ANEW,
    FAULTLESS,
    Calibration,
    Case,
    Share,
    calibration,
    first_stated,
    in_top,
    log_score,
    macro,
    right_kind,
    share,
    stated,
)
from numpy.typing import NDArray

BINS = (0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0001)
GOAL_TOP_1, GOAL_NEAR_CEILING, GOAL_TOP_3 = 0.85, 0.05, 0.97
GOAL_PAIRS, GOAL_FAULTLESS, GOAL_SLOPE, GOAL_FEWER = 0.75, 0.95, (0.85, 1.15), 0.25
ROUNDS = 2000


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


def report(judged: Judged, written_by: str, setting: Sequence[str]) -> str:
    tool = singles(judged.tool)
    best = highest_ceiling(judged)
    ceiling = singles(judged.ceilings[best])
    every = calibration([stated(c) for c in judged.tool], draws=judged.draws)
    first = calibration([first_stated(c) for c in judged.tool], draws=judged.draws)
    usual = calibration([stated(c) for c in judged.tool], judged.weights or None, draws=judged.draws)
    lines = [
        "# How well a cause is named",
        "",
        written_by,
        "",
        "## What was simulated",
        "",
        *(f"- {line}" for line in setting),
        "",
        "## What came out",
        "",
        *_goals(judged, best, every, usual),
        "",
        "## Kind by kind",
        "",
        "Hands with this one fault. A cause counts as named only with its right place; `kind` leaves the place"
        " open. Most often said instead: first in the list when it is not the true one.",
        "",
        *_by_kind(tool, ceiling),
        "",
        "## What the stated probabilities are worth",
        "",
        *_calibrations(judged, every, first, usual),
        "",
        "## Ceiling, leaflet and prior",
        "",
        *_others(judged, tool),
    ]
    if judged.searches:
        lines += ["", "## Minutes until the true cause is named", "", *_minutes(judged)]
    return "\n".join(lines) + "\n"


def _met(yes: bool | None) -> str:
    return "" if yes is None else "met" if yes else "**not met**"


Row = tuple[str, object, str, bool | None]  # what, figure, wanted, whether it is met


def _goals(judged: Judged, best: str, every: Calibration, usual: Calibration) -> list[str]:
    """Every goal of all hands, and beside it of those that nobody had seen."""
    unseen = (
        np.array(judged.unseen, dtype=bool) if len(judged.unseen) else np.zeros(len(judged.tool), dtype=bool)
    )
    rows = _figures(judged, np.ones(len(judged.tool), dtype=bool), best, every)
    beside: list[str] = [""] * len(rows)
    if unseen.any():
        mine = [c for c, yes in zip(judged.tool, unseen, strict=True) if yes]
        beside = [
            str(r[1])
            for r in _figures(
                judged, unseen, best, calibration([stated(c) for c in mine], draws=judged.draws)
            )
        ]
    rows += [
        ("calibration slope, kinds as frequent as their priors", _interval(usual.slope), "0.85 to 1.15",
         GOAL_SLOPE[0] <= usual.slope[0] <= GOAL_SLOPE[1]),
        ("calibration in the large, kinds even [logits]", _interval(every.in_the_large), "", None),
        ("calibration in the large, kinds as their priors [logits]", _interval(usual.in_the_large), "", None),
    ]  # fmt: skip
    if judged.searches:
        fewer = fewer_minutes(judged)
        rows.append(
            (
                "fewer minutes than the fixed order",
                _interval(fewer, percent=True),
                "25 %",
                fewer[0] >= GOAL_FEWER,
            )
        )
    beside += [""] * (len(rows) - len(beside))
    return [
        f"| what | {len(judged.tool)} hands | of these {unseen.sum()} unseen | wanted | all |",
        "| --- | --- | --- | --- | --- |",
        *(
            f"| {what} | {figure} | {new} | {wanted} | {_met(good)} |"
            for (what, figure, wanted, good), new in zip(rows, beside, strict=True)
        ),
    ]


def _figures(judged: Judged, which: NDArray[np.bool_], best: str, every: Calibration) -> list[Row]:
    """The figures that can be told of some of the hands as well as of all."""

    def some(cases: Sequence[Case]) -> list[Case]:
        return [c for c, yes in zip(cases, which, strict=True) if yes]

    tool, told, ceiling = some(judged.tool), some(judged.even), some(judged.ceilings[best])
    one, three, at_best = (
        macro(singles(cases), in_top(n)) for cases, n in ((tool, 1), (tool, 3), (ceiling, 1))
    )
    near = one.value >= at_best.value - GOAL_NEAR_CEILING and is_ceiling(judged, best)
    near_told = macro(singles(told), in_top(1)).value >= at_best.value - GOAL_NEAR_CEILING and is_ceiling(
        judged, best
    )
    rows: list[Row] = [
        ("true cause first, mean over kinds", one, "85 %, or within 5 points of the ceiling",
         one.value >= GOAL_TOP_1 or near),
        (f"ceiling, true cause first ({best})", at_best, "", None),
        ("true cause among the first three, mean over kinds", three, "97 %", three.value >= GOAL_TOP_3),
        ("ceiling, true cause among the first three", macro(singles(ceiling), in_top(3)), "", None),
    ]  # fmt: skip
    for name, cases in (("", tool), ("told the study's frequencies of kinds, ", told)):
        both = share([in_top(4)(c) for c in cases if len(c.true) == 2])
        sound = share([called_faultless(c) for c in cases if not c.true])
        slope = every if not name else calibration([stated(c) for c in cases], draws=judged.draws)
        if name:
            first, third = macro(singles(cases), in_top(1)), macro(singles(cases), in_top(3))
            rows += [
                (f"{name}true cause first", first, "85 %, or within 5 points of the ceiling",
                 first.value >= GOAL_TOP_1 or near_told),
                ("so told, among the first three", third, "97 %", third.value >= GOAL_TOP_3),
            ]  # fmt: skip
        told_so = "so told, " if name else ""
        rows += [
            (f"{told_so}both of two faults among the first four", both, "75 %", both.value >= GOAL_PAIRS),
            (f"{told_so}faultless called faultless", sound, "95 %", sound.value >= GOAL_FAULTLESS),
            (f"{told_so}calibration slope, kinds even", _interval(slope.slope), "0.85 to 1.15",
             GOAL_SLOPE[0] <= slope.slope[0] <= GOAL_SLOPE[1]),
        ]  # fmt: skip
    faulty = [among_causes(c) for c in singles(tool)]
    rows += [
        ("of faulty hands, first in the list of causes, which has no line for \"nothing wrong\"",
         macro(faulty, in_top(1)), "", None),
        ("so, among the first three", macro(faulty, in_top(3)), "", None),
        ("so, both of two faults among the first four",
         share([in_top(4)(among_causes(c)) for c in tool if len(c.true) == 2]), "", None),
        ("ceiling, both of two faults among the first four",
         share([in_top(4)(c) for c in ceiling if len(c.true) == 2]), "", None),
        ("ceiling, faultless called faultless", share([called_faultless(c) for c in ceiling if not c.true]), "", None),
    ]  # fmt: skip
    return rows


def is_ceiling(judged: Judged, name: str) -> bool:
    """Whether it says more of the true cause than the diagnosis that was told the same: else it is none."""
    return log_score(singles(judged.ceilings[name])) < log_score(singles(judged.even))


def highest_ceiling(judged: Judged) -> str:
    """Of several, all from below, the one that names most; where none is one, the one that comes nearest."""
    good = [name for name in judged.ceilings if is_ceiling(judged, name)]
    if good:
        return max(good, key=lambda name: macro(singles(judged.ceilings[name]), in_top(1)).value)
    return min(judged.ceilings, key=lambda name: log_score(singles(judged.ceilings[name])))


def among_causes(c: Case) -> Case:
    """The list of causes as it is shown: without a line for a hand with no fault."""
    causes = {f: p for f, p in c.said.items() if f != FAULTLESS}
    return Case(true=c.true, said=causes, kind_of_case=c.kind_of_case)


def called_faultless(c: Case) -> bool:
    """Nothing wrong is likelier than any cause."""
    return c.rank(FAULTLESS) == 1


def _interval(x: tuple[float, float, float], *, percent: bool = False) -> str:
    if percent:
        return f"{x[0]:.0%} (95 % interval {x[1]:.0%} to {x[2]:.0%})"
    return f"{x[0]:.2f} (95 % interval {x[1]:.2f} to {x[2]:.2f})"


def _by_kind(tool: list[Case], ceiling: list[Case]) -> list[str]:
    table = [
        "| fault | hands | first | first three | kind | ceiling, first | most often said instead |",
        "| --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for kind in sorted({c.kind_of_case for c in tool}):
        mine = [c for c in tool if c.kind_of_case == kind]
        best = [in_top(1)(c) for c in ceiling if c.kind_of_case == kind]
        wrong = Counter(_kind(_first(c)) + _where(c) for c in mine if not in_top(1)(c))
        instead = ", ".join(f"{name} {n}" for name, n in wrong.most_common(3))
        one, three = share([in_top(1)(c) for c in mine]), share([in_top(3)(c) for c in mine])
        table.append(
            f"| {kind} | {one.count} | {one.value:.0%} (≥ {one.lower:.0%}) | {three.value:.0%}"
            f" (≥ {three.lower:.0%}) | {np.mean([right_kind(c) for c in mine]):.0%} | {np.mean(best):.0%} | {instead} |"
        )
    return table


def _first(c: Case) -> str:
    return max(c.said, key=lambda f: c.said[f])


def _kind(fault: str) -> str:
    return fault.split("@")[0]


def _where(c: Case) -> str:
    return " elsewhere" if _kind(_first(c)) == c.kind_of_case else ""


def _calibrations(judged: Judged, every: Calibration, first: Calibration, usual: Calibration) -> list[str]:
    lines = [
        f"- Every cause stated with 1 % or more, {every.count} probabilities of {every.hands} hands, kinds"
        f" even: slope {_interval(every.slope)}; in the large {_interval(every.in_the_large)} logits; stated"
        f" {every.expected:.0f}, seen {every.seen:.0f}.",
        f"- The first cause alone: slope {_interval(first.slope)}; in the large"
        f" {_interval(first.in_the_large)} logits; stated {first.expected:.0f}, seen {first.seen:.0f}.",
        "- The study has as many hands of a rare kind as of a common one, and fewer faultless ones and pairs than"
        " the priors speak of. Hands weighed to the catalogue's priors instead: slope"
        f" {_interval(usual.slope)}; in the large {_interval(usual.in_the_large)} logits.",
        "",
        "| stated | probabilities | mean stated | so it was |",
        "| --- | ---: | ---: | ---: |",
    ]
    p = np.concatenate([stated(c)[0] for c in judged.tool])
    y = np.concatenate([stated(c)[1] for c in judged.tool])
    for low, high in zip(BINS[:-1], BINS[1:], strict=True):
        some = (p >= low) & (p < high)
        if some.any():
            name = f"{low:.0%} to {min(high, 1.0):.0%}"
            lines.append(f"| {name} | {some.sum()} | {p[some].mean():.3f} | {y[some].mean():.3f} |")
    return lines


def _others(judged: Judged, tool: list[Case]) -> list[str]:
    lines = [
        "Logarithmic score: mean of -ln of the probability of the one true cause with its place, hands with one"
        " fault; smaller is better.",
        "",
        "| | first | first three | log score |",
        "| --- | ---: | ---: | ---: |",
    ]
    rows = {"this diagnosis": tool, "this diagnosis, told the study's frequencies": singles(judged.even)}
    rows |= {f"ceiling: {name}": singles(cases) for name, cases in judged.ceilings.items()}
    rows["leaflet of symptoms"] = singles(judged.leaflet)
    for name, cases in rows.items():
        one, three = macro(cases, in_top(1)), macro(cases, in_top(3))
        lines.append(f"| {name} | {one.value:.1%} | {three.value:.1%} | {log_score(cases):.3f} |")
    if judged.learnt:
        lines[:0] = [judged.learnt, ""]
    score = log_score(tool, lambda _: judged.prior)
    lines.append(f"| prior alone | | | {score:.3f} |")
    fits = {
        "no fault": [f for c, f in zip(judged.tool, judged.none_fits, strict=True) if not c.true],
        "one fault": [f for c, f in zip(judged.tool, judged.none_fits, strict=True) if len(c.true) == 1],
        "two faults": [f for c, f in zip(judged.tool, judged.none_fits, strict=True) if len(c.true) == 2],
    }
    said = "; ".join(f"{name} {np.mean(f):.1%}" for name, f in fits.items() if f)
    ms = np.array(judged.query_ms)
    lines += [
        "",
        f'"None of the known causes fits" was said of hands with {said}.',
        "",
        f"One answer with its next check took {np.median(ms):.0f} ms of one core (median of {len(ms)}),"
        f" {np.quantile(ms, 0.95):.0f} ms (95 %). Hands left out because they could not be drawn as wanted:"
        f" {judged.left_out}.",
    ]
    return lines


def fewer_minutes(judged: Judged, seed: int = 0) -> tuple[float, float, float]:
    """Share of the fixed order's minutes that the tool saves, with an interval by drawing hands."""
    rng = np.random.default_rng(seed)
    tool = np.array([s.minutes for s in judged.searches["tool"]])
    fixed = np.array([s.minutes for s in judged.searches["fixed"]])
    pick = rng.integers(0, len(tool), (ROUNDS, len(tool)))
    drawn = 1 - tool[pick].mean(1) / fixed[pick].mean(1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(1 - tool.mean() / fixed.mean()), float(low), float(high)


def _minutes(judged: Judged) -> list[str]:
    lines = [
        "Someone knows nothing at first, asks, and stops when one cause has 90 %. A wrong stop, or none, counts"
        f" as the whole fixed order. {len(judged.search_kinds)} hands with one fault, kinds even.",
        "",
        "| order | minutes, mean | median | minutes looked | checks | named | wrong stop | open |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    titles = {"tool": "the next check that is proposed", "fixed": "rejection found per minute, fixed"}
    for name, some in judged.searches.items():
        ended = Counter(s.ended for s in some)
        m = np.array([s.minutes for s in some])
        lines.append(
            f"| {titles[name]} | {m.mean():.1f} | {np.median(m):.1f} |"
            f" {np.mean([s.looked_minutes for s in some]):.1f} | {np.mean([s.checks for s in some]):.1f} |"
            f" {ended['named'] / len(some):.0%} | {ended['wrong'] / len(some):.0%} | {ended['open'] / len(some):.0%} |"
        )
    return lines


__all__ = ["Judged", "Share", "called_faultless", "report"]
