"""The engine beside the MuJoCo referee on many random hands, written to docs/studies/referee.md.

    python studies/referee_study.py [--hands 40] [--seed 1] [--friction 12]

The test suite runs the same comparison on a handful. Takes a few minutes on one core.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import mujoco
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from comparison import (
    ANGLE_DEG,
    DIGIT_DEG,
    VERDICTS,
    LinesRow,
    PathRow,
    RestRow,
    compare_closing,
    compare_lines,
    compare_rests,
    random_poses,
)
from referee_friction import RubbingHand
from referee_motion import WITH_FRICTION, rest_lowered, rest_worked
from referee_sample import referee_variations, two_rest_builds

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.mechanics import rest as engine
from handsel.mechanics.build import Build, nominal_build
from handsel.mechanics.model import compile_model

LENGTH_MM, POSES = 1e-5, 50
OUT = Path(__file__).parents[1] / "docs" / "studies" / "referee.md"


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionRow:
    name: str
    approach: str
    ours_deg: float
    referee_deg: float
    held: tuple[bool, bool]


def hands(design: Design, count: int, seed: int) -> list[tuple[str, Design, Build]]:
    found = []
    for k, (scale, build) in enumerate(referee_variations(design, count, seed)):
        side = ("right", "left")[k % 2]
        found.append((f"{k + 1}, {side}, {scale:.2f}", placed(design, scale_ratio=scale, side=side), build))
    return found


def with_friction(design: Design, build: Build) -> Build:
    """The same departures from the design, with the design's friction put back."""
    plain = nominal_build(design)
    return replace(
        build,
        friction_mu=plain.friction_mu,
        elastic_loss_ratio=plain.elastic_loss_ratio,
        wrist_friction_nmm=plain.wrist_friction_nmm,
        bar_friction_nmm=plain.bar_friction_nmm,
        hinge_friction_nmm=plain.hinge_friction_nmm,
    )


def friction_rows(name: str, design: Design, build: Build) -> list[FrictionRow]:
    rubbing = with_friction(design, build)
    model = compile_model(design, rubbing)
    pairs = (("lowered", rest_lowered, engine.rest_lowered), ("worked", rest_worked, engine.rest_worked))
    rows = []
    for approach, drive, solve in pairs:
        found = drive(RubbingHand(design, rubbing), drive=WITH_FRICTION, check=False)
        ours = solve(model)
        rows.append(
            FrictionRow(
                name=name,
                approach=approach,
                ours_deg=float(ours.rest_angle_deg[0]),
                referee_deg=found.angle_deg,
                held=(bool(ours.held[0]) and not ours.taut[0].any(), found.held),
            )
        )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", type=int, default=40)
    parser.add_argument("--friction", type=int, default=12, help="how many of them also with friction")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=OUT)
    given = parser.parse_args()
    design = load_design("linden")
    sample = hands(design, given.hands, given.seed)
    lines = [
        compare_lines(d, b, random_poses(d, POSES, given.seed + k)) for k, (_, d, b) in enumerate(sample)
    ]
    print("lengths done", flush=True)
    rests = [r for name, d, b in sample for r in compare_rests(d, b, name=name)]
    two = [
        row
        for k, b in enumerate(two_rest_builds(design))
        for row in compare_rests(design, b, name=f"soft {k + 1}")
    ]
    print("rests done", flush=True)
    paths = [compare_closing(design, nominal_build(design, frictionless=True), name="as designed")]
    paths += [compare_closing(d, b, name=name) for name, d, b in sample]
    print("paths done", flush=True)
    rubbing = [r for name, d, b in sample[: given.friction] for r in friction_rows(name, d, b)]
    text = report(given.hands, given.seed, lines, rests, two, paths, rubbing)
    given.out.parent.mkdir(parents=True, exist_ok=True)
    given.out.write_text(text, encoding="utf-8")
    print(text.split("## Every hand")[0])


def report(
    count: int,
    seed: int,
    lines: list[LinesRow],
    rests: list[RestRow],
    two: list[RestRow],
    paths: list[PathRow],
    rubbing: list[FrictionRow],
) -> str:
    return "\n".join(
        [
            "# The engine beside an independent referee",
            "",
            f"Written by `python studies/referee_study.py --hands {count} --seed {seed}`; MuJoCo"
            f" {mujoco.mj_versionString()}. The referee is described in `tests/independent/`.",
            "",
            *summary(count, lines, rests, two, paths, rubbing),
            "",
            "## Every hand",
            "",
            "### Rest angles, frictionless [deg]",
            "",
            "| hand (side, scale) | approach | engine | referee | difference | most bent joint | note |",
            "| --- | --- | ---: | ---: | ---: | ---: | --- |",
            *(rest_line(r) for r in rests + two),
            "",
            "### Closing and opening, frictionless",
            "",
            row(
                "hand (side, scale)",
                "states",
                "same",
                "shared",
                "branch",
                "differs",
                "worst of same [deg]",
                "touching",
                "note",
            ),
            "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | --- |",
            *(path_line(r) for r in paths),
            "",
            "### Rest angles with friction [deg]",
            "",
            row(
                "hand (side, scale)",
                "approach",
                "engine",
                "referee",
                "difference",
                "pin alone holds (engine, referee)",
            ),
            "| --- | --- | ---: | ---: | ---: | --- |",
            *(friction_line(r) for r in rubbing),
            "",
        ]
    )


def summary(
    count: int,
    lines: list[LinesRow],
    rests: list[RestRow],
    two: list[RestRow],
    paths: list[PathRow],
    rubbing: list[FrictionRow],
) -> list[str]:
    return [
        f"- Lengths and moment arms, {POSES} random poses of each of {count} hands: largest"
        f" difference {max(r.worst for r in lines):.1e} mm (limit {LENGTH_MM:.0e}).",
        *rest_summary(count, rests, two),
        *path_summary(paths),
        *friction_summary(rubbing),
    ]


def rest_summary(count: int, rests: list[RestRow], two: list[RestRow]) -> list[str]:
    kept = [r for r in rests + two if not r.excluded]
    off = sum(not (r.agrees and r.converged) for r in kept)
    hung = sum(np.abs(r.referee_digits_deg).max() > 1.0 for r in rests)
    pairs = list(zip(two[::2], two[1::2], strict=True))
    apart = sum(abs(a.referee_deg - b.referee_deg) > ANGLE_DEG for a, b in pairs)
    ms = {a: np.mean([r.wall_ms for r in rests if r.approach == a]) for a in ("lowered", "worked")}
    return [
        f"- Rest angles, {count} random hands and {len(pairs)} with soft elastics, worked and lowered:"
        f" largest difference {max(abs(r.difference_deg) for r in kept):.4f} deg (limit {ANGLE_DEG});"
        f" {off} of {len(kept)} outside"
        f" ({sum(not r.converged for r in kept)} called not converged by the engine itself);"
        f" {len(rests + two) - len(kept)} left out. In {hung} of"
        f" {len(rests)} some digit hangs in its elastic; {apart} of {len(pairs)} soft hands"
        " rest in two places.",
        f"- The referee's own distance from balance at rest: at most {max(r.imbalance_deg for r in kept):.1e}"
        f" deg; it took {ms['lowered']:.0f} ms per lowered and {ms['worked']:.0f} ms per worked rest.",
    ]


def path_summary(paths: list[PathRow]) -> list[str]:
    kept = [p for p in paths if not p.excluded]
    counts = {v: sum(p.count(v) for p in kept) for v in VERDICTS}
    worst = max(w for p in kept for w, v in zip(p.worst_deg, p.verdict, strict=True) if v == "same")
    return [
        f"- Closing and opening, {sum(counts.values())} states of {len(kept)} hands: {counts['same']} within"
        f" {DIGIT_DEG} deg in every joint (worst {worst:.2f}), {counts['shared']} with another share inside a"
        f" loop, {counts['branch']} where a snap landed in another valley that the referee confirms,"
        f" {counts['unstable']} that the engine itself calls unstable,"
        f" {counts['differs']} that the referee does not confirm;"
        f" {len(paths) - len(kept)} of {len(paths)} hands left out."
        f" Pads touch in {sum(p.touching for p in kept)} states. Hands with a state that the engine calls not"
        f" converged: {sum(not p.converged for p in kept)}.",
    ]


def friction_summary(rubbing: list[FrictionRow]) -> list[str]:
    carried = [r for r in rubbing if not any(r.held)]
    gaps = np.array([abs(r.ours_deg - r.referee_deg) for r in carried])
    agree = sum(r.held[0] == r.held[1] for r in rubbing)
    return [
        f"- With friction, {len(carried)} rests that a cord carries: median difference {np.median(gaps):.3f}"
        f" deg, largest {gaps.max():.2f} deg; whether the pin alone carries the cuff agrees in {agree} of"
        f" {len(rubbing)}.",
    ]


def rest_line(r: RestRow) -> str:
    note = r.excluded or "; ".join(
        filter(None, (r.note, "" if r.converged else "the engine says not converged"))
    )
    bent = np.abs(r.referee_digits_deg).max()
    return row(
        r.name,
        r.approach,
        f"{r.ours_deg:.3f}",
        f"{r.referee_deg:.3f}",
        f"{r.difference_deg:+.4f}",
        f"{bent:.1f}",
        note,
    )


def path_line(r: PathRow) -> str:
    same = [w for w, v in zip(r.worst_deg, r.verdict, strict=True) if v == "same"]
    note = r.excluded or ("" if r.converged else "engine: not converged somewhere")
    counts = [str(r.count(v)) for v in VERDICTS]
    return row(r.name, str(len(r.verdict)), *counts, f"{max(same, default=0.0):.3f}", str(r.touching), note)


def friction_line(r: FrictionRow) -> str:
    held = ", ".join("yes" if h else "no" for h in r.held)
    return row(
        r.name,
        r.approach,
        f"{r.ours_deg:.3f}",
        f"{r.referee_deg:.3f}",
        f"{r.ours_deg - r.referee_deg:+.3f}",
        held,
    )


def row(*cells: str) -> str:
    return f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    main()
