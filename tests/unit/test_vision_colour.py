"""White, black and the primaries in CIE L*a*b*."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.colour import ciede2000, lab_from_linear, lab_from_srgb, linear_from_srgb


def test_black_and_white_are_the_ends_of_the_scale():
    black, white = lab_from_srgb(np.array([[0, 0, 0], [255, 255, 255]], np.uint8))
    assert black == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert white == pytest.approx([100.0, 0.0, 0.0], abs=0.02)


def test_half_the_light_of_white_is_lightness_76():
    # 116 * 0.5 ** (1/3) - 16
    assert lab_from_linear(np.full(3, 0.5))[0] == pytest.approx(76.07, abs=0.01)
    assert linear_from_srgb(np.array([188, 188, 188], np.uint8))[0] == pytest.approx(0.5, abs=0.005)


def test_whole_pictures_go_through_as_they_are():
    picture = np.zeros((4, 5, 3), np.uint8)
    assert lab_from_srgb(picture).shape == (4, 5, 3)
    assert ciede2000(lab_from_srgb(picture), np.array([100.0, 0.0, 0.0])).shape == (4, 5)
    assert ciede2000(np.array([100.0, 0.0, 0.0]), np.zeros(3)) == pytest.approx(100.0)
