"""What the lens may be before the picture is asked."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest

from handsel.errors import OutOfRange
from handsel.vision.camera import Lens, project


def test_a_figure_from_the_camera_is_known_to_half_a_millimetre_and_a_hundredth():
    (guess,) = Lens(f35_mm=26.0).guesses()
    assert exp(guess.log_f35) == pytest.approx(26.0)
    assert guess.sd == pytest.approx(np.hypot(0.2887 / 26.0, 0.01), rel=1e-3)


@pytest.mark.parametrize("lens", [Lens(), Lens(f35_mm=26.0, whole_picture=False)])
def test_without_a_figure_or_cut_every_usual_lens_is_possible(lens):
    guesses = lens.guesses()
    assert sum(g.weight for g in guesses) == pytest.approx(1.0)
    for f35 in (15.0, 24.0, 26.0, 28.0, 50.0, 77.0):
        density = sum(g.weight / g.sd * exp(-0.5 * ((log(f35) - g.log_f35) / g.sd) ** 2) for g in guesses)
        assert density > 0.02, f35


@pytest.mark.parametrize("f35", [0.0, -26.0, float("nan"), 5000.0])
def test_a_figure_that_is_no_focal_length_is_refused(f35):
    with pytest.raises(OutOfRange):
        Lens(f35_mm=f35).guesses()


def test_barrel_distortion_draws_a_point_inward():
    far = project(
        np.array([[[100.0, 0.0, 400.0]]]), np.array([1200.0]), np.array([[800.0, 600.0]]), np.array([-0.05])
    )
    assert far[0, 0, 0] == pytest.approx(800 + 1200 * 0.25 * (1 - 0.05 * 0.0625))
    assert far[0, 0, 1] == 600.0


def test_a_figure_may_be_another_pictures_and_a_zoom_be_counted_in_it_or_not():
    plain = Lens(f35_mm=26.0).guesses_with_doubt()
    assert [round(g.weight, 3) for g in plain] == [0.93, 0.05, 0.02]
    assert plain[0].log_f35 == Lens(f35_mm=26.0).guesses()[0].log_f35
    assert plain[1].sd > 10.0 * plain[0].sd
    assert plain[1].centre_ratio_sd > plain[0].centre_ratio_sd
    zoomed = Lens(f35_mm=26.0, zoom_ratio=2.0).guesses_with_doubt()
    assert [round(float(np.exp(g.log_f35)), 6) for g in zoomed[:2]] == [26.0, 52.0]
    assert sum(g.weight for g in zoomed) == pytest.approx(1.0)
    assert len(Lens(f35_mm=26.0, zoom_ratio=1.0).guesses_with_doubt()) == 3


def test_a_whole_picture_may_be_stretched_and_one_that_was_cut_is_open_anyway():
    whole, cut = Lens().guesses_with_doubt(), Lens(whole_picture=False)
    assert sum(g.weight for g in whole) == pytest.approx(1.0)
    assert [round(g.stretch_sd / whole[0].stretch_sd) for g in whole] == [1, 1, 1, 40, 40, 40]
    assert sum(g.weight for g in whole[3:]) == pytest.approx(0.02)
    assert cut.guesses_with_doubt() == cut.guesses()
    assert {g.stretch_sd for g in cut.guesses()} == {whole[3].stretch_sd}

