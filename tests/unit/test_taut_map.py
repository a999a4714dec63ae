"""The table of taut angles stands for the engine, within what is stated."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from handsel.data.load_design import load_design
from handsel.design.model import Design
from handsel.design.placing import placed
from handsel.mechanics.build import nominal_build
from handsel.mechanics.excess import worked_from
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_worked, taut_angles
from handsel.mechanics.taut_map import NotThisKind, taut_map

TABLE_DEG = 0.25  # what reading the table between its points may cost, far below any reading's u


@cache
def linden(side: str = "right", scale_ratio: float = 1.0) -> Design:
    return placed(load_design("linden"), scale_ratio=scale_ratio, side=side)


@pytest.mark.parametrize(("side", "scale_ratio"), [("right", 1.0), ("left", 0.8)])
def test_table_agrees_with_the_engine(side: str, scale_ratio: float) -> None:
    design, n = linden(side, scale_ratio), 60
    rng = np.random.default_rng(3)
    excess = rng.uniform(-8.0, 8.0, (n, 3))
    tension, pin = rng.uniform(0.0, 4.0, n), rng.uniform(-4.0, 4.0, n)
    model = compile_model(
        design,
        replace(nominal_build(design, n), excess_mm=excess, tension_slide_mm=tension, thumb_pin_mm=pin),
    )
    theta, psi = (np.degrees(x) for x in taut_angles(model))
    table = taut_map(design)
    bar, tilt = table.bar(excess, tension)
    assert np.abs(bar - theta[:, 0]).max() < TABLE_DEG
    assert np.abs(tilt - psi).max() < TABLE_DEG
    assert np.abs(table.thumb(excess, pin) - theta[:, 2]).max() < TABLE_DEG


def test_worked_angle_follows_from_the_taut_angles() -> None:
    """Fingers first: their angle. Thumb first: theirs, the thumb's, or between, by friction."""
    design = linden()
    excess = np.array([[0, 0, 3], [5, 3, 8], [-2, -2, 1], [6, 6, -1], [2, 2, -2]], dtype=float)
    model = compile_model(design, replace(nominal_build(design, 5), excess_mm=excess))
    worked = rest_worked(model).rest_angle_deg
    table = taut_map(design)
    bar, _ = table.bar(excess, np.zeros(5))
    thumb = table.thumb(excess, np.zeros(5))
    most, least = (worked_from(bar, thumb, np.full(5, h)) for h in (0.0, 1.0))
    assert (worked >= least - 0.25).all()
    assert (worked <= most + 0.25).all()
    assert np.abs(most - least)[:3].max() < 1e-9  # no doubt where the fingers start first


def test_thumb_bends_as_the_engine_has_it() -> None:
    """Pressed until the fingers are about to move, by hands whose loops are 8 mm long."""
    design = linden()
    excess = np.array([[8.0, 8.0, -2.0]])
    table = taut_map(design)
    bar, _ = table.bar(excess, np.zeros(1))
    thumb = table.thumb(excess, np.zeros(1))
    found = rest_worked(
        compile_model(
            design, replace(nominal_build(design, 1), excess_mm=excess, friction_mu=np.array([0.3]))
        )
    )
    assert abs(found.rest_angle_deg[0] - bar[0]) < 0.3  # held: it rests where the fingers are about to move
    bends = np.array(table.thumb_bend(bar, thumb))[:, 0]
    assert bends == pytest.approx(found.phi_deg[0, table.digit], abs=0.1 * bends.sum() + 1.0)
    assert bends.sum() > 20.0
    assert np.array(table.thumb_bend(thumb, bar)).max() == 0.0  # and not at all when the fingers start first


def test_another_layout_of_cords_is_refused() -> None:
    design = linden()
    with pytest.raises(NotThisKind, match="two and one"):
        taut_map(replace(design, cords=design.cords[:2]))
