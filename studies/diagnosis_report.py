"""The report of the diagnosis study, from cases that are already judged. No diagnosis is made here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from diagnosis_goals import Judged, goals, highest_ceiling, interval, singles
from diagnosis_scores import (
    Calibration,
    Case,
    calibration,
    first_stated,
    listed,
    log_score,
    macro,
    named_first,
    right_kind,
    share,
    stated,
)

BINS = (0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0001)


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
        *goals(judged, best, every, usual),
        "",
        "## Kind by kind",
        "",
        "Hands with this one fault. A cause counts as named only with its right place; `kind` leaves the place"
        " open. Most often said instead: what the sentence begins with when it is not the true one.",
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


def _by_kind(tool: list[Case], ceiling: list[Case]) -> list[str]:
    table = [
        "| fault | hands | first | first three | kind | ceiling, first | most often said instead |",
        "| --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for kind in sorted({c.kind_of_case for c in tool}):
        mine = [c for c in tool if c.kind_of_case == kind]
        best = [named_first(c) for c in ceiling if c.kind_of_case == kind]
        wrong = Counter(_kind(c.first_said) + _where(c) for c in mine if not named_first(c))
        instead = ", ".join(f"{name} {n}" for name, n in wrong.most_common(3))
        one, three = share([named_first(c) for c in mine]), share([listed(3)(c) for c in mine])
        table.append(
            f"| {kind} | {one.count} | {one.value:.0%} (≥ {one.lower:.0%}) | {three.value:.0%}"
            f" (≥ {three.lower:.0%}) | {np.mean([right_kind(c) for c in mine]):.0%} | {np.mean(best):.0%} | {instead} |"
        )
    return table


def _kind(fault: str) -> str:
    return fault.split("@")[0]


def _where(c: Case) -> str:
    return " elsewhere" if _kind(c.first_said) == c.kind_of_case else ""


def _calibrations(judged: Judged, every: Calibration, first: Calibration, usual: Calibration) -> list[str]:
    lines = [
        f"- Every cause stated with 1 % or more, {every.count} probabilities of {every.hands} hands, kinds"
        f" even: slope {interval(every.slope)}; in the large {interval(every.in_the_large)} logits; stated"
        f" {every.expected:.0f}, seen {every.seen:.0f}.",
        f"- The first cause alone: slope {interval(first.slope)}; in the large"
        f" {interval(first.in_the_large)} logits; stated {first.expected:.0f}, seen {first.seen:.0f}.",
        "- The study has as many hands of a rare kind as of a common one, and fewer faultless ones and pairs than"
        " the priors speak of. Hands weighed to the catalogue's priors instead: slope"
        f" {interval(usual.slope)}; in the large {interval(usual.in_the_large)} logits.",
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
        one, three = macro(cases, named_first), macro(cases, listed(3))
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


__all__ = ["Judged", "report"]
