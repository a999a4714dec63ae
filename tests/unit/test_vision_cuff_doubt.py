"""What touches a cuff is not taken for a part of it: drawn cuffs with something at their flanks."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from handsel.vision.cuff.doubt import check_bends_one_way, check_far_end, check_one_plastic
from handsel.vision.cuff.measuring import look_at_cuff
from handsel.vision.cuff.refused import CuffCause, CuffRefused
from unit.drawn_cuff import PX_PER_MM, TEAL, drawn, outline_mm

BLUE = (40, 60, 190)


def with_box(colour, *, at_mm=(38.0, 24.0), size_mm=(14.0, 9.0)):
    """A drawn cuff with a box that touches it; at_mm is the box's lower left corner, from the back's middle, y up."""
    pixels = drawn(turn_deg=0.0)
    low = np.array([480.0, 324.0]) + (np.array(at_mm) - [0.0, 16.0]) * [PX_PER_MM, -PX_PER_MM]
    high = low + np.array(size_mm) * [PX_PER_MM, -PX_PER_MM]
    (x0, y1), (x1, y0) = np.round(low).astype(int), np.round(high).astype(int)
    pixels[y0:y1, x0:x1] = np.clip(
        np.array(colour) + np.random.default_rng(1).normal(0, 2, (y1 - y0, x1 - x0, 3)), 0, 255
    )
    return cv2.GaussianBlur(pixels, (0, 0), 0.7)


@pytest.mark.parametrize(
    ("colour", "at_mm"),
    [(BLUE, (37.5, 24.0)), (TEAL, (37.5, 12.0)), (TEAL, (-51.5, 24.0))],
    ids=["blue, at the right tip", "of its colour, at a flank", "of its colour, at the left tip"],
)
def test_a_box_that_touches_the_cuff_makes_no_lopsided_cuff(colour, at_mm):
    with pytest.raises(CuffRefused) as refused:
        look_at_cuff(with_box(colour, at_mm=at_mm), width_mm=76.0)
    assert refused.value.cause in (CuffCause.TOUCHED, CuffCause.DOUBTFUL)
    assert "lies beside" in refused.value.do


def test_the_rim_has_one_colour_and_a_stretch_of_another_is_told():
    round_mm = outline_mm() * [PX_PER_MM, -PX_PER_MM] + [480.0, 420.0]
    sound = drawn(turn_deg=0.0)
    check_one_plastic(sound, round_mm, 3.0 * PX_PER_MM, "x")
    sound[:300, 660:] = BLUE  # the right flank's upper half
    with pytest.raises(CuffRefused, match="another colour"):
        check_one_plastic(sound, round_mm, 3.0 * PX_PER_MM, "x")


def test_a_lopsided_outline_bends_one_way_and_a_step_in_it_does_not():
    check_bends_one_way(outline_mm(lean_deg=28.0, longer_mm=9.0), "x")
    check_bends_one_way(outline_mm()[::-1], "x")
    stepped = np.vstack([outline_mm()[:-1], [[38.0, 22.0], [47.0, 22.0], [47.0, 32.0]]])
    with pytest.raises(CuffRefused, match="turns outward"):
        check_bends_one_way(stepped, "x")


def test_a_short_stretch_without_a_far_edge_is_let_pass_and_a_long_one_is_not():
    check_far_end(0.04, "x")
    with pytest.raises(CuffRefused) as refused:
        check_far_end(0.12, "x")
    assert refused.value.cause is CuffCause.DOUBTFUL
    assert "12 %" in refused.value.what
