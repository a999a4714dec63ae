"""How fast hands are simulated and a case is answered, and how both grow. Writes docs/studies/diagnosis-benchmark.md.

    python benchmarks/diagnosis.py [--rounds 12] [--cache FOLDER]

Processor time of one core. Rounds that the cache folder holds are not made again; at least one is made to measure.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from handsel.data.library_store import LibraryPlace, build_library, cache_folder, library_place, load_library
from handsel.data.load_design import design_path, load_design
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol
from handsel.data.toml_file import read_toml_file
from handsel.design.placing import placed
from handsel.diagnosis.catalogue import Catalogue
from handsel.diagnosis.hands import NONE, draw, make_bench
from handsel.diagnosis.library import ROUNDS, Library, library_of, make_round
from handsel.diagnosis.likelihood import Seen
from handsel.diagnosis.posterior import diagnose
from handsel.mechanics.draws import Draws

PAGE = Path(__file__).parents[1] / "docs" / "studies" / "diagnosis-benchmark.md"
BATCHES = (50, 200, 800, 1500, 3000)
ANSWERS = (3, 10, 30, 60, 120)


def took(work: Callable[[], object]) -> float:
    """Processor time of a piece of work [s]."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


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
    from handsel.diagnosis.hands import Drawn

    first = Drawn(faults=whole.faults[:n], severity=whole.severity[:n], seen=whole.seen[:, :n])
    return library_of(catalogue, [first], whole.scale_ratio)


def main() -> None:
    """Measure and write the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--rounds", type=int, default=ROUNDS)
    words.add_argument("--cache", type=Path, default=None)
    given = words.parse_args()
    catalogue, design = load_faults("wrist-hand-1", load_protocol()), load_design("linden")
    sha = read_toml_file(design_path("linden")).sha256
    at: LibraryPlace = library_place(catalogue, design, sha, 1.0, cache=given.cache or cache_folder())
    bench = make_bench(catalogue, placed(design, scale_ratio=1.0, side="right"), 1.0)
    make_bench_s = took(lambda: make_bench(catalogue, bench.design, 1.0))
    drawn = []
    round_s = took(lambda: drawn.append(make_round(bench, 0)))
    per_round = len(drawn[0].faults)
    rates = []
    for n in BATCHES:
        none = np.full((n, 2), NONE, dtype=np.int16)
        rates.append((n, n / took(lambda none=none: draw(bench, none, Draws(1)))))
    build_library(at, rounds=tuple(range(given.rounds)))
    whole = load_library(at)
    assert whole is not None
    load_s = took(lambda: load_library(at))
    rows = []
    for rounds in sorted({1, max(1, whole.rounds // 4), max(1, whole.rounds // 2), whole.rounds}):
        library = part_of(whole, catalogue, rounds)
        diagnose(library, catalogue, answers_of(catalogue, 3))  # spreads and counts are worked out once
        times = [took(lambda k=k, lib=library: diagnose(lib, catalogue, answers_of(catalogue, k))) for k in ANSWERS]
        rows.append((rounds, len(library.stratum), times))
    refined_s = took(lambda: diagnose(whole, catalogue, answers_of(catalogue, 3), bench=bench))
    lines = [
        "# Simulated hands per second, and how soon a case is answered",
        "",
        "Written by `python benchmarks/diagnosis.py`. Processor time of one core, which other work may have shared.",
        "",
        "| what | |",
        "| --- | ---: |",
        f"| one round, {per_round} hands of {len(whole.strata)} sets of faults | {round_s:.1f} s |",
        f"| hands per second in it | {per_round / round_s:.0f} |",
        f"| a whole library of one scale, {ROUNDS} rounds, {per_round * ROUNDS} hands | {round_s * ROUNDS:.0f} s |",
        f"| its size | {whole.seen.nbytes * ROUNDS / whole.rounds / 1e6:.0f} MB |",
        f"| loading it ({whole.rounds} rounds) | {load_s:.2f} s |",
        f"| the tables that new hands are drawn with | {make_bench_s:.1f} s |",
        f"| an answer with hands drawn anew near the good ones | {refined_s:.1f} s |",
        "",
        "| hands in a batch | per second |",
        "| ---: | ---: |",
        *(f"| {n} | {rate:.0f} |" for n, rate in rates),
        "",
        "Time of one answer [ms], next check and comparison included:",
        "",
        "| rounds | hands | " + " | ".join(f"{k} answers" for k in ANSWERS) + " |",
        "| ---: | ---: | " + " | ".join("---:" for _ in ANSWERS) + " |",
        *(f"| {r} | {n} | " + " | ".join(f"{1000 * t:.0f}" for t in times) + " |" for r, n, times in rows),
        "",
    ]
    PAGE.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
