"""How fast hands are simulated and a case is answered, and how both grow. Writes docs/studies/diagnosis-benchmark.md.

    python benchmarks/diagnosis.py [--rounds 12] [--cache FOLDER]

Processor time of one core. Rounds that the cache folder holds are not made again; a part of one is, to measure.
Beside it, in the same run: the same hands in MuJoCo and in the full engine; and, for an answer, what scipy needs to
say which simulated hands are nearest to the same numbers, which is the least that any comparison with all of them does.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.spatial.distance import cdist

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_builds import with_faults
from faulty_motion import work

from handsel.data.library_store import build_library, cache_folder, library_place, load_library
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.data.toml_file import read_toml_file
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import NONE, Bench, Drawn, draw, make_bench
from handsel.diagnosis.library import ROUNDS, Library, library_of
from handsel.diagnosis.likelihood import Seen
from handsel.diagnosis.passing import draw_as_brought
from handsel.diagnosis.posterior import diagnose
from handsel.mechanics.build import Build, nominal_build
from handsel.mechanics.closing import closing_path, opening_path
from handsel.mechanics.draws import Draws
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked

PAGE = Path(__file__).parents[1] / "docs" / "studies" / "diagnosis-benchmark.md"
BATCHES = (50, 200, 800, 1500)
ANSWERS = (3, 10, 30, 60, 120)
FULL_HANDS, MUJOCO_HANDS = 16, 6
PART = 4  # one in so many of a round's hands is made to measure
REPEATS = 3


def took(work: Callable[[], object]) -> float:
    """Processor time of a piece of work [s]."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def quickest(work: Callable[[], object]) -> float:
    """The same, the best of some: what else the core did is no part of it."""
    return min(took(work) for _ in range(REPEATS))


def answers_of(catalogue: Catalogue, count: int) -> list[Seen]:
    """So many answers of a hand that is as it should be but for one loop."""
    out = [Seen(of="worked-rest-angle", value=32.0), Seen(of="whippletree-level", value=-8.0)]
    for look in catalogue.observables:
        for place in look.places:
            if look.kind == "number":
                value = {"percent": 100.0, "deg": 34.0, "mm": 0.5, "turn": 0.0}[look.unit]
                out.append(Seen(of=look.id, place=place, value=value))
            else:
                out.append(Seen(of=look.id, place=place, answer=look.answers_of(place)[0]))
    return out[:count]


def part_of(whole: Library, catalogue: Catalogue, rounds: int) -> Library:
    """The first so many rounds of a library."""
    n = len(whole.stratum) * rounds // whole.rounds
    first = Drawn(faults=whole.faults[:n], severity=whole.severity[:n], seen=whole.seen[:, :n])
    return library_of(catalogue, [first], whole.scale_ratio)


def swift_rates(bench: Bench) -> list[tuple[int, float]]:
    """Hands per second by the size of a batch."""
    out = []
    for n in BATCHES:
        none = np.full((n, 2), NONE, dtype=np.int16)
        out.append((n, n / took(lambda none=none: draw(bench, none, Draws(1)))))
    return out


def other_rates(design: Design) -> list[tuple[str, float]]:
    """Hands per second of the two that say the same more slowly."""
    rng = np.random.default_rng(1)
    build = nominal_build(design, FULL_HANDS)
    build = Build(
        **{**{k: getattr(build, k) for k in build.__slots__}, "excess_mm": rng.normal(0, 3, (FULL_HANDS, 3))}
    )
    model = compile_model(design, build)

    def in_full() -> None:
        rest_lowered(model)
        rest_worked(model)
        opening_path(model, closing_path(model, step_deg=4.0), step_deg=4.0)

    recipes = [with_faults(design, (), rng) for _ in range(MUJOCO_HANDS)]
    return [
        (
            f"the full engine, {FULL_HANDS} in a batch: both rests, closing, opening",
            FULL_HANDS / took(in_full),
        ),
        ("MuJoCo: the same, one at a time", MUJOCO_HANDS / took(lambda: [work(r) for r in recipes])),
    ]


def answer_times(whole: Library, catalogue: Catalogue) -> list[tuple[int, int, list[float], float]]:
    """Rounds, hands, times by the number of answers, and the least that scipy needs; [s]."""
    out = []
    for rounds in sorted({1, max(1, whole.rounds // 4), max(1, whole.rounds // 2), whole.rounds}):
        library = part_of(whole, catalogue, rounds)
        diagnose(library, catalogue, answers_of(catalogue, 3))  # spreads and counts are worked out once
        times = [
            quickest(lambda k=k, lib=library: diagnose(lib, catalogue, answers_of(catalogue, k)))
            for k in ANSWERS
        ]
        hands = library.seen.T.astype(np.float64)
        least = quickest(lambda hands=hands: np.argsort(cdist(hands[:1], hands)[0]))
        out.append((rounds, len(library.stratum), times, least))
    return out


def main() -> None:
    """Measure and write the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--rounds", type=int, default=ROUNDS)
    words.add_argument("--cache", type=Path, default=None)
    given = words.parse_args()
    catalogue, design = load_faults("wrist-hand-1", load_protocol()), load_design("linden")
    sha = read_toml_file(design_path("linden")).sha256
    at = library_place(catalogue, design, sha, 1.0, cache=given.cache or cache_folder())
    bench = make_bench(catalogue, placed(design, scale_ratio=1.0, side="right"), 1.0)
    make_bench_s = quickest(lambda: make_bench(catalogue, bench.design, 1.0))
    rates, others = swift_rates(bench), other_rates(design)
    build_library(at, rounds=tuple(range(given.rounds)))
    whole = load_library(at)
    if whole is None:
        raise SystemExit(f"{at.folder}: no round could be read back.")
    per_round = len(whole.stratum) // whole.rounds
    some = whole.faults[:per_round:PART]
    round_s = took(lambda: draw_as_brought(bench, some, Draws(1))) * per_round / len(some)
    load_s = quickest(lambda: load_library(at))
    answered = answer_times(whole, catalogue)
    refined_s = took(lambda: diagnose(whole, catalogue, answers_of(catalogue, 3), bench=bench))
    best = max(rate for _, rate in rates)
    in_all, sets = per_round * ROUNDS, len(whole.strata)
    lines = [
        "# Simulated hands per second, and how soon a case is answered",
        "",
        "Written by `python benchmarks/diagnosis.py`. Processor time of one core, which other work may have shared.",
        "",
        "| what | |",
        "| --- | ---: |",
        f"| one round, {per_round} hands of {sets} sets of faults, as brought (by a quarter of it) | {round_s:.1f} s |",
        f"| hands kept per second in it | {per_round / round_s:.0f} |",
        f"| a library of one scale, {in_all} hands in {ROUNDS} rounds (wanted: < 300 s) | {round_s * ROUNDS:.0f} s |",
        f"| its size | {whole.seen.nbytes * ROUNDS / whole.rounds / 1e6:.0f} MB |",
        f"| loading it ({whole.rounds} rounds) | {load_s:.2f} s |",
        f"| the tables for new hands, {len(bench.variants)} variants of each digit | {make_bench_s:.1f} s |",
        f"| an answer with hands drawn anew near the good ones | {refined_s:.1f} s |",
        "",
        "Hands per second, all that is seen of them included, and against the quickest:",
        "",
        "| | per second | times slower |",
        "| --- | ---: | ---: |",
        *(f"| swift engine, {n} hands in a batch | {rate:.0f} | {best / rate:.1f} |" for n, rate in rates),
        *(f"| {name} | {rate:.1f} | {best / rate:.0f} |" for name, rate in others),
        "",
        "Time of one answer [ms] (wanted: under 300), next check and comparison included; last, what scipy's distances",
        "and a sort need for the same number of hands:",
        "",
        "| rounds | hands | " + " | ".join(f"{k} answers" for k in ANSWERS) + " | nearest by scipy |",
        "| ---: | ---: | " + " | ".join("---:" for _ in ANSWERS) + " | ---: |",
        *(
            f"| {r} | {n} | " + " | ".join(f"{1000 * t:.0f}" for t in times) + f" | {1000 * least:.0f} |"
            for r, n, times, least in answered
        ),
        "",
    ]
    PAGE.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
