"""What was seen of a cuff and of a bend, drawn on the photo."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from handsel.documents.bend_overlay import bend_overlay
from handsel.documents.cuff_overlay import cuff_overlay
from handsel.metrology.decision import Limits
from handsel.vision.bend.whitening import look_at_bend
from handsel.vision.cuff.measuring import judge_cuff, look_at_cuff
from unit import drawn_bend, drawn_cuff


def opened(data):
    picture = Image.open(io.BytesIO(data))
    assert picture.format == "JPEG"
    assert not picture.getexif()
    return np.asarray(picture.convert("RGB")).astype(int)


def near(picture, x, y, colour):
    patch = picture[max(0, int(y) - 6) : int(y) + 7, max(0, int(x) - 6) : int(x) + 7]
    return (np.abs(patch - colour).sum(-1) < 90).any()


@pytest.mark.parametrize("shrink", [1, 2])
def test_the_outline_and_its_image_lie_where_they_were_seen(shrink):
    pixels = drawn_cuff.drawn(lean_deg=9.0)
    seen = look_at_cuff(pixels, width_mm=78.0)
    limits = Limits(high=3.0, unit="mm")
    copy = Image.fromarray(pixels).resize((pixels.shape[1] // shrink, pixels.shape[0] // shrink))
    drawn = opened(cuff_overlay(copy, seen, limits=limits, decision=judge_cuff(seen, limits)))
    assert drawn.shape[:2] == (copy.height, copy.width)
    on_it = [near(drawn, *(p / shrink), (61, 90, 128)) for p in seen.outline_px[10:-10:12]]
    assert np.mean(on_it) > 0.8
    assert near(drawn, *(seen.axis_px.mean(0) / shrink), (34, 48, 58)) or near(
        drawn, *(seen.axis_px.mean(0) / shrink), (255, 253, 247)
    )


def test_a_cuff_that_is_small_in_the_photo_is_shown_closer():
    pixels = np.full((1500, 2000, 3), drawn_cuff.SAND, np.uint8)
    pixels[390:1110, 520:1480] = drawn_cuff.drawn(lean_deg=9.0)
    seen = look_at_cuff(pixels, width_mm=78.0)
    whole = opened(cuff_overlay(Image.fromarray(pixels), seen, limits=Limits(high=3.0, unit="mm")))
    height, width = whole.shape[:2]
    assert width / height != pytest.approx(2000 / 1500, rel=0.01)
    blue = np.abs(whole - (61, 90, 128)).sum(-1) < 60
    assert np.ptp(np.nonzero(blue.any(0))[0]) > 0.4 * width  # its outline fills the picture
    corner = whole[-40:, -60:]
    assert (np.abs(corner - (255, 253, 247)).sum(-1) < 40).mean() > 0.5  # where the limit's length is told


def test_a_candidate_has_a_frame_round_it_and_the_line_stays_free():
    pixels = drawn_bend.drawn(covered=0.3)
    seen = look_at_bend(pixels)
    drawn = opened(bend_overlay(Image.fromarray(pixels), seen))
    changed = np.abs(drawn - pixels).sum(-1) > 90
    assert changed.any()
    for x, y in seen.candidates[0].line_px[3:-3]:
        assert not changed[int(y), int(x)]


def test_that_a_photo_cannot_tell_is_written_on_it():
    pixels = drawn_bend.drawn(drawn_bend.WHITE)
    drawn = opened(bend_overlay(Image.fromarray(pixels), look_at_bend(pixels)))
    assert (np.abs(drawn[-20:, :200] - (255, 253, 247)).sum(-1) < 40).mean() > 0.4
    assert np.abs(drawn[:300] - pixels[:300]).mean() < 6.0
