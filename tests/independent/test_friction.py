"""Rests with pin, cord and elastic friction: the engine against MuJoCo's dry friction.

Where something sticks, many poses are rests; both must arrive at nearly the same one when driven alike. The
tolerance says how nearly: the stiff cords leave the cuff a few hundredths of a degree of freedom in the band
that friction opens, and a digit that sticks half open shifts the wrist by a few tenths.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from referee_friction import RubbingHand
from referee_motion import WITH_FRICTION, rest_lowered, rest_worked
from referee_sample import cuff_weight_nmm

from handsel.data.load_design import load_design
from handsel.mechanics import rest as engine
from handsel.mechanics.build import nominal_build
from handsel.mechanics.model import compile_model

LINDEN = load_design("linden")
TOLERANCE_DEG = 0.05
NOMINAL = nominal_build(LINDEN, 1)
NO_CORD = {"friction_mu": np.zeros(1), "elastic_loss_ratio": np.zeros(1)}
NO_PINS = {
    "wrist_friction_nmm": np.zeros(1),
    "bar_friction_nmm": np.zeros(1),
    "hinge_friction_nmm": np.zeros_like(NOMINAL.hinge_friction_nmm),
}


def pin(share: float) -> np.ndarray:
    """Wrist friction as a share of the cuff's weight where it is let down from."""
    return np.array([share * cuff_weight_nmm(LINDEN, np.radians(WITH_FRICTION.lift_deg))])


CASES = {
    "as built": NOMINAL,
    "pins only": replace(NOMINAL, **NO_CORD),
    "cords only": replace(NOMINAL, **NO_PINS),
    "loops long, thumb short": replace(NOMINAL, excess_mm=np.array([[4.0, 4.0, -2.0]])),
    "one loop long": replace(NOMINAL, excess_mm=np.array([[4.0, 0.0, 1.0]])),
    "tight wrist pin": replace(NOMINAL, wrist_friction_nmm=pin(0.6)),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("approach", ["lowered", "worked"])
def test_rests_with_friction_agree(name, approach):
    drive, solve = {
        "lowered": (rest_lowered, engine.rest_lowered),
        "worked": (rest_worked, engine.rest_worked),
    }[approach]
    build = CASES[name]
    found = drive(RubbingHand(LINDEN, build), drive=WITH_FRICTION, check=False)
    ours = solve(compile_model(LINDEN, build))
    assert found.settled
    assert bool(ours.converged[0])
    assert float(ours.rest_angle_deg[0]) == pytest.approx(found.angle_deg, abs=TOLERANCE_DEG)


def test_a_pin_that_carries_the_cuff_shows_in_both():
    build = replace(NOMINAL, wrist_friction_nmm=pin(1.5))
    hand = RubbingHand(LINDEN, build)
    found = rest_lowered(hand, drive=WITH_FRICTION, check=False)
    ours = engine.rest_lowered(compile_model(LINDEN, build))
    assert found.held
    assert bool(ours.held[0])
    assert found.angle_deg == pytest.approx(WITH_FRICTION.lift_deg, abs=1.5)
