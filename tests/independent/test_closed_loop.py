"""A few hands through the whole loop: read with noise, assessed, put right as told in MuJoCo, read again.

The study in studies/closed_loop.py runs hundreds and counts how often the stated interval holds; four hands
cannot show that. They show that each order does in the referee what the tool says it does.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import referee_loop as loop
from referee_loop import Run, Truth, carry_out

from handsel.data.load_case import load_case
from handsel.data.load_design import load_design
from handsel.data.load_protocol import load_protocol
from handsel.mechanics.build import nominal_build
from handsel.mechanics.excess import LEAD, LOWERED, WORKED, estimate_lengths, slides_of
from handsel.mechanics.model import compile_model
from handsel.mechanics.rest import taut_angles
from handsel.metrology.quantity import Quantity
from handsel.rework.moves import Chooser, Outcome, Wanted, cut_length_mm, nominal_length_mm
from handsel.rework.result import Fix, FixKind, NewCord, SlideMove

LINDEN = load_design("linden")
HANDS = (2, 5, 7, 8)
FAR_U = 3.5  # a stated interval is wrong beyond doubt


@cache
def runs() -> tuple[Run, ...]:
    sound = load_case(Path(__file__).parents[2] / "examples" / "01-good-hand.toml")
    sound = replace(sound, hand=replace(sound.hand, scale_ratio=1.0))
    protocol = load_protocol()
    return tuple(loop.run(number, 1, LINDEN, protocol, sound) for number in HANDS)


@pytest.mark.slow
def test_hands_end_where_they_should():
    kept = [r for r in runs() if not r.excluded]
    assert len(kept) >= len(HANDS) - 1
    assert all(r.good for r in kept), [(r.number, r.kind, r.after_deg, r.after_lead_deg) for r in kept]


@pytest.mark.slow
def test_hands_end_where_the_tool_said():
    moved = [r for r in runs() if r.kind in ("adjust", "restring") and not r.excluded]
    assert moved
    for r in moved:
        assert r.stated_angle is not None
        assert abs(r.after_deg - r.stated_angle.value) < FAR_U * r.stated_angle.u, r.number
    assert sum(r.covered for r in moved) >= len(moved) - 1
    assert max(r.stated_angle.u for r in moved if r.stated_angle is not None) < 1.5  # and it is of use


def fix_of(move: SlideMove | None = None, new: tuple[NewCord, ...] = ()) -> Fix:
    return Fix(
        kind=FixKind.RESTRING if new else FixKind.ADJUST,
        sentence="",
        steps=(),
        move=move,
        new_cords=new,
        rework_ids=(),
        after=None,
        p_success=None,
        cautions=(),
    )


def test_orders_are_carried_out_about_as_given():
    truth = Truth(LINDEN, replace(nominal_build(LINDEN), excess_mm=np.array([[5.0, 5.0, 1.0]])))
    rng = np.random.default_rng(3)
    turned = carry_out(fix_of(SlideMove(screw_turns=3.0, thumb_pin_mm=-1.0)), truth, rng)
    assert turned.tension_slide_mm[0] == pytest.approx(1.5, abs=0.05)
    assert turned.thumb_pin_mm[0] == pytest.approx(-1.0, abs=1.2)
    assert (turned.excess_mm == truth.build.excess_mm).all()
    cord = LINDEN.cords[0]
    finished = nominal_length_mm(LINDEN, 0) + 2.0
    new = NewCord(
        cord=cord.name,
        title="",
        cut_length_mm=cut_length_mm(cord, finished),
        finished_length_mm=finished,
        seating_mm=1.0,
        reason="",
    )
    strung = [carry_out(fix_of(new=(new,)), truth, rng).excess_mm[0] for _ in range(200)]
    assert np.mean(strung, axis=0) == pytest.approx([2.0, 5.0, 1.0], abs=0.6)  # rounding to whole mm
    assert np.std([s[0] for s in strung]) == pytest.approx(np.hypot(1.0 / 3**0.5, 0.5 * 2**0.5), rel=0.2)


def test_the_referee_finds_the_starts_where_the_engine_does():
    build = replace(nominal_build(LINDEN), excess_mm=np.array([[4.0, 1.0, -2.0]]))
    truth = Truth(LINDEN, build)
    theta = np.degrees(taut_angles(compile_model(LINDEN, build))[0][0])
    loops = [k for k, c in enumerate(LINDEN.cords) if len(c.legs) == 2]
    alone = next(k for k, c in enumerate(LINDEN.cords) if len(c.legs) == 1)
    assert truth.bar_deg == pytest.approx(theta[loops].max(), abs=0.1)
    assert truth.thumb_deg == pytest.approx(theta[alone], abs=0.02)


def test_a_thumb_that_sprang_back_may_stay_bent_after_a_move():
    def deg(value: float, u: float) -> Quantity:
        return Quantity(value=value, u=u, unit="deg", origin="test")

    readings: dict[str, Quantity | str] = {
        WORKED: deg(42.0, 0.5),
        LOWERED: deg(42.0, 0.5),
        LEAD: deg(7.0, 0.8),
    }
    readings |= {f"press_{d.name}": "slack" for d in LINDEN.digits[:4]}
    found = estimate_lengths(LINDEN, readings, slides_of(LINDEN, readings))
    wanted = Wanted(
        target_deg=36.0,
        least_deg=30.0,
        most_deg=45.0,
        lead_limit_deg=5.0,
        tilt_limit_deg=5.0,
        pin_low_mm=-3.5,
        pin_high_mm=3.5,
        accept_p=0.95,
    )
    chooser = Chooser(LINDEN, found, wanted)

    def stays_bent(o: Outcome) -> float:
        first = o.lead_deg > 2.0
        return float(np.mean((o.worked_deg < o.bar_deg + 0.5 * o.lead_deg)[first]))

    assert stays_bent(chooser.stay()) < 0.1
    assert 0.25 < stays_bent(chooser.after(0.0, -1.0)) < 0.75
