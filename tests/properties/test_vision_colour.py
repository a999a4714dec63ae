"""Laws of colour difference that hold for every pair."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from handsel.vision.colour import ciede2000, lab_from_srgb, linear_from_srgb

LAB = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


@given(first=LAB, second=LAB)
def test_it_does_not_matter_which_colour_comes_first(first, second):
    there, back = ciede2000(np.array([first, second]), np.array([second, first]))
    assert np.isfinite(there)
    assert there >= 0.0
    assert abs(there - back) <= 1e-9 * (1.0 + there)


@given(colour=LAB)
def test_a_colour_does_not_differ_from_itself(colour):
    assert ciede2000(np.array(colour), np.array(colour)) == 0.0


@given(value=st.integers(0, 254))
def test_more_file_value_is_more_light_and_grey_has_no_chroma(value):
    light = linear_from_srgb(np.array([value, value + 1], np.uint8))
    assert light[0] < light[1]
    lab = lab_from_srgb(np.full(3, value, np.uint8))
    assert abs(lab[1]) < 0.02
    assert abs(lab[2]) < 0.02
