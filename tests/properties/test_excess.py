"""Laws of finding cord lengths and choosing moves, played with hands made by the engine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsel.mechanics.build import nominal_build
from handsel.mechanics.excess import (
    KINDS,
    LEAD,
    LOWERED,
    TILT,
    WORKED,
    Readings,
    estimate_lengths,
    slides_of,
)
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import rest_lowered, rest_worked, taut_angles
from handsel.rework.moves import Chooser, Outcome
from unit.test_excess import read
from unit.test_fix import WANTED
from unit.test_taut_map import linden

U = {WORKED: 0.8, LOWERED: 0.8, TILT: 2.0, LEAD: 1.5}
HANDS = 60


def drawn(n: int, rng: np.random.Generator) -> np.ndarray:
    """Hands as they come from the bench, by what is taken as known beforehand."""
    kind = rng.choice(len(KINDS), n, p=[k[0] for k in KINDS])
    common, own = (np.array([k[j] for k in KINDS])[kind][:, None] for j in (1, 2))
    return common * rng.standard_normal((n, 1)) + own * rng.standard_normal((n, 3))


@pytest.mark.slow
def test_true_lengths_lie_within_the_stated_intervals() -> None:
    """Friction, elastics and wrist pin vary too; a 95 % interval is to hold the truth 95 times in 100."""
    design, rng = linden(), np.random.default_rng(7)
    excess = drawn(HANDS, rng)
    usual = nominal_build(design, HANDS)
    build = replace(
        usual,
        excess_mm=excess,
        friction_mu=np.clip(rng.normal(0.2, 0.05, HANDS), 0.05, 0.4),
        wrist_friction_nmm=np.abs(rng.normal(5.0, 2.5, HANDS)),
        elastic_pretension_ratio=usual.elastic_pretension_ratio * rng.normal(1.0, 0.1, (HANDS, 1)),
    )
    model = compile_model(design, build)
    worked, lowered = rest_worked(model), rest_lowered(model)
    theta = np.degrees(taut_angles(model)[0])
    true = {
        WORKED: worked.rest_angle_deg,
        LOWERED: lowered.rest_angle_deg,
        TILT: worked.tilt_deg,
        LEAD: theta[:, 2] - theta[:, 0],
    }
    inside = []
    for k in range(HANDS):
        readings: Readings = {
            n: read(float(v[k] + U[n] * rng.standard_normal()), U[n]) for n, v in true.items()
        }
        found = estimate_lengths(design, readings, slides_of(design, readings))
        low, high = np.quantile(found.excess_mm, (0.025, 0.975), axis=0)
        inside.append((low <= excess[k]) & (excess[k] <= high))
    share = float(np.mean(inside))
    # 180 intervals, three to a hand; 0.88 to 1.0 is about what chance allows at 95 %.
    assert 0.88 <= share <= 1.0
    assert np.mean(inside, axis=0).min() >= 0.85


def moved(angle: float, tilt: float, lead: float) -> tuple[Outcome, Chooser]:
    design = linden()
    readings: Readings = {
        WORKED: read(angle, 0.5),
        TILT: read(tilt, 2.0),
        LEAD: read(lead, 1.5),
    }
    chooser = Chooser(design, estimate_lengths(design, readings, slides_of(design, readings)), WANTED)
    return chooser.adjusted(), chooser


@settings(max_examples=15, deadline=None)
@given(angle=st.floats(24.0, 46.0), tilt=st.floats(-4.0, 4.0), lead=st.floats(-6.0, 6.0))
def test_longer_loops_never_ask_for_fewer_turns_in(angle: float, tilt: float, lead: float) -> None:
    """The same posterior with both loops a millimetre longer, all else the same."""
    best, chooser = moved(angle, tilt, lead)
    longer = chooser.found.excess_mm.copy()
    longer[:, [0, 1]] += 1.0
    found = replace(chooser.found, excess_mm=longer)
    again = Chooser(chooser.design, found, WANTED).adjusted()
    assert again.turns >= best.turns


@settings(max_examples=15, deadline=None)
@given(angle=st.floats(24.0, 46.0), tilt=st.floats(-4.0, 4.0), lead=st.floats(-6.0, 6.0))
def test_moves_stay_within_the_slides(angle: float, tilt: float, lead: float) -> None:
    best, chooser = moved(angle, tilt, lead)
    assert (best.turns * 2).is_integer()
    assert (best.pin_mm * 2).is_integer()
    assert best.tension_mm.min() >= chooser.tension.min_mm
    assert best.tension_mm.max() <= chooser.tension.max_mm
    assert -3.6 <= chooser.pin_now + best.pin_mm <= 3.6
    assert 0.0 <= best.p_success <= 1.0
    # and a move that is made brings the fingers nearer to the target than leaving it
    if best.turns:
        stay = chooser.stay()
        off, before = (np.mean((o.bar_deg - WANTED.target_deg) ** 2) for o in (best, stay))
        assert off < before + 1.5 * abs(best.turns)
