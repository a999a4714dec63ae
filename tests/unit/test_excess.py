"""The lengths behind readings: what is found, what is left open, and that it is said."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.mechanics.excess import (
    FRONT,
    LEAD,
    LOWERED,
    PIN,
    SCREWS,
    TILT,
    WORKED,
    LengthPosterior,
    Readings,
    estimate_lengths,
    slides_of,
)
from handsel.mechanics.open_question import open_question
from handsel.metrology.quantity import Quantity
from unit.test_taut_map import linden

FINGERS = ("index", "middle", "ring", "little")


def read(value: float, u: float, unit: str = "deg") -> Quantity:
    return Quantity(value=value, u=u, unit=unit, origin="test")


def found(readings: Readings) -> LengthPosterior:
    design = linden()
    return estimate_lengths(design, readings, slides_of(design, readings))


def pressed(word: str) -> dict[str, str]:
    return {f"press_{name}": word for name in FINGERS}


def test_a_plain_hand_is_as_long_as_its_angle_says() -> None:
    readings = {
        WORKED: read(32.1, 0.5),
        LOWERED: read(32.1, 0.5),
        TILT: read(0.0, 1.0),
        LEAD: read(0.0, 1.0),
        **pressed("taut"),
    }
    lengths = found(readings)
    loops = lengths.excess_mm[:, :2].mean(1)
    assert lengths.agrees
    assert loops.mean() == pytest.approx(4.0, abs=0.6)  # 4 mm on both loops cost 3.9 degrees
    assert loops.std() < 0.8
    assert open_question(lengths, readings, linden()) is None
    assert lengths.taut_probability()[:2].min() > 0.9


def test_a_slack_thumb_cord_has_only_a_bound() -> None:
    readings = {
        WORKED: read(36.0, 0.8),
        LOWERED: read(36.0, 0.8),
        TILT: read(0.0, 1.5),
        **pressed("taut"),
        "press_thumb": "slack",
    }
    lengths = found(readings)
    thumb = lengths.excess_mm[:, 2]
    assert np.quantile(thumb, 0.05) > -1.0
    assert thumb.std() > 1.7
    asked = open_question(lengths, readings, linden())
    assert asked is not None
    assert asked.reading == LEAD
    assert "slack" in asked.text
    told = found({**readings, LEAD: read(-4.0, 1.0)})
    assert told.excess_mm[:, 2].std() < 1.0


def test_a_thumb_that_carries_the_hand_hides_the_loops() -> None:
    readings: dict[str, Quantity | str] = {WORKED: read(39.8, 0.8), LOWERED: read(39.8, 0.8)}
    readings |= {TILT: read(0.0, 2.0), **pressed("slack")}
    asked = open_question(found(readings), readings, linden())
    assert asked is not None
    assert asked.reading == LEAD
    lengths = found({**readings, LEAD: read(8.0, 1.0)})
    assert lengths.bar_deg.mean() == pytest.approx(31.8, abs=1.6)
    assert lengths.taut_probability()[:2].max() < 0.3


def test_one_long_loop_shows_in_the_tilt() -> None:
    readings = {WORKED: read(34.1, 0.5), TILT: read(-4.2, 1.0), LEAD: read(-2.0, 1.0)}
    lengths = found({**readings, **pressed("taut")})
    apart = lengths.excess_mm[:, 0] - lengths.excess_mm[:, 1]
    assert apart.mean() == pytest.approx(4.0, abs=1.2)


def test_readings_that_contradict_each_other_are_named() -> None:
    lengths = found({WORKED: read(36.0, 0.5), LOWERED: read(20.0, 0.5), **pressed("taut")})
    assert not lengths.agrees
    assert set(lengths.misfits) & {WORKED, LOWERED}


def test_a_lowered_angle_that_friction_holds_up_is_told_from_a_short_thumb() -> None:
    readings = {WORKED: read(36.0, 0.5), LOWERED: read(55.0, 0.8), LEAD: read(0.0, 1.0)}
    lengths = found({**readings, **pressed("taut")})
    assert lengths.wrist_stuck
    assert lengths.agrees
    assert lengths.bar_deg.mean() == pytest.approx(36.0, abs=0.5)


def test_nothing_read_leaves_the_angle_open() -> None:
    asked = open_question(found({}), {}, linden())
    assert asked is not None
    assert asked.reading == WORKED


def test_the_same_readings_give_the_same_answer() -> None:
    readings = {WORKED: read(33.0, 0.8)}
    assert (found(readings).excess_mm == found(readings).excess_mm).all()


def test_slides_are_weighed_together_and_kept_within_their_travel() -> None:
    design = linden()
    turns = {name: read(4.0, 0.25, "turn") for name in SCREWS}
    slides = slides_of(design, {**turns, FRONT: read(2.2, 0.5, "mm"), PIN: read(99.0, 0.5, "mm")})
    assert slides.tension_mm == pytest.approx(2.0, abs=0.02)  # the turns weigh more
    assert slides.u_tension_mm < 0.0885  # better than the turns alone
    assert slides.thumb_pin_mm == 6.0
    unread = slides_of(design, {})
    assert (unread.tension_mm, unread.tension_known, unread.pin_known) == (0.0, False, False)
    pulled_in = estimate_lengths(design, {WORKED: read(36.0, 0.5)}, slides)
    forward = estimate_lengths(design, {WORKED: read(36.0, 0.5)}, unread)
    # The same angle with the slide 2 mm in means loops about 4 mm longer: each has two legs.
    longer = pulled_in.excess_mm[:, :2].mean() - forward.excess_mm[:, :2].mean()
    assert longer == pytest.approx(3.6, abs=0.8)
