"""Colour differences against the published pairs, and against another program's on many more."""

from __future__ import annotations

import numpy as np
import pytest

from handsel.vision.colour import ciede2000, lab_from_srgb

# Sharma, Wu and Dalal 2005, Table 1: nine of its pairs, seen as data and equal to scikit-image 0.26 in 4 decimals.
PAIRS = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0009), 7.1792),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    ((90.8027, -2.0831, 1.441), (91.1528, -1.6435, 0.0447), 1.4441),
    ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
]
LAST_DIGIT = 0.00005


@pytest.mark.parametrize(("first", "second", "printed"), PAIRS)
def test_the_published_pairs_to_their_last_digit(first, second, printed):
    assert ciede2000(np.array(first), np.array(second)) == pytest.approx(printed, abs=LAST_DIGIT)
    assert ciede2000(np.array(second), np.array(first)) == pytest.approx(printed, abs=LAST_DIGIT)


def test_differences_and_colours_are_those_of_another_program():
    from skimage.color import deltaE_ciede2000, rgb2lab

    rng = np.random.default_rng(2005)
    first = rng.uniform([0, -110, -110], [100, 110, 110], (20_000, 3))
    second = np.where(rng.random((20_000, 1)) < 0.5, first + rng.normal(0, 4, first.shape),
                      rng.uniform([0, -110, -110], [100, 110, 110], first.shape))  # fmt: skip
    first[:50, 1:] = 0.0  # greys, whose hue has no say
    second[25:75, 1:] = 0.0
    np.testing.assert_allclose(ciede2000(first, second), deltaE_ciede2000(first, second), rtol=1e-9, atol=1e-9)
    # All its constants are printed with few digits, and not all with the same.
    values = rng.integers(0, 256, (5000, 3)).astype(np.uint8)
    np.testing.assert_allclose(lab_from_srgb(values), rgb2lab(values[None])[0], atol=0.05)
