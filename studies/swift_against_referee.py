"""The swift engine against MuJoCo, hand by hand: how far apart every quantity is that the diagnosis reads.

    python studies/swift_against_referee.py FOLDER_WITH_HANDS [--hands 400] [--by-kind]

Each line of FOLDER/hands-*.jsonl holds what is true of one MuJoCo hand. The same hand, part for part, is put into
the swift engine: its own shape as the tables, the cords of the length that they were tied to. So what differs is the
mechanics, not what the catalogue makes of a fault. Printed: middle of the differences (swift less MuJoCo), their
robust standard deviation, and the share further than three of those from the middle. These are the figures
behind `MODEL_SD` of diagnosis/likelihood.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "independent"))

from faulty_builds import Fault, Recipe, with_faults
from faulty_hand import which_faults
from faulty_hands import hands
from swift_hands import swift_looks

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.mechanics.swift_hand import Looks

FEWEST = 5
BATCH = 64
ROBUST = 1.4826  # of the median of distances, in standard deviations of a normal distribution


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One quantity of one hand at one place."""

    kind: str
    quantity: str
    place: str
    at_fault: bool  # the place is where the fault is
    swift: float
    referee: float
    hand: str


def recipe_of(design: Design, line: dict[str, Any]) -> Recipe:
    """The hand of a line, drawn again as it was drawn."""
    rng = np.random.default_rng([line["seed"], line["number"]])
    which_faults(design, rng, line["number"])
    faults = tuple(Fault(f["kind"], f["place"]) for f in line["faults"])
    for k in range(line["tries"]):
        recipe = with_faults(design, faults, rng, harder=min(0.1 * k, 0.8) if faults else 0.0)
    if not np.allclose(recipe.build.excess_mm[0], line["build"]["excess_mm"], atol=2e-3):
        raise ValueError(f"hand {line['seed']}/{line['number']} is of another generator")
    return recipe


def all_looks(design: Design, recipes: list[Recipe]) -> list[tuple[Looks, int]]:
    """The same for any hands, many at a time; for each, where it stands in which result."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, r in enumerate(recipes):
        crooked = r.design.slides if r.askew_deg != (0.0, 0.0) else ()
        groups.setdefault((crooked, 0 if crooked else k // BATCH), []).append(k)
    out: dict[int, tuple[Looks, int]] = {}
    for some in groups.values():
        seen = swift_looks(design, [recipes[k] for k in some])
        out |= {k: (seen, row) for row, k in enumerate(some)}
    return [out[k] for k in range(len(recipes))]


def pairs(design: Design, line: dict[str, Any], s: Looks, row: int) -> Iterator[Pair]:
    """Every quantity of one hand, both ways."""
    t = line["truth"]
    names = [g.name for g in design.digits]
    thumb = names.index("thumb")
    fingers = [k for k in range(len(names)) if k != thumb]
    kinds = [f["kind"] for f in line["faults"]]
    kind = kinds[0] if len(kinds) == 1 else "faultless" if not kinds else "two"
    where = {name for f in line["faults"] for name in f["place"].replace(".", "-").split("-")}
    start = np.array(t["start_deg"])
    others = [np.median([start[g] for g in fingers if g != f]) for f in fingers]
    slack = [x for c, leg in zip(design.cords, t["leg_slack_mm"], strict=True) for x in [leg] * len(c.legs)]
    order = [names.index(leg.digit) for c in design.cords for leg in c.legs]
    rows: list[tuple[str, str, float, float]] = [
        ("worked_rest_deg", "", s.worked_rest_deg[row], t["worked_deg"]),
        ("lowered_rest_deg", "", s.lowered_rest_deg[row], t["lowered_deg"]),
        ("tilt_deg", "", s.tilt_deg[row], t["tilt_deg"]),
        ("thumb_tip_bend_deg", "", s.thumb_tip_bend_deg[row], t["thumb_tip_bend_deg"]),
        ("thumb_lead_deg", "", s.thumb_lead_deg[row], start[thumb] - start[fingers].max()),
        *(("tip_gap_mm", g, s.tip_gap_mm[row, k], t["gap_mm"][k]) for k, g in enumerate(("index", "middle"))),
        *(
            ("slack_mm", names[g], max(s.slack_mm[row, g], 0.0), max(x, 0.0))
            for g, x in zip(order, slack, strict=True)
        ),
        *(("bend_deg", g, s.bend_deg[row, k], t["bend_at_rest_deg"][k]) for k, g in enumerate(names)),
        *(("reach_deg", g, s.reach_deg[row, k], t["reach_deg"][k]) for k, g in enumerate(names)),
        *(("left_bent_deg", g, s.left_bent_deg[row, k], t["left_bent_deg"][k]) for k, g in enumerate(names)),
        *(
            ("pull_log2", g, s.pull_log2[row, k], float(np.log2(t["pull_ratio"][k])))
            for k, g in enumerate(names)
        ),
        *(
            ("start_lead_deg", names[f], s.start_lead_deg[row, f], start[f] - o)
            for f, o in zip(fingers, others, strict=True)
        ),
        *(("apart_deg", names[f], s.apart_deg[row, f], t["lag_deg"][f]) for f in fingers),
    ]
    for quantity, place, ours, theirs in rows:
        yield Pair(
            kind=kind,
            quantity=quantity,
            place=place,
            at_fault=place in where,
            swift=float(ours),
            referee=float(theirs),
            hand=f"{line['seed']}/{line['number']} {' + '.join('@'.join(f.values()) for f in line['faults'])}",
        )


def line_of(name: str, some: list[Pair]) -> str:
    """One line of the table."""
    d = np.array([p.swift - p.referee for p in some])
    middle = float(np.median(d))
    sd = ROBUST * float(np.median(np.abs(d - middle)))
    far = float(np.mean(np.abs(d - middle) > max(3.0 * sd, 1e-9)))
    return f"{name:42s} {len(d):5d} {middle:8.2f} {sd:7.2f} {float(d.std()):7.2f} {far:6.0%}"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hands", type=int, default=400)
    parser.add_argument("--by-kind", action="store_true")
    parser.add_argument("--worst", default="", help="list the hands that are furthest apart in this quantity")
    asked = parser.parse_args()
    design = load_design("linden")
    lines = [h for path in sorted(asked.folder.glob("hands-*.jsonl")) for h in hands(path)]
    lines = [h for h in lines if "truth" in h][: asked.hands]
    seen = all_looks(design, [recipe_of(design, h) for h in lines])
    found = [p for h, (s, row) in zip(lines, seen, strict=True) for p in pairs(design, h, s, row)]
    print(f"{len(lines)} hands; swift less MuJoCo: number, middle, robust sd, sd, further than 3 of it")
    for quantity in dict.fromkeys(p.quantity for p in found):
        mine = [p for p in found if p.quantity == quantity]
        print(line_of(quantity, mine))
        groups = {(p.kind, p.at_fault) for p in mine} if asked.by_kind else set()
        for kind, at_fault in sorted(groups):
            some = [p for p in mine if p.kind == kind and p.at_fault == at_fault]
            if len(some) >= FEWEST:
                print(line_of(f"    {kind}{' (there)' if at_fault else ''}", some))
        if quantity == asked.worst:
            for p in sorted(mine, key=lambda p: -abs(p.swift - p.referee))[:40]:
                print(f"      {p.hand:60s} {p.place:8s} swift {p.swift:7.2f} MuJoCo {p.referee:7.2f}")


if __name__ == "__main__":
    main()
