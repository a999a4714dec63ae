"""The mirror axis of an outline, and what is left over."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.cuff.curves import even, smoothed
from handsel.vision.cuff.mirror import mirrored

U = np.array([[-30.0, 30.0], [-30.0, 0.0], [30.0, 0.0], [30.0, 30.0]])


def turned(points, degrees, shift=(0.0, 0.0)):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return points @ np.array([[c, s], [-s, c]]) + shift


def test_a_symmetric_line_is_its_own_image_however_it_is_turned():
    fit = mirrored(turned(even(U, 200), 17.0, (400.0, 250.0)))
    assert fit.largest < 1e-6
    assert abs(np.degrees(np.arctan2(fit.normal[1], fit.normal[0])) - 17.0) % 180.0 < 1e-4
    assert fit.normal @ turned(np.array([[0.0, 9.0]]), 17.0, (400.0, 250.0))[0] == pytest.approx(fit.offset)


def test_one_flank_longer_is_a_gap_of_that_length_at_its_tip():
    longer = U + np.array([[0, 6.0], [0, 0], [0, 0], [0, 0]])
    fit = mirrored(even(longer, 240))
    assert fit.gaps.argmax() == 0
    # The axis gives way a little, so that the rest is no longer exact.
    assert 5.0 < fit.largest < 6.0


def test_a_leaning_flank_parts_most_at_its_tip_and_either_side_says_the_same():
    lean = U + np.array([[-5.0, 0], [0, 0], [0, 0], [0, 0]])
    one, other = mirrored(even(lean, 200)), mirrored(even(lean[::-1] * [-1.0, 1.0], 200))
    assert one.largest == pytest.approx(other.largest, rel=1e-6)
    assert 2.0 < one.largest < 5.0


def test_even_steps_and_smoothing_keep_straight_lines_and_ends():
    line = even(np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 0.0]]), 19)
    assert line[:, 0] == pytest.approx(np.linspace(0.0, 9.0, 19))
    assert smoothed(line, 4) == pytest.approx(line, abs=1e-12)
    assert smoothed(line, 1) is line
