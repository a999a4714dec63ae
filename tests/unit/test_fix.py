"""The moves chosen: how far, which way, when cords are replaced instead, and in which words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handsel.design.posing import taut_line
from handsel.mechanics.build import nominal_build
from handsel.mechanics.closing import closing_path, thumb_lead_deg
from handsel.mechanics.excess import FRONT, LEAD, LOWERED, TILT, WORKED, Readings, estimate_lengths, slides_of
from handsel.mechanics.model import compile_model
from handsel.mechanics.taut_map import taut_map
from handsel.rework.forecast import estimate
from handsel.rework.moves import ALLOWED_TURNS, Chooser, Outcome, Wanted, cut_length_mm, nominal_length_mm
from handsel.rework.words import cord_title, pin_words, turns_words
from unit.test_excess import pressed, read
from unit.test_taut_map import linden

WANTED = Wanted(
    target_deg=36.0,
    least_deg=30.0,
    most_deg=45.0,
    lead_limit_deg=5.0,
    tilt_limit_deg=5.0,
    pin_low_mm=-3.5,
    pin_high_mm=3.5,
    accept_p=0.9,
)


def hand_read(angle: float, lead: float = 0.0, tilt: float = 0.0, **more: object) -> Readings:
    highest = angle + max(lead, 0.0)
    return {
        WORKED: read(angle, 0.5),
        LOWERED: read(highest, 0.5),
        TILT: read(tilt, 1.0),
        LEAD: read(lead, 1.0),
        **pressed("taut"),
        **more,  # type: ignore[dict-item]
    }


def chooser(readings: Readings, wanted: Wanted = WANTED) -> Chooser:
    design = linden()
    return Chooser(design, estimate_lengths(design, readings, slides_of(design, readings)), wanted)


def mean(o: Outcome, values: np.ndarray) -> float:
    return float(values.mean())


def test_a_hand_a_little_shallow_is_turned_in_to_its_target() -> None:
    best = chooser(hand_read(33.2)).adjusted()
    assert best.turns * 2 == int(best.turns * 2)
    assert 2.0 <= best.turns <= 3.5
    assert mean(best, best.worked_deg) == pytest.approx(36.0, abs=0.8)
    assert best.pin_mm > 0.0  # the thumb comes along
    assert mean(best, best.lead_deg) == pytest.approx(-1.5, abs=1.0)
    assert best.p_success > 0.95


def test_turning_in_ends_at_what_is_allowed() -> None:
    assert chooser(hand_read(26.0)).adjusted().turns == ALLOWED_TURNS


def test_screws_far_in_come_all_the_way_forward_or_cords_are_replaced() -> None:
    spent = chooser(hand_read(36.0, **{FRONT: read(5.0, 0.15, "mm")}))
    assert spent.turns_now == pytest.approx(10.0, abs=0.5)
    out = spent.adjusted()
    assert out.turns <= -9.5
    assert out.p_success < 0.5  # the cords are too long to do without the screws
    best = next(o for o in spent.restrung() if o.new_cords == (0, 1))
    assert best.turns <= -9.5
    assert mean(best, best.worked_deg) == pytest.approx(36.0, abs=0.5)
    assert best.p_success > 0.95


def test_a_thumb_too_early_is_let_forward() -> None:
    best = chooser(hand_read(36.0, lead=7.0)).adjusted()
    assert best.pin_mm == -3.0  # as far as it stays about in line
    assert abs(best.turns) <= 0.5
    assert best.p_success > 0.9


def test_one_long_loop_is_the_one_replaced() -> None:
    options = list(chooser(hand_read(32.0, tilt=-8.6)).restrung())
    single = {o.new_cords: o.p_level for o in options if len(o.new_cords) == 1}
    assert single[(0,)] > 0.9  # the first loop is the long one: its end of the bar sits back
    assert single[(1,)] < 0.5
    assert single[(2,)] < 0.1


def test_another_target_moves_the_fix() -> None:
    steeper = replace(WANTED, target_deg=42.0, most_deg=46.0)
    readings = hand_read(36.0)
    assert chooser(readings, steeper).adjusted().turns > chooser(readings).adjusted().turns
    usual, steep = chooser(readings), chooser(readings, steeper)
    assert steep.finished_mm(0) < usual.finished_mm(0) - 4.0  # about a degree for each millimetre


def test_new_cords_are_as_long_as_their_way_at_the_target() -> None:
    """Against the ruler of the design, which is another reckoning than the engine's."""
    design = linden()
    angles = {"wrist": design.target_rest_angle_deg}
    for k, cord in enumerate(design.cords):
        ruler = sum(taut_line(design, leg.points, leg.wraps, angles).length_mm for leg in cord.legs)
        assert nominal_length_mm(design, k) == pytest.approx(ruler, abs=1.5)


def test_cut_length_adds_tails_and_takes_the_seating_off() -> None:
    cord = linden().cords[0]
    assert cut_length_mm(cord, 300.0) == pytest.approx(300.0 - 2 * cord.knot_seating_mm + cord.tail_mm)


def test_the_lead_reckoned_is_the_lead_on_the_closing_path() -> None:
    design = linden()
    excess = np.array([[0.0, 0.0, 1.5], [2.0, 2.0, 2.0], [3.0, 3.0, 1.0]])
    table = taut_map(design)
    bar, _ = table.bar(excess, np.zeros(3))
    reckoned = table.thumb(excess, np.zeros(3)) - bar
    model = compile_model(design, replace(nominal_build(design, 3), excess_mm=excess))
    path = closing_path(model, to_deg=20.0, step_deg=2.0, contact=False)
    assert thumb_lead_deg(path, table.digit) == pytest.approx(reckoned, abs=1.0)


def test_estimates_are_weighed() -> None:
    said = estimate(np.arange(1.0, 101.0), np.full(100, 0.01), "deg")
    assert (said.value, said.low, said.high) == (pytest.approx(50.5), pytest.approx(3.0), pytest.approx(98.0))
    sure = estimate(np.array([1.0, 9.0]), np.array([0.0, 1.0]), "mm")
    assert (sure.value, sure.u, sure.low) == (9.0, 0.0, 9.0)


def test_words_say_how_much_and_which_way() -> None:
    assert turns_words(3.0) == "turn both tension screws in by 3 turns, half a turn at a time on each in turn"
    assert turns_words(-0.5) == "turn both tension screws out (forward) by half a turn"
    assert turns_words(1.0).startswith("turn both tension screws in by 1 turn,")
    assert turns_words(0.0) == pin_words(0.0) == ""
    assert pin_words(-1.5) == "move the thumb tension pin 1.5 mm forward, toward the fingers"
    assert [cord_title(c) for c in linden().cords] == [
        "index and middle loop",
        "ring and little loop",
        "thumb cord",
    ]
