"""What cords and slides do to linden's angles, as the engine has it: these catch a change, no more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handsel.mechanics.build import nominal_build
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import Rest, rest_lowered, taut_angles
from unit.test_taut_map import linden

LONG_THUMB = 8.0  # out of the way, so that the fingers' cords alone decide


def lowered(excess: tuple[float, float, float], tension_mm: float = 0.0, pin_mm: float = 0.0) -> Rest:
    design = linden()
    build = nominal_build(design, 1)
    return rest_lowered(
        compile_model(
            design,
            replace(
                build,
                excess_mm=np.array([excess]),
                tension_slide_mm=np.array([tension_mm]),
                thumb_pin_mm=np.array([pin_mm]),
            ),
        )
    )


def angle(*args: object) -> float:
    return float(lowered(*args).rest_angle_deg[0])  # type: ignore[arg-type]


def test_both_loops_long() -> None:
    assert angle((0.0, 0.0, LONG_THUMB)) - angle((4.0, 4.0, LONG_THUMB)) == pytest.approx(3.9, abs=0.3)


def test_one_loop_long_costs_half_and_tilts_the_bar() -> None:
    assert angle((0.0, 0.0, LONG_THUMB)) - angle((4.0, 0.0, LONG_THUMB)) == pytest.approx(1.95, abs=0.2)
    assert abs(lowered((4.0, 0.0, LONG_THUMB)).tilt_deg[0]) == pytest.approx(4.2, abs=0.4)


def test_one_turn_of_both_screws() -> None:
    gained = angle((0.0, 0.0, LONG_THUMB), 0.5) - angle((0.0, 0.0, LONG_THUMB))
    assert gained == pytest.approx(0.93, abs=0.1)


def test_a_short_thumb_cord_lifts_the_lowered_angle_alone() -> None:
    model = compile_model(
        linden(), replace(nominal_build(linden(), 1), excess_mm=np.array([[0.0, 0.0, -2.0]]))
    )
    theta = np.degrees(taut_angles(model)[0][0])
    assert theta[2] - theta[0] == pytest.approx(3.8, abs=0.3)
    assert not lowered((0.0, 0.0, -2.0)).taut[0, :2].any()


def test_two_millimetres_of_thumb_pin() -> None:
    assert angle((0.0, 0.0, 0.0), 0.0, 2.0) - angle((0.0, 0.0, 0.0)) == pytest.approx(3.6, abs=0.3)
