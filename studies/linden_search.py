"""Search linden's geometry with the engine: random steps round the best set so far.

Run: python studies/linden_search.py SECONDS SEED. Prints each better set; the chosen one is copied by
hand into `linden_measures.Measures`, and tests/unit/test_linden.py holds it to what was wanted.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from linden_geometry import tables
from linden_measures import Measures

from handsel.data.load_design import design_from_data
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import closing_path, thumb_lead_deg
from handsel.mechanics.model import compile_model

# name: (step, low, high)
SPACE = {
    "thumb_base_x": (4.0, 20.0, 50.0),
    "thumb_base_y": (3.0, 30.0, 44.0),
    "thumb_base_z": (3.0, -34.0, -8.0),
    "thumb_azimuth_deg": (8.0, 5.0, 60.0),
    "thumb_drop_deg": (8.0, 0.0, 60.0),
    "thumb_roll_deg": (12.0, 10.0, 100.0),
    "thumb_proximal_mm": (2.0, 28.0, 40.0),
    "thumb_tip_mm": (2.0, 28.0, 38.0),
    "thumb_cord_knuckle_mm": (0.6, 5.0, 10.5),
    "thumb_cord_tip_mm": (0.5, 4.0, 7.0),
    "thumb_elastic_knuckle_mm": (0.4, 3.5, 6.5),
    "thumb_elastic_tip_mm": (0.4, 4.0, 7.0),
    "finger_cord_knuckle_mm": (0.6, 5.0, 10.5),
    "finger_cord_tip_mm": (0.4, 4.5, 7.0),
    "finger_elastic_knuckle_mm": (0.4, 4.0, 7.0),
    "finger_elastic_tip_mm": (0.4, 4.0, 7.5),
    "exit_below_mm": (0.7, 3.0, 8.0),
    "entry_ahead_mm": (0.8, 7.0, 13.0),
    "exit_behind_mm": (0.8, 7.0, 12.0),
}


def changed(m: Measures, values: dict[str, float]) -> Measures:
    base = tuple(round(values[f"thumb_base_{c}"], 1) for c in "xyz")
    return replace(
        m,
        thumb_base_mm=base,
        **{k: round(v, 1) for k, v in values.items() if not k.startswith("thumb_base_")},
    )


def read(m: Measures) -> dict[str, float]:
    out = {f"thumb_base_{c}": v for c, v in zip("xyz", m.thumb_base_mm, strict=True)}
    return out | {k: getattr(m, k) for k in SPACE if not k.startswith("thumb_base_")}


def judge(m: Measures) -> tuple[float, str]:
    """Cost of a geometry, lower is better, and what it is made of."""
    design = design_from_data(tables(m), Path("linden.toml"))
    path = closing_path(compile_model(design, nominal_build(design)), to_deg=-20.0, step_deg=5.0)
    phi, gap, wrist = path.phi_deg[0], path.gap_mm[0].min(-1), path.wrist_deg[0]
    high = np.array(
        [[design.hinge(d.proximal_hinge).max_deg, design.hinge(d.tip_hinge).max_deg] for d in design.digits]
    )
    three = [0, 1, 4]
    free = (phi[:, three] < high[three] - 3.0).all((-1, -2))
    reach = np.where(free, gap, 99.0)
    k = int(np.argmin(np.where(reach <= 0.5, -wrist - 1000.0, reach)))
    best = float(reach[k])
    early = phi[min(4, len(phi) - 1)]
    tip_first = np.maximum(early[:, 1] - 0.55 * early[:, 0], 0.0)
    lag = np.maximum(35.0 - phi[k][three, 0], 0.0).sum() + np.maximum(18.0 - phi[k][three, 1], 0.0).sum()
    lead = abs(float(np.nan_to_num(thumb_lead_deg(path, 4)[0], nan=30.0)))
    cost = (
        3.0 * max(best, 0.0)
        + 0.4 * max(wrist[k] - 6.0, -12.0 - wrist[k], 0.0)
        + tip_first[:4].sum() / 4
        + 1.5 * tip_first[4]
        + 0.25 * lag
        + max(lead - 1.5, 0.0)
        + 0.01 * max(-path.torque_nmm[0, k] - 500.0, 0.0)
        + (0.0 if path.converged.all() else 5.0)
    )
    return (
        cost,
        f"gap {best:.1f} at {wrist[k]:.0f}, lead {lead:.1f}, "
        f"fingers {phi[k][0].round()} {phi[k][1].round()}, "
        f"thumb {phi[k][4].round()}, tip first {tip_first.round(1)}, torque {path.torque_nmm[0, k]:.0f}",
    )


def main(seconds: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    base = Measures()
    best = read(base)
    cost, words = judge(base)
    print(round(cost, 2), words)
    began, size, failures = time.monotonic(), 1.5, 0
    while time.monotonic() - began < seconds:
        names = rng.choice(list(SPACE), size=rng.integers(2, 7), replace=False)
        trial = dict(best)
        for name in names:
            step, low, high = SPACE[name]
            trial[name] = float(np.clip(trial[name] + size * step * rng.normal(), low, high))
        new, text = judge(changed(base, trial))
        if new < cost:
            best, cost, failures = trial, new, 0
            print(round(cost, 2), text, flush=True)
        else:
            failures += 1
            size = 1.5 if failures < 40 else 0.6
    print({k: round(v, 1) for k, v in best.items()})


if __name__ == "__main__":
    main(float(sys.argv[1]), int(sys.argv[2]))
