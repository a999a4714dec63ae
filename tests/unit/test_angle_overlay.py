"""The photo with the reading on it: the lines are where they belong, and nothing else of the file is in it."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from handsel.data.photo_file import colour_from_bytes, read_photo
from handsel.documents.angle_overlay import angle_overlay
from handsel.vision.camera import Lens
from handsel.vision.rest_angle.reading import measure_rest_angle

PHOTO = Path(__file__).parents[1] / "data" / "vision" / "shared" / "clean-10.jpg"


@pytest.fixture(scope="module")
def drawn():
    photo = read_photo(PHOTO)
    reading = measure_rest_angle(photo.gray, lens=Lens(f35_mm=photo.f35_mm))
    return reading, colour_from_bytes(PHOTO.read_bytes(), name="a")


def test_lines_run_in_their_colours(drawn):
    reading, picture = drawn
    shown = Image.open(io.BytesIO(angle_overlay(picture, reading, quality=95)))
    pixels = np.asarray(shown).astype(int)
    ratio = shown.width / reading.picture_px[0]
    for line, colour in (
        (reading.drawing.palm_line, (61, 90, 128)),
        (reading.drawing.cuff_line, (177, 67, 43)),
    ):
        hits = 0
        for share in (0.55, 0.65, 0.75, 0.85):
            x, y = ((1 - share) * line[0] + share * line[1]) * ratio
            patch = pixels[int(y) - 3 : int(y) + 4, int(x) - 3 : int(x) + 4].reshape(-1, 3)
            hits += bool((np.abs(patch - colour).sum(1) < 60).any())
        assert hits >= 3


def test_the_label_is_on_paper_in_a_corner(drawn):
    reading, picture = drawn
    pixels = np.asarray(Image.open(io.BytesIO(angle_overlay(picture, reading)))).astype(int)
    corners = [pixels[6, 6], pixels[6, -6], pixels[-6, 6], pixels[-6, -6]]
    assert any(np.abs(c - (255, 253, 247)).max() < 8 for c in corners)


@pytest.mark.parametrize("size", [(640, 480), (4000, 3000)])
def test_a_copy_of_any_size_may_be_drawn_on(drawn, size):
    reading, picture = drawn
    shown = Image.open(io.BytesIO(angle_overlay(picture.resize(size), reading)))
    assert max(shown.size) == min(max(size), 1600)
    assert not dict(shown.getexif())


def test_lines_far_outside_the_picture_do_no_harm(drawn):
    reading, picture = drawn
    away = replace(
        reading,
        drawing=replace(
            reading.drawing,
            palm_line=reading.drawing.palm_line + 9000.0,
            cuff_line=reading.drawing.cuff_line + 9000.0,
        ),
    )
    assert Image.open(io.BytesIO(angle_overlay(picture, away))).size[0] == 1600
