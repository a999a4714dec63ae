"""An independent faulty hand put into the swift engine, part for part: its own shape, the cords it was tied with."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from faulty_builds import FREE_BAR, Recipe
from faulty_shapes import bar_between

from handsel.design.model import Design
from handsel.mechanics.build import Build
from handsel.mechanics.digit_curves import digit_tables
from handsel.mechanics.swift_cords import as_drawn
from handsel.mechanics.swift_hand import Looks, looks

# Middle of what the library draws.
DRAGGED_DEG, PRESLIDING_MM = 2.5, 0.3


def swift_looks(design: Design, recipes: list[Recipe]) -> Looks:
    """What the swift engine sees of hands that differ in their digits' shape only, or share one crooked block."""
    names = [g.name for g in design.digits]
    real, tied = (
        [bar_between(getattr(r, which), *FREE_BAR) for r in recipes] for which in ("design", "tied_design")
    )
    shapes = list(dict.fromkeys([design, *real, *tied]))
    tables = digit_tables(tuple(shapes))
    number = {shape: k for k, shape in enumerate(shapes)}
    variant, fitted = (np.array([number[d] for d in some], dtype=np.intp) for some in (real, tied))
    made = tables.leg_free_mm + tables.leg_constant_mm
    apart = made[variant] - made[0]
    follows = np.where(
        np.abs(apart) > 1e-9, (made[fitted] - made[0]) / np.where(np.abs(apart) > 1e-9, apart, 1.0), 0.0
    )
    mu = np.array([float(r.build.friction_mu[0]) for r in recipes])
    build = Build(
        **{f.name: np.concatenate([getattr(r.build, f.name) for r in recipes]) for f in fields(Build)}
    )
    build = replace(
        build,
        friction_mu=mu[:, None] * [[r.leg_mu_ratio[g] for g in names] for r in recipes],
        bar_locked=np.array([r.jam_deg is not None for r in recipes]),
    )
    hand = replace(
        as_drawn(design, build),
        variant=np.repeat(variant[:, None], len(names), 1),
        follows_ratio=follows,
        eyelet_mu=mu,
        locked_tilt_deg=np.array([r.jam_deg or 0.0 for r in recipes]),
        dragged_deg=np.full(len(recipes), DRAGGED_DEG),
        meet_mm=np.zeros(len(recipes)),  # hard pads
        presliding_mm=np.full(len(recipes), PRESLIDING_MM),
    )
    return looks(real[0], tables, hand)
