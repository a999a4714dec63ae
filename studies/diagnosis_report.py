"""The report of the diagnosis study, from cases that are already judged. No diagnosis is made here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from diagnosis_minutes import Search
from diagnosis_scores import (
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


def singles(cases: Sequence[Case]) -> list[Case]:
    return [c for c in cases if len(c.true) == 1]


def report(judged: Judged, written_by: str, setting: Sequence[str]) -> str:
    tool = singles(judged.tool)
    best = max(judged.ceilings, key=lambda name: macro(singles(judged.ceilings[name]), in_top(1)).value)
    ceiling = singles(judged.ceilings[best])
    every = calibration([stated(c) for c in judged.tool])
    first = calibration([first_stated(c) for c in judged.tool])
    usual = calibration([stated(c) for c in judged.tool], judged.weights or None)
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
        *_goals(judged, tool, ceiling, best, every, usual),
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
        "## Ceilings, leaflet and prior",
        "",
        *_others(judged, tool),
    ]
    if judged.searches:
        lines += ["", "## Minutes until the true cause is named", "", *_minutes(judged)]
    return "\n".join(lines) + "\n"


def _met(yes: bool) -> str:
    return "met" if yes else "**not met**"


def _goals(
    judged: Judged,
    tool: list[Case],
    ceiling: list[Case],
    best: str,
    every: Calibration,
    usual: Calibration,
) -> list[str]:
    top_1, top_3 = macro(tool, in_top(1)), macro(tool, in_top(3))
    at_best = macro(ceiling, in_top(1))
    pairs = share([in_top(4)(c) for c in judged.tool if len(c.true) == 2])
    sound = share([called_faultless(c) for c in judged.tool if not c.true])
    slope_good = GOAL_SLOPE[0] <= every.slope[0] <= GOAL_SLOPE[1]
    told = singles(judged.even)
    even_1, even_3 = macro(told, in_top(1)), macro(told, in_top(3))
    even_pairs = share([in_top(4)(c) for c in judged.even if len(c.true) == 2])
    even_sound = share([called_faultless(c) for c in judged.even if not c.true])
    even_slope = calibration([stated(c) for c in judged.even])
    # A ceiling that the diagnosis itself tops is none, and nothing can be said to be near it.
    near = at_best.value - GOAL_NEAR_CEILING <= top_1.value <= at_best.value
    rows = [
        ("true cause first, mean over kinds", top_1, "85 %, or within 5 points of the ceiling",
         top_1.value >= GOAL_TOP_1 or near),
        ("true cause among the first three, mean over kinds", top_3, "97 %", top_3.value >= GOAL_TOP_3),
        (f"ceiling, true cause first ({best})", at_best, "", None),
        ("both of two faults among the first four", pairs, "75 %", pairs.value >= GOAL_PAIRS),
        ("faultless called faultless", sound, "95 %", sound.value >= GOAL_FAULTLESS),
        (f"calibration slope, {every.hands} hands, kinds even", _interval(every.slope), "0.85 to 1.15", slope_good),
        ("calibration slope, kinds as frequent as their priors", _interval(usual.slope), "0.85 to 1.15",
         GOAL_SLOPE[0] <= usual.slope[0] <= GOAL_SLOPE[1]),
        ("calibration in the large, kinds even [logits]", _interval(every.in_the_large), "", None),
        ("calibration in the large, kinds as their priors [logits]", _interval(usual.in_the_large), "", None),
    ]  # fmt: skip
    rows += [
        ("told the study's frequencies of kinds, true cause first", even_1, "85 %, or within 5 points of the ceiling",
         even_1.value >= GOAL_TOP_1 or at_best.value - GOAL_NEAR_CEILING <= even_1.value <= at_best.value),
        ("so told, among the first three", even_3, "97 %", even_3.value >= GOAL_TOP_3),
        ("so told, both of two faults among the first four", even_pairs, "75 %", even_pairs.value >= GOAL_PAIRS),
        ("so told, faultless called faultless", even_sound, "95 %", even_sound.value >= GOAL_FAULTLESS),
        ("so told, calibration slope", _interval(even_slope.slope), "0.85 to 1.15",
         GOAL_SLOPE[0] <= even_slope.slope[0] <= GOAL_SLOPE[1]),
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
    table = ["| what | figure | wanted | |", "| --- | --- | --- | --- |"]
    for what, figure, wanted, good in rows:
        table.append(f"| {what} | {figure} | {wanted} | {'' if good is None else _met(good)} |")
    if top_1.value < GOAL_TOP_1 and at_best.value < top_1.value:
        table += [
            "",
            "The best ceiling found from so few hands lies below the diagnosis itself, so it is none, and does not"
            " count for the first line.",
        ]
    return table


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
