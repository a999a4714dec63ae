"""Square codes in pictures: read turned, slanted, soft and dark; nothing is made up where there is none."""

import io

import cv2
import numpy as np
import pytest
import segno
from PIL import Image

from handsel.vision.squares import square_texts

TEXT = "http://192.168.1.20:8000/l/222222/"


def code(text: str = TEXT, side_px: int = 330) -> Image.Image:
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="png", scale=10, border=4)
    return Image.open(out).convert("L").resize((side_px, side_px), Image.Resampling.LANCZOS)


def on_grey(*codes: Image.Image) -> np.ndarray:
    picture = Image.new("L", (900, 600), 140)
    for n, one in enumerate(codes):
        picture.paste(one, (60 + 420 * n, 100))
    return np.asarray(picture)


@pytest.mark.parametrize("turned_deg", [0, 45, 90, 200])
def test_a_code_is_read_whichever_way_it_lies(turned_deg):
    assert square_texts(on_grey(code().rotate(turned_deg, expand=True, fillcolor=140))) == (TEXT,)


def seen_from_the_side(degrees: float) -> np.ndarray:
    """A pinhole's view of a code turned about its upright axis, five half widths away."""
    x, y = np.array([[-1, 1, 1, -1], [-1, -1, 1, 1]], float)
    far = 5 + x * np.sin(np.radians(degrees))
    there = 825 * np.stack([x * np.cos(np.radians(degrees)), y]) / far + [[450], [300]]
    here = np.array([[0, 0], [330, 0], [330, 330], [0, 330]], np.float32)
    bent = cv2.getPerspectiveTransform(here, there.T.astype(np.float32))
    return cv2.warpPerspective(np.asarray(code()), bent, (900, 600), borderValue=140)


@pytest.mark.parametrize("degrees", [-40, 20, 40])
def test_a_code_seen_from_the_side_is_read(degrees):
    assert square_texts(seen_from_the_side(degrees)) == (TEXT,)


def test_each_of_two_codes_is_read_once():
    assert set(square_texts(on_grey(code(), code("two")))) == {TEXT, "two"}
    assert square_texts(on_grey(code(), code())) == (TEXT,)


def test_a_code_of_modules_two_pixels_wide_is_read():
    modules = segno.make(TEXT, error="m", micro=False).symbol_size(border=4)[0]
    assert square_texts(on_grey(code(side_px=2 * modules))) == (TEXT,)


def test_a_picture_no_larger_than_the_code_is_read():
    assert square_texts(np.asarray(code(side_px=120))) == (TEXT,)


@pytest.mark.parametrize("shape", [(1, 1), (1, 500), (300, 2)])
def test_a_sliver_of_a_picture_holds_nothing(shape):
    assert square_texts(np.full(shape, 128, np.uint8)) == ()


def test_a_covered_corner_leaves_nothing_to_read_and_nothing_is_made_up():
    covered = code()
    covered.paste(140, (0, 0, 180, 180))
    assert square_texts(on_grey(covered)) == ()


def test_checks_and_grain_hold_no_code():
    checks = np.kron(np.indices((20, 30)).sum(0) % 2, np.ones((30, 30))) * 255
    grain = np.random.default_rng(7).integers(0, 256, (300, 400))
    assert square_texts(checks.astype(np.uint8)) == square_texts(grain.astype(np.uint8)) == ()
